"""The questions, and what they share: pure functions of the book and a request.

In: the shop book and a request of the wire. Out: the answer of the wire, or a refusal with every fault.
A question has a package or a module (`artworks.py`, `costs.py`); `order/`, `shoes/` and `pricing/` are shared.
Read `quote/quotes.py` first: it composes fits, recipes and prices.
"""
