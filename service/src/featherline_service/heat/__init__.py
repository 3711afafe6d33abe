"""Heat conduction through a pressed stack, bond and damage: pure functions on SI numbers and arrays."""

import numpy as np  # noqa: F401 - loads the linear algebra library, whose threads are held below
from threadpoolctl import threadpool_limits

# A stack's matrices have some forty rows. Threads cost more to wake than they save there, and on a busy machine they
# wait for one another: with two of them, on two busy cores, a quote from cold took six times as long as with one.
threadpool_limits(limits=1, user_api="blas")
