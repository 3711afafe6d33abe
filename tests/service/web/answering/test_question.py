"""What is kept of an answer beside its bytes."""

from __future__ import annotations

import json
from pathlib import Path

import msgspec
import pytest
from msgspec import Struct

from featherline.wire.costs import CostAnswer, Order
from featherline.wire.fits import FitAnswer
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import RecipeAnswer
from featherline.wire.rosters import Roster, RosterAnswer
from featherline.wire.trials import TrialAnswer
from featherline_service.web.answering.question import computed

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
ORDER = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)


Told = tuple[str | None, list[tuple[str, str]]]


def told(text: bytes, kind: type[Struct], request: object = ORDER) -> Told:
    """Return the verdict and the reasons that are kept of an answer."""
    found = computed(request, msgspec.json.decode(text, type=kind))
    return found.verdict, [(each.code, each.verdict) for each in found.reasons]


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("recipe-answer", RecipeAnswer),
        ("fit-answer", FitAnswer),
        ("trial-answer", TrialAnswer),
        ("quote-answer", QuoteAnswer),
        ("clog-answer", QuoteAnswer),
    ],
)
def test_the_verdict_and_the_reasons_are_the_answers_own(name: str, kind: type[Struct]) -> None:
    """Wherever they stand in it."""
    text = (EXAMPLES / f"{name}.json").read_bytes()
    whole = json.loads(text)
    own = whole.get("recipe") or whole.get("fit") or whole.get("trial") or whole

    assert (own["verdict"], [(each["code"], each["verdict"]) for each in own["reasons"]]) == told(text, kind)


def test_of_a_roster_the_reasons_are_its_rows() -> None:
    """All of them, in order; a row that is faulty has no verdict, and no reasons."""
    text = (EXAMPLES / "roster-answer.json").read_bytes()
    request = msgspec.json.decode((EXAMPLES / "roster-request.json").read_bytes(), type=Roster)
    whole = json.loads(text)
    whole["rows"][0]["verdict"] = None
    reasons = [(each["code"], each["verdict"]) for row in whole["rows"] for each in row["reasons"]]

    assert reasons
    assert (whole["verdict"], reasons) == told(msgspec.json.encode(whole), RosterAnswer, request)


def test_an_answer_of_cost_has_no_verdict() -> None:
    """It says what something costs, not whether to do it."""
    assert (None, []) == told((EXAMPLES / "cost-answer.json").read_bytes(), CostAnswer)
