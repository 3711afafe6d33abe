"""What a caller prefers of how it is answered."""

from __future__ import annotations

import re
from typing import Final

# A preference ends at a comma; what follows a semicolon is about it, and about nothing that matters here.
_WAIT: Final = re.compile(r'(?:^|,)\s*wait\s*=\s*(?:([0-9]{1,9})|"([0-9]{1,9})")\s*(?=$|[,;])', re.IGNORECASE)


def wait_s(prefer: str | None) -> int | None:
    """Return for how many seconds a Prefer header waits; None where it does not say, or not in whole seconds.

    References:
        RFC 7240 section 4.3; of a preference that comes more than once, the first counts (section 2).
    """
    found = None if prefer is None else _WAIT.search(prefer)
    return None if found is None else int(found[1] or found[2])
