"""Everything around the router: the wire protocol, the envelope of every request, keys, limits and CORS.

In: connections. Out: requests with a known caller, and answers with the fields that all of them carry.
Read `envelope.py` first; `protocol.py` is the outermost layer.
"""
