"""The compiled week, from the calendar up to the loop in `kernel.py`."""
