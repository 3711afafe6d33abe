"""The question "what will it look like?".

In: an order. Out: pictures of the marked shoe for its customer, and their alternative texts.
Read `shoe_views.py` first; `alternative_texts.py` puts a picture into words.
"""
