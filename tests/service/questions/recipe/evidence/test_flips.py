"""What changed the choice of a setting."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from featherline.wire.recipes import RecipeRequest
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.evidence import flips
from featherline_service.questions.recipe.recipe_settings import ranked
from featherline_service.questions.recipe.recipes import resolve, task_of

PRESSED = {"cover": "silicone-thin", "temperature": "160 degC", "dwell": "30 s"}


def asked(
    *observations: dict[str, Any], shoe: str = "turf-boot", panel: str = "toe", conditioning: str = "room"
) -> RecipeRequest:
    """Return a request for smooth film on a shoe of the book."""
    size = {"system": "EU", "value": "42"}
    onto = {
        "kind": "panel",
        "shoe": {"kind": "book", "shoe": shoe, "size": size, "conditioning": conditioning},
        "panel": panel,
    }
    return msgspec.convert({"film": "smooth", "onto": onto, "observations": observations}, RecipeRequest)


def told(book: Book, request: RecipeRequest) -> dict[str, str]:
    """Return the sentences on another setting by their subjects."""
    reasons = [reason for reason in resolve(book, request).reasons if reason.code == "heat.other-setting"]
    assert {"ready"} >= {reason.verdict for reason in reasons}
    return {reason.subject: reason.sentence for reason in reasons}


def test_a_damp_shoe_takes_another_cover_sheet(book: Book) -> None:
    """The answer names both sheets, and that the thin one is not sure any more; a dry shoe takes the one of a room."""
    expected = (
        "That the shoe is damp changes the setting. Without it it would be 160 °C under Thin flexible siliconised "
        "sheet at medium pressure, where no dwell is sure any more."
    )
    assert {"/onto/shoe/conditioning": expected} == told(book, asked(conditioning="damp"))
    assert {} == told(book, asked(conditioning="dry"))
    assert {} == told(book, asked())


def test_the_observation_that_decides_is_named(book: Book) -> None:
    """Of two the one that the other would not need; none where the setting stays."""
    harmless = {**PRESSED, "dwell": "28 s", "upper": "unchanged"}
    harmed = {**PRESSED, "dwell": "31 s", "upper": "deformed"}
    found = told(book, asked(harmless, harmed))
    assert ["/observations"] == list(found)
    assert found["/observations"].startswith("What was observed (/observations/1) changes the setting. Without it")
    assert {} == told(book, asked(harmless))


def test_every_change_is_said(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cover sheet, temperature and pressure, and whether the other setting is sure still."""
    task, _ = task_of(book, asked({**PRESSED, "bond": "holds"}))
    (best, *_) = settings = ranked(book, task)
    other = best._replace(cover=None, platen_c=150.0, pressure="firm")

    monkeypatch.setattr(flips, "best_ranked", lambda *_: other)
    (reason,) = flips.flips(book, task, (*settings, other))
    expected = (
        "What was observed (/observations/0) changes the setting. Without it it would be 150 °C under no cover sheet "
        "at firm pressure, which is sure still: this one is preferred."
    )
    assert expected == reason.sentence
    assert ("bench", "heat.other-setting") == (reason.audience, reason.message)

    monkeypatch.setattr(flips, "best_ranked", lambda *_: other._replace(dwell_s=None))
    assert [] == list(flips.flips(book, task, settings))
    monkeypatch.setattr(flips, "best_ranked", lambda *_: None)
    assert [] == list(flips.flips(book, task, settings))
