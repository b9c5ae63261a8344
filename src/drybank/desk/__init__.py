"""The desk: one module per step of the job. Fetch from the book, compute, return a result.

    stamp     clock, ids, who and where from
    files     check, load and enter files            setting   as found / as left, change days, parts replaced
    planning  house settings and what they bring     cards     what stands on a work card and a sign
    balancing hours, coins and cash                  demo      the demo town, its book and once round the job
    keeping   verify, back up, seal, export, import  drying, traffic, proof, upkeep   the other rooms at the desk

A desk function takes an open book and plain arguments and returns a frozen record that every face shows as it is.
"""
