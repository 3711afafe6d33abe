"""Shoes, from the book or measured at the counter, and the presses they go on.

In: a shoe of the wire and a panel's name. Out: the panel's free area, its curvature and its possible uppers.
Read `shoes.py` first, then `panels.py`; `presses.py` chooses the platen.
"""
