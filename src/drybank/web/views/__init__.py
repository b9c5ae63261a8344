"""Views: one module for each question that a page answers. Each takes the request and the seat of who asks."""
