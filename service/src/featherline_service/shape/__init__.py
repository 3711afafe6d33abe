"""Outlines, widths and placement: pure functions on millimetres and arrays.

In: texts, path data, SVG and panels. Out: regions, their measures, and where and how large they fit.
Read `outlines/figures.py` first, then `placement/containment.py`.
"""
