"""A catalogue of orders that share much: every shoe, film and text of the demo book, in runs of 1 to 125 pairs.

``python catalogue.py 200000 orders.jsonl`` writes that many, the most that there are, as lines for repricing.
"""

from __future__ import annotations

import itertools
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import msgspec

from featherline.wire import BookShoe, Order, Placement, Size, TextArtwork
from featherline_service.book.loader import load

TEXTS: Final = tuple(map(str, range(1, 21)))
PAIRS: Final = range(1, 126)


def orders() -> Iterator[Order]:
    """Yield the orders; those that follow one another differ in their pairs, then in text, film and shoe."""
    book = load()
    for shoe, film, text in itertools.product(book.shoes.values(), book.films.values(), TEXTS):
        artwork = TextArtwork(text=text, font="plain", letter_height="14 mm")
        placement = Placement(panel=shoe.panels[0].id, film=film.id, colour=film.colours[0].id, artwork=artwork)
        size = Size(system=shoe.sizes.system, value=f"{shoe.sizes.smallest:g}")
        order = Order(shoe=BookShoe(shoe=shoe.id, size=size), placements=(placement,), owner="shop")
        for pairs in PAIRS:
            yield msgspec.structs.replace(order, pairs=pairs)


def write(lines: int, file: Path) -> None:
    """Write a file of orders, each with its number as its id."""
    with file.open("wb") as out:
        for number, order in enumerate(itertools.islice(orders(), lines), 1):
            out.write(b'{"id":"%d","request":%b}\n' % (number, msgspec.json.encode(order)))


if __name__ == "__main__":
    write(int(sys.argv[1]), Path(sys.argv[2]))
