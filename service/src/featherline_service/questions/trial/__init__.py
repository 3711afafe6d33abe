"""The question "how is a shoe never pressed before tried safely?".

In: a shoe whose upper is one of several. Out: settings in order, what to look for, when to stop.
Read `trials.py` first, then `setting_sequence.py`.
"""
