"""From a question to the bytes of its answer, computed once.

In: a question and its JSON text. Out: encoded bytes, cached for whoever asks the same again.
Read `answer_cache.py` first; `worker.py` runs computations beside the event loop.
"""
