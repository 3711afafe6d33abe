"""The OpenAPI 3.1 description, generated from the operations and the wire's types.

In: the operations. Out: `openapi.json`, which the service serves and the repository holds.
Read `description.py` first; `describe.py` is the command.
"""
