"""The command `featherline-service book`: an owner makes, checks, compares, fills and understands a book of their own.

In: folders of records, answers, CSV. Out: TOML that stays the owner's to edit, and what the book says in words.
Read `command.py` first.
"""
