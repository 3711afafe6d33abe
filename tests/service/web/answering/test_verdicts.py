"""What is read of an answer's bytes."""

from __future__ import annotations

import json
from pathlib import Path

import msgspec
import pytest

from featherline_service.web.answering.verdicts import NOTHING, Said, Told, told

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"


@pytest.mark.parametrize("name", ["recipe-answer", "fit-answer", "trial-answer", "quote-answer", "clog-answer"])
def test_the_verdict_and_the_reasons_are_the_answers_own(name: str) -> None:
    """Wherever they stand in it."""
    text = (EXAMPLES / f"{name}.json").read_bytes()
    whole = json.loads(text)
    own = whole.get("recipe") or whole.get("fit") or whole.get("trial") or whole

    assert Told(own["verdict"], tuple(Said(each["code"], each["verdict"]) for each in own["reasons"])) == told(text)


def test_of_a_roster_the_reasons_are_its_rows() -> None:
    """All of them, in order; a row that is faulty has no verdict, and no reasons."""
    text = (EXAMPLES / "roster-answer.json").read_bytes()
    whole = json.loads(text)
    whole["rows"][0]["verdict"] = None
    reasons = tuple(Said(each["code"], each["verdict"]) for row in whole["rows"] for each in row["reasons"])

    assert reasons
    assert Told(whole["verdict"], reasons) == told(msgspec.json.encode(whole))


def test_an_answer_of_cost_has_no_verdict() -> None:
    """It says what something costs, not whether to do it."""
    assert NOTHING == told((EXAMPLES / "cost-answer.json").read_bytes())
