"""The question "what will it look like?", and its answer: pictures of a marked shoe for its customer."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.costs import Order
from featherline.wire.shoes import Face
from featherline.wire.texts import BookUntil, Engine, Instant, Revision

LONGEST_ADDRESS = 2_000


class PictureRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What will this order look like? It is shown as asked for, whether or not it can be done.

    As `image/svg+xml` or `image/png` the answer is one picture: that which shows `placement`, on `foot` where the feet
    differ. `width_px` is the width of a PNG, and the one that an SVG has where the page says no other. With
    `inline` the answer has the pictures themselves, as SVG.
    """

    order: Order
    placement: Annotated[
        Annotated[int, Meta(ge=0, le=11)] | None,
        Meta(description="The index, from 0, of a placement of the order; null: all are shown, or the first."),
    ] = None
    foot: Literal["left", "right"] | None = None
    width_px: Annotated[int, Meta(ge=64, le=1600)] = 480
    inline: bool = False


class PictureAddress(Struct, frozen=True, kw_only=True):
    """Where a picture is read without a key until it expires: paths on the service, at most 2000 characters long.

    They hold the order enciphered. Whoever has an address sees the picture. With a `temporary` key the addresses end
    with the run of the service.
    """

    svg: Annotated[str, Meta(max_length=LONGEST_ADDRESS)]
    png: Annotated[str, Meta(max_length=LONGEST_ADDRESS)]
    expires: Instant
    key: Literal["kept", "temporary"]


class Picture(Struct, frozen=True, kw_only=True):
    """A picture of a face of the shoe, of one foot, with all marks on it.

    `placements` are those that it shows. `alternative` says it in words, as the picture itself does for screen readers.
    `svg` is null unless it was asked for. `address` is null where the order is too long for one, such as with a large
    drawing: then keep the picture itself.
    """

    face: Face
    foot: Literal["left", "right"]
    placements: Annotated[tuple[int, ...], Meta(description="Indices into the order's placements, from 0.")]
    in_place: Annotated[bool, Meta(description="Whether the shoe is shown; false: the panel alone.")]
    alternative: Annotated[str, Meta(max_length=1000)]
    width_px: int
    height_px: int
    svg: str | None
    address: PictureAddress | None


class PictureAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a `PictureRequest`: the pictures that show all placements, that of the first placement first."""

    pictures: tuple[Picture, ...]
    book: Revision
    book_until: BookUntil
    engine: Engine
