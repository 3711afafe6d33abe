"""Drawings and the bench card: pure functions that know neither the book nor HTTP.

In: plain geometry, values and words. Out: scenes, and from these SVG, HTML and PDF.
Read `scene.py` first, then `placements.py` and `cards.py`.
"""
