"""HTTP itself: the context of a request, bodies, codings, negotiation, problem documents.

In: header fields and bytes. Out: typed requests, responses, and every fault with its JSON Pointer.
Read `context.py` first, then `bodies.py` and `problems.py`.
"""
