"""Whom reasons are for."""

from __future__ import annotations

from typing import get_args

import pytest

from featherline.wire.verdicts import Audience, Reason, ReasonCode
from featherline_service.messages.catalogues import CUSTOMER, signatures
from featherline_service.questions.customers.offers import ASK_THE_SHOP
from featherline_service.questions.reason_audiences import AUDIENCES, audience_of


def test_every_code_has_an_audience_and_only_customers_have_messages_for_them() -> None:
    """Every code of the service is in the table, and has a message for customers exactly where it is for them."""
    assert set(get_args(ReasonCode)) == set(AUDIENCES)
    assert {"customer", "counter", "bench"} == set(AUDIENCES.values()) == set(get_args(Audience))
    told = {message.removeprefix(CUSTOMER) for message in signatures() if message.startswith(CUSTOMER)}
    told = {message for message in told if not message.startswith("picture.")}  # of no reason
    assert {code for code, audience in AUDIENCES.items() if audience == "customer"} == told - {ASK_THE_SHOP}


@pytest.mark.parametrize("audience", get_args(Audience))
def test_a_plug_in_says_whom_its_reason_is_for(audience: Audience) -> None:
    """A reason of a plug-in is for whom it says."""
    reason = Reason(code="club.colours", verdict="decline", subject="", sentence="Not blue.", audience=audience)
    assert audience == audience_of(reason)


def test_a_plug_ins_reason_is_the_benchs_unless_it_says_otherwise() -> None:
    """A plug-in that names no audience speaks to the bench; and it cannot change whom a code of ours is for."""
    silent = Reason(code="club.colours", verdict="decline", subject="", sentence="Not blue.")
    forged = Reason(code="heat.worst-case", verdict="trial", subject="", sentence="160 degC.", audience="customer")
    assert ("bench", "bench") == (audience_of(silent), audience_of(forged))
