"""What an order asks for, understood: texts looked up in the book and converted to numbers with known units.

In: parts of a wire request. Out: frozen values in millimetres, radians, seconds and degrees Celsius.
Read `sized_artworks.py` first.
"""
