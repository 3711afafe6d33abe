"""What work costs the shop, and what it charges.

In: pieces of film and pressings. Out: lines of cost that add up, and a price with the rule behind each step.
Read `cost_lines.py` first, then `prices.py`.
"""
