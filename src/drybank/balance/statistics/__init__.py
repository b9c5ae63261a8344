"""Statistics of hours, coins and cash, on arrays.

growth.py   variance of a log ratio fitted from the fleet; priors.py  what is assumed without one
ratios.py   the statistics themselves; carry.py  what the weeks before say of the first reading; lists.py  many pockets at once
timing.py   minutes per coin, free running or a wrong time; causes.py  what most likely went wrong
"""
