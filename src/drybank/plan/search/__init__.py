"""The exact search.

problem.py    the question in whole numbers; constraints as masks
kernel.py     the search in machine code      reference.py   the same maths, one load at a time
running.py    runs it, decodes settings, evaluates winners again
"""
