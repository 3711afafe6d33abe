"""What is known of a stack's uncertain properties, and how observations of pressings change it.

In: sightings of pressings: what a gauge read in the stack, whether the film held, how the upper looked. Out: for each
end of a window what is known of the parameters that it depends on, and which sightings contradict the others.
Read `sightings.py` first, then `known.py`.
"""
