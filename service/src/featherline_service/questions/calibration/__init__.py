"""The question "what do readings tell of this press and cover sheet?".

In: a book, and readings of gauges in pressings. Out: contacts and platen as records, how well the readings agree, what
they do to windows, and what to read next.
Read `calibrations.py` first, which composes the answer; `pressings.py` reads the request.
"""
