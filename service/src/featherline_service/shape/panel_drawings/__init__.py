"""Panels from drawings in millimetres: SVG and DXF, drawn in whatever program.

Input: the content of a file. Output: outline, round eyelets and kept-free areas [mm], y downwards; or `DrawingError`,
which says what to change. Start with `panels.py`; `lines.py` joins what `svg_lines.py` and `dxf_lines.py` read.
"""
