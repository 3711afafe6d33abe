"""Scenes in media: SVG, PNG and PDF.

In: a scene in millimetres, y downwards, or an SVG for the PNG. Out: the bytes or text of the picture. Read `svg` first.
"""
