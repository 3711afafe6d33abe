"""HTTP: the server's protocol, requests and answers, routes, the description, telemetry. Nothing here computes.

In: bytes of a request. Out: bytes of an answer or of a problem document.
Read `routes/questions.py` first, then `answering/answer_cache.py`.
"""
