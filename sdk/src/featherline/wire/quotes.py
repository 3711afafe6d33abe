"""The answer to the question "can this order be done, how, and for how much?": fits, recipes, cost and price."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.costs import Cost, Order, Price
from featherline.wire.fits import Fit
from featherline.wire.money import Money
from featherline.wire.recipes import Recipe
from featherline.wire.seals import Seal
from featherline.wire.shoes import Face
from featherline.wire.texts import BookUntil, Engine, Identifier, Reference, Revision
from featherline.wire.verdicts import Reason, Verdict


class QuotedBacking(Struct, frozen=True, kw_only=True):
    """The backing of a placement: its fit, and the pressing that bonds it."""

    fit: Fit
    pressing: Annotated[int, Meta(description="Index into `pressings`.")]


class QuotedPlacement(Struct, frozen=True, kw_only=True):
    """A placement of the order: its fit, and the pressing that bonds it."""

    panel: Identifier
    sides: Literal["both", "left", "right"]
    fit: Fit
    pressing: Annotated[int, Meta(description="Index into `pressings`.")]
    backing: Annotated[QuotedBacking | None, Meta(description="Null for a placement without one.")] = None


class Pressing(Struct, frozen=True, kw_only=True):
    """One closing of the press: the placements that it bonds, its loading and its recipe.

    Placements of one film on one face share a pressing, unless one lies on another. Different films follow one another
    in the same loading; each face has a loading of its own. `shoes_at_once` is the number of shoes that lie on the
    platen together, as far as it takes them: those of one pair, or of several pairs of the order.
    """

    loading: Annotated[int, Meta(ge=1)]
    face: Face
    placements: Annotated[tuple[int, ...], Meta(description="Indices into the order's placements.")]
    backings: Annotated[
        tuple[int, ...], Meta(description="Indices into the order's placements, of those whose backing it bonds.")
    ] = ()
    shoes: tuple[Literal["left", "right"], ...]
    shoes_at_once: int
    recipe: Recipe


class Proposal(Struct, frozen=True, kw_only=True):
    """An order that would be done instead, ready to be sent, with its price; it is not sealed before it is.

    `changes` are what is different from the order that was asked for, with pointers into it.
    """

    changes: tuple[Reason, ...]
    verdict: Verdict
    total: Money
    order: Order


class QuoteAnswer(Struct, frozen=True, kw_only=True):
    """The answer to an `Order`. Its verdict is the worst of its parts; a declined order has no cost and no price."""

    reference: Annotated[Reference | None, Meta(description="The order's `reference`.")] = None
    verdict: Verdict
    reasons: tuple[Reason, ...]
    placements: tuple[QuotedPlacement, ...]
    pressings: tuple[Pressing, ...]
    cost: Cost | None
    price: Price | None
    proposals: Annotated[
        tuple[Proposal, ...],
        Meta(description="For a declined order that asks for them: the best verdicts first, then the nearest."),
    ] = ()
    book: Revision
    book_until: BookUntil = None
    engine: Engine
    seal: Annotated[Seal | None, Meta(description="Guarantees the price until it expires; null if there is no price.")]
