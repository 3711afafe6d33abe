"""Colour contrast between film and upper: pure functions on sRGB colours."""
