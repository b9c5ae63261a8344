"""Hours, coins and cash: is the cash right, and if not, where and why.

    statistics/   growth of noise, ratios, lists, minutes per coin, causes (arrays)
    reading/      what a reading should be, slips, why one does not follow, the check while typing
    audit/        from entries to a verdict per unit, findings, workings
    weigh.py      coins by weight
    kernel.py     one pass over a fleet's readings; reference.py  the same in plain numpy

The answer of a balance is `drybank.records.balance.BalanceResult`. A flag is a question, never an
accusation, and no word of it names a person.
"""
