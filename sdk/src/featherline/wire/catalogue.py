"""What a key may sell, without costs: all that a form for an order is built of."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.money import Currency
from featherline.wire.records import Colour, ShoeColour, SizeRange
from featherline.wire.shoes import Face
from featherline.wire.texts import BookUntil, Engine, Hex, Identifier, LanguageTag, Name, PathData, Revision


class CataloguePanel(Struct, frozen=True, kw_only=True):
    """A panel that can be marked, drawn flat in millimetres at the reference size, y downwards, the toe to the right.

    `films` are those that hold on it; whether one can be pressed on it, an offer says. `width_mm` and `height_mm` are
    those of its box.
    """

    id: Identifier
    name: Name
    face: Face
    colour: Hex
    width_mm: float
    height_mm: float
    outline: PathData
    up_deg: float
    films: tuple[Identifier, ...]


class CatalogueShoe(Struct, frozen=True, kw_only=True):
    """A shoe of the book: the sizes in which it is made, and its panels.

    `protective` footwear is marked with its maker's written consent alone.
    """

    id: Identifier
    name: Name
    wearer: Literal["adult", "child"]
    protective: bool
    sizes: SizeRange
    colours: Annotated[
        tuple[ShoeColour, ...], Meta(description="The colours in which it is made; none: that of its panels alone.")
    ] = ()
    panels: tuple[CataloguePanel, ...]


class CatalogueFilm(Struct, frozen=True, kw_only=True):
    """A film and its colours. `is_cut` is false for a printed transfer, which is neither cut nor weeded."""

    id: Identifier
    name: Name
    family: Annotated[
        str,
        Meta(
            max_length=32,
            description="smooth, stretch, flock, metallic, reflective, flake, glow or printed. More may come.",
            examples=["smooth"],
        ),
    ]
    is_cut: bool
    colours: tuple[Colour, ...]


class CatalogueFont(Struct, frozen=True, kw_only=True):
    """A font, and the scripts that it has letters of."""

    id: Identifier
    name: Name
    scripts: Annotated[
        tuple[Annotated[str, Meta(min_length=4, max_length=4)], ...],
        Meta(description="Codes of scripts (ISO 15924), such as Latn, of which it has 20 letters or more."),
    ]


class CatalogueLimits(Struct, frozen=True, kw_only=True):
    """The most that a request may have: characters and lines of a text, placements and pairs of an order, and so on.

    `artwork_mm` is the longest side of an artwork.
    """

    characters: int
    lines: int
    artwork_mm: float
    placements: int
    pairs: int
    quantities: int
    rows: int


class CatalogueLanguage(Struct, frozen=True, kw_only=True):
    """A language in which sentences can be had, by `Accept-Language`.

    `checked` is whether somebody whose own language it is has read all of its sentences. `lacks` is how many of the
    sentences for customers are in English instead.
    """

    language: LanguageTag
    name: Name
    checked: bool
    lacks: int


class Catalogue(Struct, frozen=True, kw_only=True):
    """What the key that asks may sell, in the order of ids; names are in the answer's language where they have one."""

    name: Name
    colour: Annotated[Hex | None, Meta(description="The shop's colour, for a page's header; null: none is known.")] = (
        None
    )
    currency: Currency
    shoes: tuple[CatalogueShoe, ...]
    films: tuple[CatalogueFilm, ...]
    fonts: tuple[CatalogueFont, ...]
    limits: CatalogueLimits
    book: Revision
    book_until: BookUntil
    engine: Engine
    languages: tuple[CatalogueLanguage, ...] = ()
