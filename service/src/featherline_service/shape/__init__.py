"""Geometry of artwork and panels: outlines, widths, placement and shoe sizes, as pure functions.

Input: texts, path data, SVG drawings and panels. Output: regions [mm or their own units], their measures, and where and
how large they fit. Start with `outlines/figures.py`, then `placement/containment.py`.
"""
