"""HTTP itself: bodies, codings, negotiation, header fields, problem documents.

In: header fields and bytes. Out: typed requests, responses, and every fault with its JSON Pointer.
Read `bodies.py` first, then `problems.py`.
"""
