"""Readings as they are typed and as they follow each other.

expect.py  what the next increment should be; slips.py  numbers one slip of the pen away
fits.py    why a reading does not follow the last one; check.py  the check while typing
"""
