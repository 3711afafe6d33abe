"""Colour contrast between film and upper: pure functions on sRGB colours.

In: two colours as ``#rrggbb``. Out: their colour difference and their contrast ratio.
Read `contrast.py`, the only file.
"""
