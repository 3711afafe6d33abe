"""What is known of uncertain parameters, and how observations change it: pure functions on arrays.

In: observations as quantities linear in parameters that are standard normal at first, and what was read or seen of
them. Out: the parameters' mean and covariance, and how well the observations agree.
Read `beliefs.py` and `observations.py` first, then `propagation.py`, which combines them, and `agreement.py`.
"""
