"""From entries to a verdict per unit, bank and store.

story.py    entries sorted, corrections folded; devices.py  counters and meters followed through time
held.py     what a control held when; units.py  what is judged together; spans.py  usage between emptyings
judge.py    the statistics laid over all spans; levels.py  bank and store; unit.py, findings.py, words.py  in words
custody.py  gaps by round and by who held the money, in letters
result.py   `balance`, `balance_fleet`; sight.py  how small a loss would be noticed
"""
