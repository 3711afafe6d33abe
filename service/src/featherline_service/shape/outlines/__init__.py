"""Artwork as regions: text, path data and SVG drawings, and their narrowest strokes and gaps.

Input: a text in a typeface, or a drawing. Output: polygons [font units or the drawing's units] and their measures.
Start with `figures.py`; `widths.py` measures.
"""
