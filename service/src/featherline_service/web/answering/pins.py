"""What a key is pinned to: filled into its requests where they leave it out, and refused where they contradict it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.calibrations import CalibrationRequest
from featherline.wire.costs import Measured, Order, OrderWork, Owner
from featherline.wire.fits import FitRequest
from featherline.wire.from_prices import FromPriceRequest
from featherline.wire.hand_prices import HandPriceRequest
from featherline.wire.matrices import MatrixRequest
from featherline.wire.measures import ArtworkRequest
from featherline.wire.pictures import PictureRequest
from featherline.wire.recipes import RecipeRequest
from featherline.wire.rosters import Roster
from featherline.wire.shoes import BookShoe, Shoe
from featherline.wire.trials import TrialRequest
from featherline_service.book.shop_book import Book
from featherline_service.messages.told import told
from featherline_service.questions.checks import Checks
from featherline_service.web.http.callers import Caller

Request = TypeVar("Request", bound=Struct)
_Json = Mapping[str, Any]


class Pins(Struct, frozen=True, array_like=True):
    """What the requests of a key may ask for; what is empty or null is free.

    The first of `policies` is the one of a request that names none. `customers`: the key is a page's or a till's, which
    says nothing of the shop's own side of an order, and names no policy and no other owner that it is not pinned to.
    """

    policies: tuple[str, ...] = ()
    owner: Owner | None = None
    films: tuple[str, ...] = ()
    currency: str | None = None
    customers: bool = False


_FREE = Pins()


def pins_of(caller: Caller) -> Pins | None:
    """Return the pins of a key, None for one that is free."""
    pins = Pins(
        policies=caller.policies,
        owner=caller.owner,
        films=caller.films,
        currency=caller.currency,
        customers=is_for_customers(caller),
    )
    return None if pins == _FREE else pins


def is_for_customers(caller: Caller) -> bool:
    """Return whether a key is a page's or a till's: for offers alone."""
    return "price" in caller.scopes and "ask" not in caller.scopes


def pinned(pins: Pins, request: Any, text: bytes, book: Book) -> Any:  # noqa: ANN401 - of any question
    """Return a request with what the key is pinned to filled in.

    Args:
        pins: What the key is pinned to.
        request: The request.
        text: The JSON text that it was read from, which tells what it leaves out.
        book: The book that answers it.

    Raises:
        RefusedError: The request contradicts the pins, with the pointer of each contradiction.
    """
    checks = Checks()
    if pins.currency is not None and pins.currency != (currency := book.rates[book.bench.rates].currency):
        checks.note(
            "",
            told(
                "key.currency",
                "This key is for prices in {currency}, and the shop's are in {currency_2}: ask the shop",
                currency=pins.currency,
                currency_2=currency,
            ),
        )
    filled = _filled(pins, request, msgspec.json.decode(text), checks)
    checks.settle()
    return filled


def _filled(pins: Pins, request: Any, data: _Json, checks: Checks) -> Any:  # noqa: ANN401, C901, PLR0911 - of each question
    match request:
        case Order():
            return _order(pins, request, data, checks)
        case OrderWork() | HandPriceRequest() | PictureRequest():
            return replace(request, order=_order(pins, request.order, data["order"], checks.under("/order")))
        case Measured():
            for index, piece in enumerate(request.pieces):
                _film(pins, piece.film, f"/pieces/{index}/film", checks)
            return _terms(pins, request, data, checks)
        case Roster():
            return _roster(pins, request, data, checks)
        case FromPriceRequest():
            candidates = (
                _order(pins, order, data["candidates"][index], checks.under(f"/candidates/{index}"))
                for index, order in enumerate(request.candidates)
            )
            return replace(request, candidates=tuple(candidates))
        case FitRequest():
            _film(pins, request.film, "/film", checks)
            _shops_side(pins, {"/press": request.press, "/clearance": request.clearance}, checks)
            _consent(pins, request.shoe, "/shoe", checks)
            return request
        case RecipeRequest() | TrialRequest():
            _film(pins, request.film, "/film", checks)
            return request
        case CalibrationRequest():
            return _calibration(pins, request, checks)
        case MatrixRequest():
            return _matrix(pins, request, checks)
        case ArtworkRequest():
            return _artwork(pins, request, checks)
        case _:
            return request


def _order(pins: Pins, order: Order, data: _Json, checks: Checks) -> Order:
    side: dict[str, object] = {
        "/press": order.press,
        "/offcuts": order.offcuts,
        "/prepared": order.prepared,
        "/observations": order.observations,
    }
    for index, placement in enumerate(order.placements):
        at = f"/placements/{index}"
        _film(pins, placement.film, f"{at}/film", checks)
        if placement.backing is not None:
            _film(pins, placement.backing.film, f"{at}/backing/film", checks)
        side[f"{at}/clearance"] = placement.clearance
    for index, film in enumerate(() if order.propose is None else order.propose.films):
        _film(pins, film, f"/propose/films/{index}", checks)
    _shops_side(pins, side, checks)
    _consent(pins, order.shoe, "/shoe", checks)
    return _terms(pins, order, data, checks)


def _matrix(pins: Pins, request: MatrixRequest, checks: Checks) -> MatrixRequest:
    """Return a matrix with films and price policy filled in."""
    for index, film in enumerate(request.films):
        _film(pins, film, f"/films/{index}", checks)
    policy = _policy(pins, request.policy, checks)
    return replace(request, films=request.films or pins.films, policy=policy)


def _policy(pins: Pins, policy: str | None, checks: Checks) -> str | None:
    """Return the price policy of a request, filled in where the key is pinned to some."""
    if not pins.policies:
        _shops_side(pins, {"/policy": policy}, checks)
    elif policy is None:
        return pins.policies[0]
    elif policy not in pins.policies:
        checks.note(
            "/policy",
            told(
                "key.policies",
                "This key's price policies are {policies}: leave it out, or name one",
                policies=tuple(pins.policies),
            ),
        )
    return policy


def _roster(pins: Pins, roster: Roster, data: _Json, checks: Checks) -> Roster:
    for index, row in enumerate(roster.rows):
        if row.owner is not None:
            _owner(pins, row.owner, f"/rows/{index}/owner", checks)
        if row.shoe is not None:
            _consent(pins, row.shoe, f"/rows/{index}/shoe", checks)
    return replace(roster, order=_order(pins, roster.order, data["order"], checks.under("/order")))


def _terms(pins: Pins, request: Request, data: _Json, checks: Checks) -> Request:
    """Return an order, or work known by its measures, with owner and price policy filled in."""
    changes: dict[str, str] = {}
    if "owner" in data:
        _owner(pins, data["owner"], "/owner", checks)
    if pins.owner is not None:
        changes["owner"] = pins.owner
    policy = _policy(pins, data.get("policy"), checks)
    if policy is not None:
        changes["policy"] = policy
    return replace(request, **changes) if changes else request


def _calibration(pins: Pins, request: CalibrationRequest, checks: Checks) -> CalibrationRequest:
    films = {f"/pressings/{index}/film": pressing.film for index, pressing in enumerate(request.pressings)}
    for pointer, film in {"/film": request.film, **films}.items():
        if film is not None:
            _film(pins, film, pointer, checks)
    return request


def _artwork(pins: Pins, request: ArtworkRequest, checks: Checks) -> ArtworkRequest:
    if not pins.films:
        return request
    if request.film is None:
        if len(pins.films) > 1:
            checks.note("/film", told("key.films", "This key's films are {films}: name one", films=tuple(pins.films)))
        return replace(request, film=pins.films[0])
    _film(pins, request.film, "/film", checks)
    return request


def _owner(pins: Pins, owner: str, pointer: str, checks: Checks) -> None:
    if pins.owner is None:
        _shops_side(pins, {pointer: owner == "shop"}, checks)
    elif pins.owner != owner:
        checks.note(
            pointer,
            told("key.owner", "This key is for pairs of the {owner}: leave it out, or say '{owner}'", owner=pins.owner),
        )


def _film(pins: Pins, film: str, pointer: str, checks: Checks) -> None:
    if pins.films and film not in pins.films:
        checks.note(
            pointer, told("key.films", "This key's films are {films}: name one of them", films=tuple(pins.films))
        )


def _consent(pins: Pins, shoe: Shoe, pointer: str, checks: Checks) -> None:
    if isinstance(shoe, BookShoe):
        _shops_side(pins, {f"{pointer}/makers_consent": shoe.makers_consent}, checks)


def _shops_side(pins: Pins, stated: Mapping[str, object], checks: Checks) -> None:
    """Note what only the shop knows of an order, or decides: with it a page could make its price lower."""
    if not pins.customers:
        return
    for pointer, value in stated.items():
        if value not in {None, False, ()}:
            checks.note(
                pointer,
                told(
                    "key.shops-word",
                    "Only the shop says this of an order: leave it out, or let the shop's own server ask",
                ),
            )
