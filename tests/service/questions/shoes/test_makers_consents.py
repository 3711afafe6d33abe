"""Protective footwear is marked with its maker's consent alone, whatever is asked."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

import pytest

from featherline.wire.artworks import PathArtwork
from featherline.wire.costs import Order, OrderWork, Placement
from featherline.wire.fits import FitRequest
from featherline.wire.recipes import RecipeRequest, ShoePanel
from featherline.wire.rosters import Roster, RosterRow
from featherline.wire.shoes import BookShoe, Size
from featherline.wire.trials import TrialRequest
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.questions import costs
from featherline_service.questions.fit import fits
from featherline_service.questions.quote import bench_cards, quotes
from featherline_service.questions.recipe import recipes
from featherline_service.questions.roster import rosters
from featherline_service.questions.trial import trials

PANEL: Final = "outer-quarter"
ARTWORK: Final = PathArtwork(d="M0 0H12V10H0Z", height="10 mm")


class Said(NamedTuple):
    """An answer: its verdict, reasons, and what it offers to do or charge."""

    verdict: str
    reasons: tuple[Reason, ...]
    offered: tuple[object, ...]


def boot(*, consent: bool) -> BookShoe:
    """Return the protective boot of the demo book."""
    return BookShoe(shoe="yard-boot", size=Size(system="EU", value="43"), makers_consent=consent)


def order(*, consent: bool) -> Order:
    """Return an order for it."""
    placement = Placement(panel=PANEL, film="smooth", colour="chalk", artwork=ARTWORK)
    return Order(shoe=boot(consent=consent), placements=(placement,))


def recipe(book: Book, *, consent: bool) -> Said:
    """Ask for a recipe."""
    onto = ShoePanel(shoe=boot(consent=consent), panel=PANEL)
    answer = recipes.resolve(book, RecipeRequest(film="smooth", onto=onto))
    return Said(answer.verdict, answer.reasons, (answer.setting, *answer.steps))


def fit(book: Book, *, consent: bool) -> Said:
    """Ask for a fit, which offers nothing to do."""
    request = FitRequest(shoe=boot(consent=consent), panel=PANEL, film="smooth", artwork=ARTWORK)
    answer = fits.check(book, request)
    return Said(answer.verdict, answer.reasons, (consent,))


def quote(book: Book, *, consent: bool) -> Said:
    """Ask for a quote, and its card."""
    answer = quotes.compose(book, order(consent=consent))
    card = bench_cards.compose(book, order(consent=consent))
    (pressing,) = answer.pressings
    tiles = [tile.value for shown in card.pressings for tile in shown.tiles if tile.value != "no setting"]
    offered = (answer.price, answer.cost, pressing.recipe.setting, *pressing.recipe.steps, *tiles)
    return Said(answer.verdict, answer.reasons, offered)


def cost(book: Book, *, consent: bool) -> Said:
    """Ask for a cost: declined are its sentences."""
    answer = costs.estimate(book, OrderWork(order=order(consent=consent)))
    reasons = tuple(
        Reason(code="shoe.protective", verdict="decline", subject="/order/shoe/makers_consent", sentence=sentence)
        for sentence in answer.declined
    )
    return Said("decline" if answer.declined else "ready", reasons, (answer.cost, answer.price))


def roster(book: Book, *, consent: bool) -> Said:
    """Ask for a roster of one row."""
    answer = rosters.compose(book, Roster(order=order(consent=consent), rows=(RosterRow(),)))
    (row,) = answer.rows
    return Said(str(row.verdict), row.reasons, (answer.price, row.price))


def trial(book: Book, *, consent: bool) -> Said:
    """Ask for a trial."""
    answer = trials.plan(book, TrialRequest(shoe=boot(consent=consent), panel=PANEL, film="smooth"))
    return Said(answer.verdict, answer.reasons, answer.rungs)


@pytest.mark.parametrize("ask", [recipe, fit, quote, cost, roster, trial])
def test_nothing_is_pressed_without_the_makers_consent(book: Book, ask: Callable[..., Said]) -> None:
    """Every question declines, names the field that states the consent, and offers no setting, step, rung or price."""
    asked = ask(book, consent=False)
    consented = ask(book, consent=True)

    (reason,) = [one for one in asked.reasons if one.verdict == "decline"]
    assert ("decline", "shoe.protective") == (asked.verdict, reason.code)
    assert reason.subject.endswith("/shoe/makers_consent")
    assert "`makers_consent`" in reason.sentence
    assert not any(asked.offered)
    assert consented.verdict != "decline"
    assert any(consented.offered)
