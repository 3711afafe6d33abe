"""SVG as regions: path data, and drawings of a small, safe subset.

Input: path data or a document. Output: polygons [its user units], y upwards. Start with `drawings.py`; `paths.py` reads
path data.
"""
