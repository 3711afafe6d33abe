"""Outcomes of pressings as observations, and what is known with every subset of the bad ones.

In: sightings with outcomes, and a belief at which slopes are taken. Out: rows of observations; beliefs for the worst
end of a window. Read `outcome_rows` first.
"""
