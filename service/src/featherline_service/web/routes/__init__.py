"""The routes, a module for each resource.

In: a request that the router matched. Out: its response.
Read `operations.py` first (the record from which route and description come), then `questions.py`.
"""
