"""Artwork as regions: text, path data and SVG, and how fine their strokes and gaps are.

In: a text in a typeface, or a drawing. Out: polygons [mm or font units] and their narrowest stroke, gap and tip.
Read `figures.py` first; `widths.py` measures.
"""
