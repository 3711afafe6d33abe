"""Heat conduction through a pressed stack, bonding and damage: pure functions on SI numbers and arrays.

In: layers with their thicknesses, conductivities, heat capacities and contacts, and the temperatures of platen and
room. Out: temperatures over time, and the dwells that bond and do no harm.
Read `conduction.py` first, then `pressing.py` and `window.py`.

Importing the package changes two settings of the whole process: linear algebra runs on one thread, and the allocator
keeps freed memory.
"""

import numpy as np
from threadpoolctl import threadpool_limits

# A stack's matrices have about forty rows. Waking threads costs more than they save on these, and on a busy machine
# threads wait for one another: with two on two busy cores, an uncached quote took six times as long as with one.
threadpool_limits(limits=1, user_api="blas")

# A recipe's arrays hold a tenth of a megabyte each. The GNU allocator returns blocks of that size to the system when
# they are freed and maps them again page by page, which takes a fifth of a recipe's time. Freeing one larger block,
# which is never written to, raises the size from which it does so: mallopt(3), M_MMAP_THRESHOLD, which adjusts itself
# up to 32 MiB.
np.empty(32_000_000, dtype=np.uint8)
