"""What a question is about, read without decoding all of it: which computations it shares, and whether it is long."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Final, NamedTuple

import msgspec
from msgspec import Raw, Struct

_NONE: Final = Raw()


class _Placement(Struct):
    film: Raw = _NONE


class _Order(Struct):
    shoe: Raw = _NONE
    film: Raw = _NONE
    placements: tuple[_Placement, ...] = ()
    outlines: str | None = None


class _Question(_Order):
    order: _Order | None = None


_decode: Final = msgspec.json.Decoder(_Question).decode


class Topic(NamedTuple):
    """The topic of a question: those with the same share much of what is computed. `is_long`: a search is asked for."""

    shared: Hashable
    is_long: bool


_UNKNOWN: Final = Topic(None, is_long=False)


def topic_of(text: bytes) -> Topic:
    """Return the topic of a question's JSON text. One that cannot be read has none; it will be refused."""
    try:
        question = _decode(text)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return _UNKNOWN
    order = question if question.order is None else question.order
    films = bytes(order.placements[0].film) if order.placements else bytes(order.film)
    return Topic((bytes(order.shoe), films), order.outlines is not None)
