"""The question "does it fit, can it be cut and reached, and will it be seen?".

In: a shoe's panel, an artwork, a film, a pose. Out: a verdict with reasons, clearance and the largest size.
Read `fits.py` first.
"""
