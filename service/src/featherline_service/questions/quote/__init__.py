"""The question "can this order be done, how, and for how much?".

In: an order. Out: fits, pressings with their recipes, cost and price.
Read `quotes.py` first, then `pressings.py`.
"""
