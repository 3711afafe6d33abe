"""The shop book: its records read from TOML, checked as a whole, and its revision.

In: the demo book, the shop's own folders, and plug-ins' records. Out: a `Book`, or a `BookError` with every fault.
Read `loader.py` first, then `shop_book.py`.
"""
