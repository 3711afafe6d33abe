"""Artwork on a panel: whether it lies inside, by how much, how large it could be, and what the curvature does.

In: a panel's free area and a region [mm]. Out: clearances, poses, scales, gaps and strains.
Read `containment.py` first; `largest_copy.py` searches.
"""
