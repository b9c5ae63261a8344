"""The calls: one module for each part of the job. Each takes the request, the seat of who asks, and its own words."""
