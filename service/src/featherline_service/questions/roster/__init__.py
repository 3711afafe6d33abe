"""The question "what of this list can be done, and for how much?".

In: an order and rows of names, numbers and sizes. Out: an answer to every row, one cost and one price.
Read `rosters.py` first.
"""
