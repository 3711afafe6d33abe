"""Sentences for people, made of messages in the reader's language.

In: the id of a message and its values (a length, a film, a word). Out: a sentence in one of the languages of
`languages/*.toml`, or of the shop's own book.

A reason is made in `questions` as a code, a message and typed parameters, with its English sentence (by `said` of
`values.py`); whatever computes, caches and draws answers goes on with that. Its sentence in another language is made at
the edge, of the finished answer, from the message and the parameters alone (`web/answering/translation.py`): so all
languages share what was computed, and an answer in English costs nothing more. Whole answers are cached by language.

A message is a pattern of ICU MessageFormat, by an id that begins with the reason's code; those that begin with
`customer.` are the customer's. Numbers, units and plurals follow the language. The parameters of each message are
declared once, in `languages/parameters.toml`, for all languages and for the patterns of a shop's book. Records come in
by their id and are said by their name, which the shop may write in each language (`names`).

`en-XA` and `ar-XB` are pseudo-locales, made of English: whatever stays plain in them is not made of a message.

What only whoever writes a request causes is told in English (`told.py`), with a code and its values.

Read `texts.py` first, then `values.py` and `catalogues.py`.
"""
