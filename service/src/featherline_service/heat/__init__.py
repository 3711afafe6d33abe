"""Heat conduction through a pressed stack, bond and damage: pure functions on SI numbers and arrays.

Importing it sets two things for the whole process: linear algebra on one thread, and an allocator that keeps memory.
"""

import numpy as np
from threadpoolctl import threadpool_limits

# A stack's matrices have some forty rows. Threads cost more to wake than they save there, and on a busy machine they
# wait for one another: with two of them, on two busy cores, a quote from cold took six times as long as with one.
threadpool_limits(limits=1, user_api="blas")

# A recipe's arrays hold a tenth of a megabyte each. The GNU allocator hands such memory back to the system when it is
# freed and takes it again page by page, a fifth of a recipe's time. Freeing one larger block, which is never touched,
# raises the size from which it does so: mallopt(3), M_MMAP_THRESHOLD, which adjusts itself up to 32 MiB.
np.empty(32_000_000, dtype=np.uint8)
