"""Film, times, spoilage, costs and prices: pure functions.

In: pieces, closings, rates and policies. Out: film and times as floats, money as exact decimals.
Read `film.py`, `times.py` and `breakdown.py` first, then `price_bands.py` and `what_if.py`; `nesting/` lays pieces on
rolls and offcuts.
"""
