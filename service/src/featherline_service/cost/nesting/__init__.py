"""Pieces of film laid on rolls and offcuts.

In: rectangles or outlines [mm] and the film to cut them from. Out: positions, and the length of film used.
Read `rectangles.py` first; `packers.py` has the ways it tries.
"""
