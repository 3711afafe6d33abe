"""Work of plain numbers, for tests of what it costs and takes."""

from __future__ import annotations

from typing import Any, Final

from msgspec.structs import replace

from featherline.wire.records import Handling
from featherline_service.book.shop_book import Book
from featherline_service.cost.times import Closing
from featherline_service.questions.pricing.cost_lines import Part, Presswork

CLOSING: Final = Closing(
    loading=1, setting=0, dwell_s=10.0, wait_s=4.0, closings=2, shoes=2, placed=2, taped=0, temperature_c=160.0
)
HANDLING: Final = Handling(
    order_s=100.0,
    load_film_s=40.0,
    weed_piece_s=2.0,
    weed_metre_s=10.0,
    position_s=20.0,
    tape_s=6.0,
    load_shoe_s=12.0,
    peel_s=5.0,
    change_setting_s=60.0,
    pack_pair_s=30.0,
)
"""The seconds of hand work, each its own."""


def part(book: Book, *closings: Closing, pairs: int = 1, cover: str | None = "silicone-thin", **more: Any) -> Part:  # noqa: ANN401
    """Return pairs pressed so, without film."""
    sheet = None if cover is None else book.covers[cover]
    work = tuple(
        Presswork(closing=closing, cover=sheet, shoe_chance=0.01, weak_chance=0.02)
        for closing in closings or (CLOSING,)
    )
    plain = Part(pieces=(), presswork=work, owner="shop", shoe=None, pairs=pairs, characters=0)
    return replace(plain, **more)
