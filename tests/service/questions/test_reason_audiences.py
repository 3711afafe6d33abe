"""Whom reasons are for."""

from __future__ import annotations

import re
from typing import get_args

import pytest

from featherline.wire.verdicts import Audience, Reason, ReasonCode
from featherline_service.questions.reason_audiences import TELLINGS, Telling, telling


def test_every_code_has_an_audience_and_only_customers_are_told() -> None:
    """Every code of the service is in the table, and has words exactly where it is for the customer."""
    assert set(get_args(ReasonCode)) == set(TELLINGS)
    assert {"customer", "counter", "bench"} == {told.audience for told in TELLINGS.values()} == set(get_args(Audience))
    assert [] == [code for code, told in TELLINGS.items() if bool(told.words) != (told.audience == "customer")]


def test_what_customers_are_told_has_no_figure() -> None:
    """No words for customers have a digit, so none has a setting, a limit or a cost."""
    assert [] == [told.words for told in TELLINGS.values() if re.search(r"\d", told.words)]


@pytest.mark.parametrize("audience", get_args(Audience))
def test_a_plug_in_says_whom_its_reason_is_for(audience: Audience) -> None:
    """A reason of a plug-in is for whom it says, in its own words."""
    reason = Reason(code="club.colours", verdict="decline", subject="", sentence="Not blue.", audience=audience)
    assert Telling(audience, "Not blue.") == telling(reason)


def test_a_plug_ins_reason_is_the_benchs_unless_it_says_otherwise() -> None:
    """A plug-in that names no audience speaks to the bench; and it cannot change whom a code of ours is for."""
    silent = Reason(code="club.colours", verdict="decline", subject="", sentence="Not blue.")
    forged = Reason(code="heat.worst-case", verdict="trial", subject="", sentence="160 degC.", audience="customer")
    assert ("bench", "bench") == (telling(silent).audience, telling(forged).audience)
