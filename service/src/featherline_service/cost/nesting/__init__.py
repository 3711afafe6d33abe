"""Nesting of pieces on rolls and offcuts of film.

In: rectangles or outlines and the film to cut them from [mm]. Out: positions, and the film used.
Read `rectangles.py` first; `packers.py` has the packing heuristics that it compares.
"""
