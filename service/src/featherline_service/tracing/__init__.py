"""Panels from a photo of a tape tracing: the sheet, the camera, the pen's line, and what they are worth.

In: the bytes of a photo and the measured bars of its sheet. Out: outline, eyelets and kept-free areas in millimetres,
and how far they may be off; or why the photo cannot be traced, and what to do.
Read `panels.py` first, then `sheet.py`. It knows neither the book nor HTTP.
"""
