"""What a key is pinned to, in each question."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec
import pytest

from featherline.wire.calibrations import CalibrationRequest
from featherline.wire.costs import Measured, Order, OrderWork
from featherline.wire.fits import FitRequest
from featherline.wire.from_prices import FromPriceRequest
from featherline.wire.matrices import MatrixRequest
from featherline.wire.measures import ArtworkRequest
from featherline.wire.recipes import RecipeRequest
from featherline.wire.rosters import Roster
from featherline.wire.seals import SealCheckRequest
from featherline.wire.trials import TrialRequest
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.web.answering.pins import Pins, pinned, pins_of
from featherline_service.web.http.callers import KEYLESS, Caller

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
SHOP = Pins(policies=("club", "counter"), owner="shop", films=("smooth", "flake"), currency="EUR")
PAGE = Pins(customers=True)

Json = dict[str, Any]


@pytest.fixture(scope="module")
def book() -> Book:
    """The demo book."""
    return load()


def example(name: str) -> Json:
    """Return an example request."""
    found: Json = json.loads((EXAMPLES / f"{name}.json").read_bytes())
    return found


def plain_order(**fields: object) -> Json:
    """Return the example order without what only a shop says, and with some fields."""
    order = {
        name: value for name, value in example("quote-request").items() if name not in {"press", "policy", "owner"}
    }
    return {**order, **fields}


def fill(pins: Pins, type_: Any, data: Json, book: Book) -> Any:  # noqa: ANN401 - of the type
    """Return a request as a key with pins asks it."""
    text = json.dumps(data).encode()
    return pinned(pins, msgspec.json.decode(text, type=type_), text, book)


def faults(pins: Pins, type_: Any, data: Json, book: Book) -> list[str]:  # noqa: ANN401 - of the type
    """Return the pointers of what contradicts pins."""
    with pytest.raises(RefusedError) as caught:
        fill(pins, type_, data, book)
    assert all(fault.detail for fault in caught.value.faults)
    return [fault.pointer for fault in caught.value.faults]


def test_what_an_order_leaves_out_is_filled_in(book: Book) -> None:
    """Owner and the first policy; what it states in agreement stays."""
    order = fill(SHOP, Order, plain_order(), book)
    assert ("shop", "club") == (order.owner, order.policy)
    order = fill(SHOP, Order, plain_order(policy="counter", owner="shop"), book)
    assert ("shop", "counter") == (order.owner, order.policy)
    order = fill(Pins(films=("smooth",)), Order, plain_order(), book)
    assert ("customer", None) == (order.owner, order.policy)


def test_what_an_order_contradicts_is_refused_with_its_pointers(book: Book) -> None:
    """A default that is stated is stated: `customer` contradicts a key for the shop's pairs."""
    order = plain_order(policy="letters", owner="customer")
    order["placements"] = [
        {**order["placements"][0], "film": "stretch", "backing": {"film": "mirror", "colour": "x", "border": "2 mm"}}
    ]
    expected = ["/placements/0/film", "/placements/0/backing/film", "/owner", "/policy"]
    assert expected == faults(SHOP, Order, order, book)
    assert [f"/order{pointer}" for pointer in expected] == faults(
        SHOP, OrderWork, {"kind": "order", "order": order}, book
    )
    assert [f"/candidates/1{pointer}" for pointer in expected] == faults(
        SHOP, FromPriceRequest, {"candidates": [plain_order(), order]}, book
    )


def test_candidates_rows_and_work_are_filled_in(book: Book) -> None:
    """Wherever an order is, and where work is known by its measures."""
    work = fill(SHOP, OrderWork, {"kind": "order", "order": plain_order()}, book)
    assert ("shop", "club") == (work.order.owner, work.order.policy)
    candidates = fill(SHOP, FromPriceRequest, {"candidates": [plain_order()]}, book).candidates
    assert [("shop", "club")] == [(order.owner, order.policy) for order in candidates]
    roster = fill(SHOP, Roster, {"order": plain_order(), "rows": [{"owner": "shop"}, {}]}, book)
    assert ("shop", "club") == (roster.order.owner, roster.order.policy)
    measures = {
        name: value for name, value in example("cost-request-measures").items() if name not in {"policy", "owner"}
    }
    measured = fill(Pins(owner="shop", policies=("club",)), Measured, measures, book)
    assert ("shop", "club") == (measured.owner, measured.policy)


def test_rows_pieces_and_single_films_are_refused(book: Book) -> None:
    """The owner of a row, the film of a piece, of a fit, of a recipe and of a trial."""
    assert ["/rows/1/owner"] == faults(
        SHOP, Roster, {"order": plain_order(), "rows": [{}, {"owner": "customer"}]}, book
    )
    none = Pins(films=("flake",))
    assert "/pieces/0/film" in faults(none, Measured, example("cost-request-measures"), book)
    assert ["/film"] == faults(none, FitRequest, example("fit-request"), book)
    assert ["/film"] == faults(none, RecipeRequest, example("recipe-request"), book)
    assert ["/film"] == faults(none, TrialRequest, example("trial-request"), book)


def test_an_artwork_is_measured_for_a_film_of_the_key(book: Book) -> None:
    """The only film is filled in; of several one is to be named."""
    asked = {**example("artwork-request"), "film": None}
    assert "flake" == fill(Pins(films=("flake",)), ArtworkRequest, asked, book).film
    assert ["/film"] == faults(SHOP, ArtworkRequest, asked, book)
    assert ["/film"] == faults(SHOP, ArtworkRequest, {**asked, "film": "stretch"}, book)
    assert None is fill(PAGE, ArtworkRequest, asked, book).film


def test_another_currency_is_refused(book: Book) -> None:
    """A page that shows prices in pounds is not given prices in euros."""
    assert [""] == faults(Pins(currency="GBP"), Order, plain_order(), book)


def test_a_page_says_nothing_of_the_shops_side(book: Book) -> None:
    """Press, offcuts, prepared drawings, clearance and a maker's consent are the shop's to say, for all orders."""
    offcut = {
        "id": "a",
        "film": "smooth",
        "colour": "gorse",
        "shape": {"kind": "rectangle", "width": "1 m", "height": "1 m"},
    }
    order = plain_order(press="swing", offcuts=[offcut], prepared=True)
    order["placements"] = [{**order["placements"][0], "clearance": "1 mm"}]
    order["shoe"] = {**order["shoe"], "makers_consent": True}
    expected = ["/press", "/offcuts", "/prepared", "/placements/0/clearance", "/shoe/makers_consent"]
    assert expected == faults(PAGE, Order, order, book)
    assert order["prepared"] == fill(SHOP, Order, {**order, "owner": "shop"}, book).prepared

    assert ["/owner", "/policy"] == faults(PAGE, Order, plain_order(owner="shop", policy="counter"), book)
    assert "customer" == fill(PAGE, Order, plain_order(owner="customer", policy=None), book).owner
    rows = [{"owner": "customer"}, {"owner": "shop"}]
    assert ["/rows/1/owner"] == faults(PAGE, Roster, {"order": plain_order(), "rows": rows}, book)
    row = {"shoe": {**order["shoe"]}}
    assert ["/rows/0/shoe/makers_consent"] == faults(PAGE, Roster, {"order": plain_order(), "rows": [row]}, book)
    fit = {**example("fit-request"), "press": "swing", "clearance": "1 mm"}
    assert ["/press", "/clearance"] == faults(PAGE, FitRequest, fit, book)
    walk_in = {name: value for name, value in example("walk-in").items() if name not in {"press", "policy"}}
    assert "measured" == fill(PAGE, Order, walk_in, book).shoe.__struct_config__.tag


def test_other_requests_are_left_alone(book: Book) -> None:
    """A request that names nothing that can be pinned stays as it is."""
    assert "a" == fill(SHOP, SealCheckRequest, {"seal": "a"}, book).seal


def test_a_key_without_pins_is_free() -> None:
    """Only a key that is pinned to something, or is a page's, has pins; one that may ask, too, is no page's."""
    ends = datetime(2027, 6, 1, tzinfo=UTC)
    assert None is pins_of(KEYLESS)
    assert None is pins_of(Caller(id="till", scopes=("ask", "price"), expires=ends))
    assert PAGE == pins_of(Caller(id="page", scopes=("price",), expires=ends))
    assert Pins(films=("smooth",)) == pins_of(Caller(id="till", scopes=("ask",), films=("smooth",), expires=ends))


def test_a_page_observes_nothing(book: Book) -> None:
    """Whether a film held is the shop's to say: it could make a trial ready."""
    seen = {"cover": "silicone-thin", "temperature": "160 degC", "dwell": "30 s", "bond": "holds"}
    assert ["/observations"] == faults(PAGE, Order, plain_order(observations=[seen]), book)
    assert 1 == len(fill(SHOP, Order, plain_order(observations=[seen]), book).observations)


def test_a_matrix_is_of_the_films_and_at_the_policy_of_its_key(book: Book) -> None:
    """Films and policy are filled in, and others refused."""
    filled = fill(SHOP, MatrixRequest, {}, book)
    assert (SHOP.films, "club") == (filled.films, filled.policy)
    assert "club" == fill(SHOP, MatrixRequest, {"policy": "club", "films": [SHOP.films[0]]}, book).policy
    assert ["/films/1", "/policy"] == faults(
        SHOP, MatrixRequest, {"films": [SHOP.films[0], "stretch"], "policy": "letters"}, book
    )
    assert "letters" == fill(Pins(), MatrixRequest, {"policy": "letters"}, book).policy


def test_a_calibration_is_of_the_keys_films(book: Book) -> None:
    """Those of its pressings, and the one whose windows are compared; without a film there is nothing to pin."""
    asked = example("calibration-request")
    (pressing,) = asked["pressings"]
    pressed = {**asked, "film": "glow", "pressings": [{**pressing, "film": "flock"}, {**pressing, "film": None}]}
    assert ["/film", "/pressings/0/film"] == faults(SHOP, CalibrationRequest, pressed, book)
    assert msgspec.convert(asked, CalibrationRequest) == fill(SHOP, CalibrationRequest, asked, book)
