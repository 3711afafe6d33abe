"""Processes that compute, beside the process that serves HTTP: each does one question at a time.

In: questions as bytes, each with its caller and limits. Out: answers as bytes, or why a computation was ended.
Read `pool.py` first; `computing_process.py` is the other end. It knows nothing of HTTP or of shoes.
"""
