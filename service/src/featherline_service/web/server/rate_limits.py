"""Rate limits: a token bucket for each key, held by this process alone.

Replicas share nothing, so behind a proxy that spreads requests over three of them a key gets up to three times its
requests.
That still bounds what one caller can take from the others, and needs nothing shared that could fail.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable

from featherline_service.web.http.callers import Caller
from featherline_service.web.http.problems import TOO_MANY_REQUESTS, ProblemError


class TokenBucket:
    """Tokens that arrive at a steady rate, up to a maximum."""

    def __init__(self, per_s: float, most: int, now_s: float) -> None:
        self._per_s = per_s
        self._most = most
        self._tokens = float(most)
        self._at_s = now_s

    def take(self, now_s: float) -> float:
        """Take a token and return 0, or return the seconds until there is one."""
        self._tokens = min(self._most, self._tokens + (now_s - self._at_s) * self._per_s)
        self._at_s = now_s
        if self._tokens < 1:
            return (1 - self._tokens) / self._per_s
        self._tokens -= 1
        return 0.0


class RateLimits:
    """The buckets of all keys. A key keeps its own when the file of keys is read again, unless its limits changed."""

    def __init__(self, elapsed_s: Callable[[], float] = time.monotonic) -> None:
        self._elapsed_s = elapsed_s
        self._buckets: dict[tuple[str, int, int], TokenBucket] = {}

    def take(self, caller: Caller) -> None:
        """Count one request of a caller.

        Raises:
            ProblemError: It has made too many (429, with Retry-After).
        """
        now_s = self._elapsed_s()
        name = (caller.id, caller.requests_per_minute, caller.burst)
        bucket = self._buckets.get(name)
        if bucket is None:
            bucket = self._buckets[name] = TokenBucket(caller.requests_per_minute / 60, caller.burst, now_s)
        wait_s = math.ceil(bucket.take(now_s))
        if wait_s:
            raise ProblemError(
                TOO_MANY_REQUESTS,
                f"The key {caller.id} may make {caller.requests_per_minute} requests a minute, {caller.burst} of them "
                f"at once. Ask again in {wait_s} s; many questions go in one request of POST /v1/bulk.",
                headers={"retry-after": str(wait_s)},
            )
