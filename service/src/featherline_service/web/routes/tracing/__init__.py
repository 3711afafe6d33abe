"""Tape tracings over HTTP: the sheet to print, and the photo that comes back.

Read `photos.py` first.
"""
