"""Drawings for tape tracings: the sheet to stick the tape on, and what was traced over its photo.

In: where things are on the sheet, outlines, a picture. Out: scenes, and SVG.
"""
