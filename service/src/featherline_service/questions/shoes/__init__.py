"""Shoes, from the book or measured at the counter: panels, uppers, films already on them.

In: a shoe of the wire and a panel's name. Out: the panel's free area, its curvature and the uppers it may be made of.
Read `panels.py` first.
"""
