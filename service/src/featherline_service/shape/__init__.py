"""Outlines, widths and placing: pure functions on millimetres and arrays."""
