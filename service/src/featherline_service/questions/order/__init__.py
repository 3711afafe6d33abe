"""Orders and their placements, read from a request: records of the book, and numbers with known units.

In: parts of a wire request. Out: frozen values in millimetres and radians.
Read `placements.py` first.
"""
