"""What every part of the service uses: a bounded cache, the computation lock, logs, the engine's version.

In: functions and their arguments. Out: the same results, computed once, one computation at a time.
Read `cache.py` first.
"""
