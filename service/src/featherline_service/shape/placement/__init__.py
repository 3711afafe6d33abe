"""Artwork on a panel: clearance, anchors, the largest copy that fits, and the effects of the panel's curvature.

Input: a panel's free area and a region [mm]. Output: clearances, poses, scales, gaps and strains.
Start with `containment.py`; `largest_copy.py` searches.
"""
