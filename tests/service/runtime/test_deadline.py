"""The limits of a computation."""

from __future__ import annotations

import math
import time

import pytest

from featherline_service.runtime import cache, deadline
from featherline_service.runtime.deadline import DeadlineError


def test_an_earlier_limit_stays_within_a_later_one() -> None:
    """Processor time that is used up is used up, however much more a part may take; outside, nothing is limited."""
    with deadline.limited(-1.0), deadline.limited(math.inf), pytest.raises(DeadlineError):
        deadline.check()
    with deadline.limited(60.0):
        deadline.check()
    deadline.check()


def test_time_that_others_take_does_not_count() -> None:
    """Asleep, a computation uses nothing."""
    with deadline.limited(0.05):
        time.sleep(0.1)
        deadline.check()


def test_what_nobody_waits_for_is_given_up() -> None:
    """As soon as it looks; a computation that is wanted goes on."""
    with deadline.limited(60.0, lambda: True):
        deadline.check()
    with deadline.limited(60.0, lambda: False), pytest.raises(DeadlineError):
        deadline.check()
    deadline.check()


def test_nothing_new_is_computed_beyond_the_limit() -> None:
    """What is cached is still found."""
    computed = []

    @cache.cached
    def value(of: int) -> int:
        computed.append(of)
        return of

    value(1)
    with deadline.limited(-1.0):
        assert 1 == value(1)
        with pytest.raises(DeadlineError):
            value(2)
    assert [1] == computed
