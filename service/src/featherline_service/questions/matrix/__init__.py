"""The question "which shoes take which films?".

In: a book and a sample text. Out: a verdict, the height of the letters and a price for every panel in every film, and
the page that an owner prints. Read `matrices.py` first.
"""
