"""How a photo shows a sheet: its light, its marks, the camera, and whether it is sharp, near and flat enough.

In: the pixels of a photo and the measured bars. Out: the sheet, the camera, and the photo without its light.
Read `views.py` first, then `camera.py`.
"""
