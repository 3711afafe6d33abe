"""Values of sentences as they are made."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from msgspec import Struct

from featherline.wire.verdicts import Parameter
from featherline_service.messages import values
from featherline_service.messages.catalogues import catalogues
from featherline_service.messages.texts import Texts, english
from featherline_service.messages.values import Amount, Quantity, Speaker, messages, said


class Film(Struct, frozen=True):
    """A record with an id and a name."""

    id: str
    name: str


@pytest.fixture
def message(monkeypatch: pytest.MonkeyPatch) -> str:
    """A message with a value of each kind."""
    signature = {
        "film": "film", "films": "films", "texts": "texts?", "width": "length", "pairs": "count",
        "how": ("far", "near"), "most": "length?",
    }  # fmt: skip
    pattern = "{film} {films} {texts} {width} {pairs} {how, select, far {F} other {N}} {most}"
    monkeypatch.setattr(values, "signatures", lambda: {"club.all": signature})
    monkeypatch.setitem(catalogues()["en"].messages, "club.all", pattern)  # type: ignore[arg-type] # a dict
    return "club.all"


def test_each_kind_of_value_becomes_a_parameter(message: str) -> None:
    """Records are ids and said by their names, quantities and counts are numbers, words select."""
    smooth, flock = Film("smooth", "Smooth film"), Film("flock", "Flock")
    answer = said(
        message,
        film=smooth,
        films=[smooth, flock],
        texts=["a", "b"],
        width=Quantity(1.25, "mm", 1),
        pairs=2,
        how="near",
        most=None,
    )
    assert (
        Parameter(name="film", value="smooth", record="films"),
        Parameter(name="films", value=("smooth", "flock"), record="films"),
        Parameter(name="texts", value=("a", "b")),
        Parameter(name="width", value=1.25, unit="mm", decimals=1),
        Parameter(name="pairs", value=2.0, decimals=0),
        Parameter(name="how", value="near"),
        Parameter(name="most", value=None),
    ) == answer.parameters
    assert ("club.all", "Smooth film Smooth film; Flock a, b 1.2 mm 2 N none") == (answer.message, answer.sentence)


def test_values_are_those_that_a_message_is_declared_with() -> None:
    """A value too many, one too few, and a word that is none of the message's are faults of ours."""
    for wrong in ({}, {"verdict": "trial", "more": 1}):
        with pytest.raises(AssertionError, match=r"has the parameters verdict"):
            said("customer.shop.ask", **wrong)  # type: ignore[arg-type] # on purpose
    with pytest.raises(AssertionError, match="verdict is one of trial, decline, not ready"):
        said("customer.shop.ask", verdict="ready")


def test_a_speaker_says_a_message_in_its_language() -> None:
    """With the names that it knows, or those that the records come with; and again what was said in English."""
    german = Speaker(Texts("de", catalogues()["de"].messages))
    named = Speaker(german.texts, lambda kind, id_: f"{kind}/{id_}")
    platen = Film("flat", "Flache Platte")
    assert "Untere Platte einsetzen; ihre Auflage liegt glatt: Flache Platte." == german("step.platen", platen=platen)
    assert named("step.platen", platen=platen).endswith(": platens/flat.")
    assert named.again(said("step.platen", platen=platen)).endswith(": platens/flat.")
    assert ("Flache Platte", "platens/flat") == (german.name("platens", platen), named.name("platens", platen))
    with pytest.raises(AssertionError, match="The name of flat of the platens is not known here"):
        german.again(said("step.platen", platen=platen))
    with pytest.raises(AssertionError, match="has the parameters platen"):
        german("step.platen")


@pytest.mark.parametrize(
    ("language", "day"), [("en", "Mar 5, 2026"), ("de", "5. März 2026"), ("es", "5 mar 2026"), ("fr", "5 mars 2026")]
)
def test_a_day_is_written_as_the_language_does(language: str, day: str) -> None:
    """As CLDR has it; on the wire it is an ISO 8601 date."""
    tell = Speaker(Texts(language, catalogues()[language].messages))
    assert day == tell("card.evidence.day", day=date(2026, 3, 5))
    assert "2026-03-05" == said("card.evidence.day", day=date(2026, 3, 5)).parameters[0].value


def test_amounts_and_shares_are_exact() -> None:
    """Decimals as texts, an amount with its currency; said with the digits that they have, in any language."""
    words = said("price.ending", step=Decimal("0.50"), less=Decimal("0.05"))
    floor = said("price.floor", floor=Amount(Decimal("12345678901234.50"), "EUR"))

    assert "Raised to a multiple of 0.50, less 0.05" == words.sentence
    assert ("0.50", None) == (words.parameters[0].value, words.parameters[0].unit)
    assert (Parameter(name="floor", value="12345678901234.50", unit="EUR"),) == floor.parameters
    assert "No less than 12345678901234.50 EUR a pair" == floor.sentence
    german = Texts("de", catalogues()["de"].messages, english())
    told = german.say(floor.message, floor.parameters, lambda kind, id_: kind + id_).text
    assert "Nicht weniger als 12345678901234,50\u00a0EUR das Paar" == told


def test_a_choice_of_uppers_is_of_records() -> None:
    """By their ids, said by name, joined by `or`."""
    uppers = [Film("suede", "Suede"), Film("canvas", "Canvas")]
    words = said("try.outcome.harm", uppers=uppers)

    assert (Parameter(name="uppers", value=("suede", "canvas"), record="uppers"),) == words.parameters
    assert "behaves as, Suede or Canvas: ask again" in words.sentence
    (message,) = messages([words])
    assert (words.sentence, words.message) == (message.sentence, message.message)
