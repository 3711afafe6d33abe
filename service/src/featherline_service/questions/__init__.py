"""The questions, a package for each: pure functions of the book and a request.

In: the shop book and a request of the wire. Out: the answer of the wire, or a refusal with every fault.
Read `quote/quotes.py` first: it composes fits, recipes and prices.
"""
