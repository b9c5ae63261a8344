"""The book's schema, step by step. A book that knows a step not listed here was written by a later Drybank."""
