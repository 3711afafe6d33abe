"""The answer to an order: can it be done, how, and for how much? Fits, recipes, cost and price, composed."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.costs import Cost, Price
from featherline.wire.fits import Fit
from featherline.wire.recipes import Recipe
from featherline.wire.seals import Seal
from featherline.wire.shoes import Face
from featherline.wire.texts import Engine, Identifier, Revision
from featherline.wire.verdicts import Reason, Verdict


class QuotedPlacement(Struct, frozen=True, kw_only=True):
    """A placement of the order: how it fits, and the pressing that bonds it."""

    panel: Identifier
    sides: Literal["both", "left", "right"]
    fit: Fit
    pressing: Annotated[int, Meta(description="Index into `pressings`.")]


class Pressing(Struct, frozen=True, kw_only=True):
    """One closing of the press: what it bonds, on which loading, and its recipe.

    Placements of one film on one face share a pressing; films that differ follow one another in the same loading;
    another face is another loading. `shoes_at_once` is how many shoes lie on the platen together: 2 where it takes the
    pair, and more of an order of several pairs where it takes more, or one shoe of each is marked.
    """

    loading: Annotated[int, Meta(ge=1)]
    face: Face
    placements: Annotated[tuple[int, ...], Meta(description="Indices into the order's placements.")]
    shoes: tuple[Literal["left", "right"], ...]
    shoes_at_once: int
    recipe: Recipe


class QuoteAnswer(Struct, frozen=True, kw_only=True):
    """The answer to an `Order`. Its verdict is the worst of its parts; declined, it has no cost and no price."""

    verdict: Verdict
    reasons: tuple[Reason, ...]
    placements: tuple[QuotedPlacement, ...]
    pressings: tuple[Pressing, ...]
    cost: Cost | None
    price: Price | None
    book: Revision
    engine: Engine
    seal: Annotated[Seal | None, Meta(description="Vouches for the price until it expires; null where there is none.")]
