"""A price list: 10,000 combinations of shoe, film and text, and the prices that have changed since the last list.

It has every shoe of the book with its first panel, every film in its first colour, and the numbers 1 to 99 and letters
A to Z. The answers are a stream, so a million combinations would take no more memory.

    python price_list.py new.csv [old.csv]      # asks FEATHERLINE_URL, else http://127.0.0.1:8037
"""

from __future__ import annotations

import csv
import itertools
import string
import sys
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from featherline import Client
from featherline.wire import BookShoe, Film, Order, Placement, ShoeModel, Size, TextArtwork

TEXTS = (*map(str, range(1, 100)), *string.ascii_uppercase)
COLUMNS = ("shoe", "film", "text", "verdict", "price", "currency")
Row = tuple[str, ...]


def combinations(shoes: Iterable[ShoeModel], films: Iterable[Film]) -> Iterator[Order]:
    """Yield an order for each shoe, film and text."""
    for shoe, film, text in itertools.product(shoes, films, TEXTS):
        artwork = TextArtwork(text=text, font="plain", letter_height="14 mm")
        placement = Placement(panel=shoe.panels[0].id, film=film.id, colour=film.colours[0].id, artwork=artwork)
        size = Size(system=shoe.sizes.system, value=f"{shoe.sizes.smallest:g}")
        yield Order(shoe=BookShoe(shoe=shoe.id, size=size), placements=(placement,), owner="shop")


def prices(client: Client) -> Iterator[Row]:
    """Yield the rows of the list, in the order of the combinations."""
    shoes, films = client.records(ShoeModel).records, client.records(Film).records
    keys = itertools.product((shoe.id for shoe in shoes), (film.id for film in films), TEXTS)
    for key, reply in zip(keys, client.bulk(combinations(shoes, films)), strict=True):
        if reply.problem is not None:
            yield (*key, "problem", "", reply.problem.detail)
        elif (price := reply.answer.price) is None:
            yield (*key, reply.answer.verdict, "", "")
        else:
            yield (*key, reply.answer.verdict, price.total.amount, price.total.currency)


def read_list(file: Path) -> Mapping[Row, Row]:
    """Return the rows of a list by shoe, film and text."""
    with file.open(newline="", encoding="utf-8") as lines:
        return {tuple(row[:3]): tuple(row) for row in csv.reader(lines)}


def main(argv: list[str]) -> None:
    """Write the new list, and print the changes since the old one."""
    old: Mapping[Row, Row] = read_list(Path(argv[1])) if len(argv) > 1 else {}
    count = changed = 0
    with Path(argv[0]).open("w", newline="", encoding="utf-8") as file, Client() as client:
        writer = csv.writer(file)
        writer.writerow(COLUMNS)
        for row in prices(client):
            writer.writerow(row)
            count += 1
            before = old.get(row[:3])
            if before is not None and before != row:
                changed += 1
                print(*row[:3], "was", *before[3:], "is", *row[3:])
    print(f"{count} combinations, {changed} changed")


if __name__ == "__main__":
    main(sys.argv[1:])
