"""Shoes, from the book or measured at the counter: panels, uppers, films already on them.

In: a shoe of the wire and a panel's name. Out: the panel's free area, its curvature and its possible uppers.
Read `shoes.py` first, then `panels.py`.
"""
