"""From a question to the bytes of its answer, computed once.

In: a question and its decoded request. Out: encoded bytes, kept for whoever asks the same again.
Read `answer_cache.py` first; `work.py` runs computations beside the event loop.
"""
