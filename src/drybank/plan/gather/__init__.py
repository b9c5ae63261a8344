"""From a store, its sheets and what is set today to a plan's inputs.

inputs.py   plan_inputs: the front door      assumed.py  what was not given
grid.py     what the bank's controls hold; house settings and back
loads.py    the loads of a bank             needs.py    rows that stand for all loads
costs.py    energy, wear, visits, price     week.py     the bank's share of the store's week
"""
