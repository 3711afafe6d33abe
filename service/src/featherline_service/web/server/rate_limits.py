"""Rate limits: how many requests a key may make, and how much processor time its questions may take.

Replicas share nothing, so behind a proxy that spreads requests over three of them a key gets up to three times its
share. That still bounds what one caller can take from the others, and needs nothing shared that could fail.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from featherline_service.messages.values import Quantity, Value, said
from featherline_service.web.http.callers import Caller
from featherline_service.web.http.problems import PROBLEM, TOO_MANY_REQUESTS, TOO_MUCH_WORK, ProblemError, ProblemKind
from featherline_service.web.http.token_buckets import TokenBucket

_MINUTE_S: Final = 60


class _Buckets(NamedTuple):
    """The requests of a key and the processor time of its questions [s], and the field that tells of both policies."""

    requests: TokenBucket
    work: TokenBucket
    policy: tuple[bytes, bytes]


def _refuse(wait_s: float, kind: ProblemKind, **values: Value) -> None:
    """Refuse a request that has to wait."""
    seconds = math.ceil(wait_s)
    if seconds:
        detail = said(f"{PROBLEM}{kind.name}.wait", wait=Quantity(float(seconds), "s", 0), **values)
        raise ProblemError(kind, detail, headers={"retry-after": str(seconds)})


class RateLimits:
    """The buckets of all keys. A key keeps its own when the file of keys is read again, unless its limits changed.

    References:
        The fields RateLimit-Policy and RateLimit: draft-ietf-httpapi-ratelimit-headers-10, 2025 (from memory). `q` is
        the quota in a window of `w` seconds, `r` what is left of it, `t` the seconds until all of it is there again.
    """

    def __init__(self, elapsed_s: Callable[[], float] = time.monotonic) -> None:
        self._elapsed_s = elapsed_s
        self._buckets: dict[tuple[str, int, int, int], _Buckets] = {}

    def take(self, caller: Caller) -> TokenBucket:
        """Count one request of a caller, and return the bucket that its questions are charged to.

        Raises:
            ProblemError: It has made too many, or they took too much (429, with Retry-After).
        """
        buckets = self._of(caller)
        _refuse(
            buckets.requests.wait_s(1),
            TOO_MANY_REQUESTS,
            key=caller.id,
            rate=caller.requests_per_minute,
            burst=caller.burst,
        )
        _refuse(
            buckets.work.wait_s(0),
            TOO_MUCH_WORK,
            key=caller.id,
            work=Quantity(float(caller.work_s_per_minute), "s", 0),
        )
        buckets.requests.spend(1)
        return buckets.work

    def fields(self, caller: Caller) -> Sequence[tuple[bytes, bytes]]:
        """Return the header fields that tell a caller of its limits and of what is left."""
        buckets = self._of(caller)
        left = ", ".join(
            f'"{name}";r={max(0, math.floor(bucket.left()))};t={math.ceil(bucket.wait_s(bucket.most))}'
            for name, bucket in (("requests", buckets.requests), ("work", buckets.work))
        )
        return buckets.policy, (b"ratelimit", left.encode())

    def _of(self, caller: Caller) -> _Buckets:
        name = (caller.id, caller.requests_per_minute, caller.burst, caller.work_s_per_minute)
        buckets = self._buckets.get(name)
        if buckets is None:
            policy = (
                f'"requests";q={caller.requests_per_minute};w={_MINUTE_S}, '
                f'"work";q={caller.work_s_per_minute};qu="seconds of processor time";w={_MINUTE_S}'
            )
            buckets = self._buckets[name] = _Buckets(
                TokenBucket(caller.requests_per_minute / _MINUTE_S, caller.burst, self._elapsed_s),
                TokenBucket(caller.work_s_per_minute / _MINUTE_S, caller.work_s_per_minute, self._elapsed_s),
                (b"ratelimit-policy", policy.encode()),
            )
        return buckets
