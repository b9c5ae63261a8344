"""Upkeep by hours and dates."""
