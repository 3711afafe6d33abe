from __future__ import annotations

from datetime import date
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.costs import Order
from featherline.wire.recipes import Recipe
from featherline.wire.records import RecordedPressing
from featherline_service.book.shop_book import Book
from featherline_service.messages.values import in_english
from featherline_service.questions.checks import Checks
from featherline_service.questions.quote import bench_cards, quotes
from featherline_service.questions.quote.card_evidence import evidence_line
from featherline_service.questions.quote.evidence import sightings_of
from featherline_service.questions.recipe.evidence.gauges import gauged
from featherline_service.questions.recipe.evidence.sightings import Job, Sighting

DECK: dict[str, Any] = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}
MARK: dict[str, Any] = {
    "panel": "outer-quarter",
    "film": "smooth",
    "colour": "gorse",
    "artwork": {"kind": "text", "text": "MARLOW", "font": "plain", "height": "12 mm"},
}
HELD = {"cover": "silicone-thin", "temperature": "160 degC", "dwell": "30 s", "bond": "holds", "upper": "unchanged"}
READING = gauged("thermocouple-class-1", "t1", above="bond line", at_s=20.0, low_c=130.0, high_c=130.0)


def order(**changes: Any) -> Order:  # noqa: ANN401 - the JSON of any part
    """Return an order for words on the deck shoe."""
    return msgspec.convert({"shoe": DECK, "placements": [MARK], **changes}, Order)


def recipe_of(book: Book) -> Recipe:
    """Return the order's recipe, which is ready."""
    return quotes.compose(book, order()).pressings[0].recipe


def recorded(book: Book, *days: date) -> Book:
    """Return a book in which the shop's own pressings of some days are."""
    pressings = {
        f"deck-{day}": RecordedPressing(
            id=f"deck-{day}", name="Smooth on the deck shoe", date=day, press="swing", cover="silicone-thin",
            film="smooth", upper="leather-lined", temperature_c=160.0, dwell_s=31.0,
        )
        for day in days
    }  # fmt: skip
    return replace(book, observations=pressings)


def sighting(book: Book, **seen: Any) -> Sighting:  # noqa: ANN401 - any outcome
    """Return a sighting of a pressing of the deck shoe's upper."""
    job = Job("smooth", book.uppers["leather-lined"], "firm", 276.0)
    return Sighting("seen", job, "silicone-thin", "swing", 160.0, 31.0, **seen)


def test_the_card_says_on_what_evidence_ready_stands(book: Book) -> None:
    """The share that is assumed, the trade's statements, what was observed, and the answer's chances, rounded down."""
    recipe = recipe_of(book)
    (pressing,) = bench_cards.compose(book, order()).pressings

    assert recipe.evidence is not None
    assert (
        f"Evidence: film assumed to need 0.53 to 1.06 of its published dose; {len(book.practices)} statements of the "
        f"trade; no readings or outcomes. Chance to bond {int(1000 * recipe.evidence.chance_bonds) / 10} %, to harm "
        f"nothing {min(int(1000 * recipe.evidence.chance_unharmed), 999) / 10} %."
    ) == pressing.evidence


def test_what_an_order_observed_is_counted(book: Book) -> None:
    """A pressing that held and left the upper unchanged is two outcomes, without a day."""
    asked = order(observations=[HELD])
    (pressing,) = bench_cards.compose(book, asked).pressings

    assert "; 2 outcomes (sent with the order). Chance" in pressing.evidence
    assert 1 == len(sightings_of(book, asked, Checks()))


@pytest.mark.parametrize(
    ("days", "sent", "said"),
    [
        ((date(2026, 11, 3),), 0, "1 reading and 1 outcome (Nov 3, 2026)"),
        ((date(2026, 11, 14), date(2026, 11, 3)), 0, "2 readings and 2 outcomes (Nov 3, 2026 to Nov 14, 2026)"),
        ((date(2026, 11, 3),), 1, "2 readings and 2 outcomes (Nov 3, 2026, sent with the order)"),
    ],
)
def test_pressings_of_the_book_have_their_days(book: Book, days: tuple[date, ...], sent: int, said: str) -> None:
    """One day, or the first and the last; what the order sent besides has none."""
    seen = [sighting(book, bond="holds", readings=(READING,))] * (len(days) + sent)

    assert f"; {said}. Chance" in evidence_line(recorded(book, *days), recipe_of(book), seen, in_english())


def test_nothing_is_certain(book: Book) -> None:
    """A chance is never rounded up, and never said to be 100 %."""
    recipe = recipe_of(book)
    assert recipe.evidence is not None
    sure = replace(recipe, evidence=replace(recipe.evidence, chance_bonds=0.97999, chance_unharmed=1.0))

    assert evidence_line(book, sure, (), in_english()).endswith("Chance to bond 97.9 %, to harm nothing 99.9 %.")


def test_without_statements_none_are_said(book: Book) -> None:
    """A book without statements of the trade has no such part in its line."""
    plain = replace(book, practices={})

    assert "published dose; no readings or outcomes." in evidence_line(plain, recipe_of(book), (), in_english())


def test_what_is_not_ready_or_not_shown_stands_on_nothing(book: Book) -> None:
    """A recipe to be tried first has no such line, and neither has one whose setting is not shown."""
    recipe = recipe_of(book)

    assert "" == evidence_line(book, replace(recipe, verdict="trial"), (), in_english())
    assert "" == evidence_line(book, replace(recipe, evidence=None), (), in_english())
