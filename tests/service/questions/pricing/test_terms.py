from __future__ import annotations

from typing import Any

import pytest
from measured_work import WORK
from msgspec.structs import replace
from plain_marks import DECK, asked

from featherline.wire.costs import Measured, OfferedOffcut, Order
from featherline.wire.shoes import Rectangle
from featherline_service.book.shop_book import Book
from featherline_service.cost.film import LARGEST_NEST
from featherline_service.cost.nesting import outline_nesting
from featherline_service.questions.checks import Checks
from featherline_service.questions.pricing.terms import PluggedPolicy, Terms, find_policy, read_terms


def order(**changes: Any) -> Order:  # noqa: ANN401
    """Return an order of one bar, some of it changed."""
    return replace(Order(shoe=DECK, placements=(asked(),)), **changes)


def terms(book: Book, request: Order | Measured) -> tuple[Terms | None, list[tuple[str, str]]]:
    """Return the terms of a request, and what is wrong with them."""
    checks = Checks()
    there = read_terms(book, request, checks)
    return there, [(fault.pointer, fault.detail) for fault in checks.faults]


def test_terms_are_those_of_the_request(book: Book) -> None:
    """Or the bench's policy, no rush, rectangles, and no hours."""
    plain, faults = terms(book, order())
    rushed, _ = terms(book, order(policy="club", rush=True, hours_a_day=7.5, units="us"))
    assert plain is not None
    assert rushed is not None

    assert [] == faults
    assert (book.policies["counter"], {}, False, 0, None, "metric", LARGEST_NEST) == (
        plain.policy,
        plain.offcuts,
        plain.rush,
        plain.outlines_s,
        plain.hours_a_day,
        plain.units,
        plain.largest_nest,
    )
    assert (book.policies["club"], True, 7.5, "us") == (rushed.policy, rushed.rush, rushed.hours_a_day, rushed.units)


def test_offcuts_of_the_request_are_terms(book: Book) -> None:
    """By film and colour."""
    scrap = OfferedOffcut(id="scrap", film="smooth", colour="gorse", shape=Rectangle(width="9 cm", height="80 mm"))
    there, _ = terms(book, order(offcuts=(scrap,)))
    assert there is not None

    ((key, (offcut,)),) = there.offcuts.items()
    assert (("smooth", "gorse"), "scrap", 90.0, 80.0) == (key, offcut.id, offcut.width_mm, offcut.height_mm)


@pytest.mark.parametrize(
    ("outlines", "seconds"),
    [("1 s", 1), ("4 s", 4), ("4.2 s", 5), ("10 s", 10), ("0.99 s", None), ("10.1 s", None), (None, 0)],
)
def test_a_search_takes_whole_seconds(
    book: Book, monkeypatch: pytest.MonkeyPatch, outlines: str | None, seconds: int | None
) -> None:
    """From 1 s to 10 s, rounded up."""
    monkeypatch.setattr(outline_nesting, "available", lambda: True)
    there, faults = terms(book, order(outlines=outlines))
    assert there is not None

    assert (seconds or 0) == there.outlines_s
    assert (
        [] if seconds is not None else [("/outlines", "Give from 1 s to 10 s to search for a nest of outlines")]
    ) == (faults)


def test_a_search_that_is_not_installed_or_not_a_duration_is_a_fault(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first says what to install; measured work has no outlines to search with."""
    monkeypatch.setattr(outline_nesting, "available", lambda: False)
    _, ((pointer, missing),) = terms(book, order(outlines="4 s"))
    monkeypatch.setattr(outline_nesting, "available", lambda: True)
    soon, ((other, unread),) = terms(book, order(outlines="soon"))
    measured, faults = terms(book, WORK)

    assert ("/outlines", "/outlines") == (pointer, other)
    assert missing.startswith("This service nests rectangles only")
    assert "'soon' is not a duration" in unread
    assert soon is not None
    assert 0 == soon.outlines_s
    assert measured is not None
    assert (0, []) == (measured.outlines_s, faults)


def test_a_policy_that_is_not_there_leaves_no_terms(book: Book) -> None:
    """Other faults are noted beside it."""
    there, faults = terms(book, order(policy="barter", outlines="soon"))

    assert there is None
    assert ["/policy", "/outlines"] == [pointer for pointer, _ in faults]


def policy(book: Book, wanted: str | None, *, rush: bool = False) -> tuple[object, list[tuple[str, str]]]:
    """Return a policy, and what is wrong with it."""
    checks = Checks()
    there = find_policy(book, wanted, checks, rush=rush)
    return there, [(fault.pointer, fault.detail) for fault in checks.faults]


def test_a_policy_takes_rush_orders_or_says_which_do(book: Book) -> None:
    """The policy of the web shop has no surcharge."""
    assert (book.policies["web"], []) == policy(book, "web")
    assert (book.policies["counter"], []) == policy(book, None, rush=True)
    refused, ((pointer, detail),) = policy(book, "web", rush=True)
    assert (book.policies["web"], "/rush") == (refused, pointer)
    takes = [name for name, one in book.policies.items() if one.rush is not None]
    assert set(takes) == {"counter", "club"}
    assert ", ".join(takes) in detail
    without = replace(book, policies={"web": book.policies["web"]})
    assert "none" in policy(without, "web", rush=True)[1][0][1]


@pytest.mark.parametrize("currency", ["USD", "CHF"])
def test_a_policy_is_in_the_currency_of_the_benchs_rates(book: Book, currency: str) -> None:
    """Another cannot be compared with the cost."""
    own = replace(book, policies={**book.policies, "club": replace(book.policies["club"], currency=currency)})
    fault = f"Price policy 'club' is in {currency}, and the bench's rates are in EUR: ask for a policy in EUR"

    assert (None, [("/policy", fault)]) == policy(own, "club", rush=True)


def test_a_policy_is_asked_for_no_rush_unless_said(book: Book) -> None:
    """As offcuts and prices of others are."""
    checks = Checks()

    assert book.policies["web"] is find_policy(book, "web", checks)
    assert () == checks.faults


def test_policies_of_plug_ins_are_beside_those_of_the_book(book: Book) -> None:
    """In the currency of the bench's rates; they say themselves what rush costs."""
    installed: Any = object()
    own = replace(book, plugins=replace(book.plugins, price_policies={"tide": installed}))

    assert (PluggedPolicy("tide", "EUR", installed), []) == policy(own, "tide", rush=True)
    assert "club, counter, letters, tide, web" in policy(own, "barter")[1][0][1]
