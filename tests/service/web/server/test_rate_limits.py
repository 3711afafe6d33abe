"""How many requests a key may make."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from featherline_service.web.http.problems import ProblemError
from featherline_service.web.http.token_buckets import TokenBucket
from featherline_service.web.server.caller_keys import Caller
from featherline_service.web.server.rate_limits import RateLimits

TILL: Final = Caller(
    id="till", scopes=("ask",), requests_per_minute=30, burst=3, expires=datetime(2027, 1, 1, tzinfo=UTC)
)


class Clock:
    """Seconds that pass when they are told to."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        """Return the seconds since some beginning."""
        return self.now_s


def refused(limits: RateLimits, caller: Caller) -> str | None:
    """Return the Retry-After of a request that is refused, None of one that is not."""
    try:
        limits.take(caller)
    except ProblemError as problem:
        return problem.headers["retry-after"]
    return None


def test_a_burst_is_taken_and_then_the_rate_holds() -> None:
    """Three at once, then one every two seconds: who waits as long as is said is taken, and who does not is not."""
    clock = Clock()
    limits = RateLimits(clock)

    assert [None, None, None, "2", "2"] == [refused(limits, TILL) for _ in range(5)]
    clock.now_s += 1.5
    assert "1" == refused(limits, TILL)
    clock.now_s += 0.5
    assert [None, "2"] == [refused(limits, TILL) for _ in range(2)]


def test_what_is_not_used_does_not_gather() -> None:
    """After a night a burst is still three."""
    clock = Clock()
    limits = RateLimits(clock)
    refused(limits, TILL)
    clock.now_s += 36_000

    assert [None, None, None, "2"] == [refused(limits, TILL) for _ in range(4)]


def test_keys_do_not_share() -> None:
    """One that has made too many requests takes nothing from another."""
    limits = RateLimits(Clock())
    other = replace(TILL, id="harbour-shop")

    assert [None, None, None, "2"] == [refused(limits, TILL) for _ in range(4)]
    assert [None, None, None, "2"] == [refused(limits, other) for _ in range(4)]


def test_new_limits_hold_at_once_and_old_ones_are_not_forgotten() -> None:
    """A key whose limits were changed has them; one that was read again, but for its scopes, has no fresh burst."""
    limits = RateLimits(Clock())
    for _ in range(3):
        limits.take(TILL)

    assert "2" == refused(limits, replace(TILL, scopes=("ask", "book")))
    assert [None] * 5 + ["1"] == [refused(limits, replace(TILL, burst=5, requests_per_minute=60)) for _ in range(6)]


@pytest.mark.parametrize(("a_minute", "wait"), [(1, "60"), (7, "9"), (1_000_000, "1")])
def test_the_wait_is_told_in_whole_seconds_that_are_enough(a_minute: int, wait: str) -> None:
    """Retry-After has no fractions (RFC 9110 section 10.2.3): it is rounded up, and is never zero."""
    clock = Clock()
    limits = RateLimits(clock)
    caller = replace(TILL, requests_per_minute=a_minute, burst=1)
    limits.take(caller)

    assert wait == refused(limits, caller)
    clock.now_s += int(wait)
    assert refused(limits, caller) is None


@given(
    per_s=st.floats(0.01, 1000),
    most=st.integers(1, 50),
    pauses=st.lists(st.floats(0, 100), min_size=1, max_size=60),
)
def test_no_stretch_of_time_has_more_than_a_burst_and_its_rate(per_s: float, most: int, pauses: list[float]) -> None:
    """Between any two requests that were taken there are no more than the bucket holds and what flowed in meanwhile."""
    clock, taken = Clock(), []
    bucket = TokenBucket(per_s, most, clock)
    for pause in pauses:
        clock.now_s += pause
        if not bucket.wait_s(1):
            bucket.spend(1)
            taken.append(clock.now_s)

    for first, begun in enumerate(taken):
        for last in range(first, len(taken)):
            assert last - first + 1 <= most + per_s * (taken[last] - begun) + 1e-6


def test_a_refusal_says_whose_and_which_limits_they_are() -> None:
    """The sentence has the key's id, its limits and the wait, so that a caller can slow down by it."""
    limits = RateLimits(Clock())
    for _ in range(3):
        limits.take(TILL)

    with pytest.raises(ProblemError, match="The key till may make 30 requests a minute, 3 of them at once") as refusal:
        limits.take(TILL)
    assert (429, "too-many-requests") == (refusal.value.kind.status, refusal.value.kind.name)


def test_work_is_charged_when_it_is_done_and_a_debt_is_waited_for() -> None:
    """60 s a minute: after 63 s of work the next request is refused until three seconds have passed."""
    clock = Clock()
    limits = RateLimits(clock)
    limits.take(TILL).spend(63.0)
    with pytest.raises(
        ProblemError, match="The questions of the key till may take 60 s of processor time a minute"
    ) as told:
        limits.take(TILL)
    assert (429, "too-much-work", "3") == (
        told.value.kind.status,
        told.value.kind.name,
        told.value.headers["retry-after"],
    )
    clock.now_s += 3.0

    assert refused(limits, TILL) is None


def test_the_fields_tell_of_both_limits() -> None:
    """The quotas of a minute; what is left of them, rounded down, and when they are whole again, rounded up."""
    clock = Clock()
    limits = RateLimits(clock)
    limits.take(TILL).spend(12.5)
    fields = dict(limits.fields(TILL))

    assert b'"requests";q=30;w=60, "work";q=60;qu="seconds of processor time";w=60' == fields[b"ratelimit-policy"]
    assert b'"requests";r=2;t=2, "work";r=47;t=13' == fields[b"ratelimit"]
