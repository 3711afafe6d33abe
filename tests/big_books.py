"""A shop book of any size at Saltmarsh Quay, made from the demo book; no two of its shoes are drawn alike.

``python tests/big_books.py FOLDER`` writes one of 2,000 shoes of five panels and 200 films.
"""

from __future__ import annotations

import itertools
import re
import sys
from pathlib import Path
from random import Random
from typing import Final

from featherline_service.book.loader import demo_folder

SHOES: Final = 2_000
FILMS: Final = 200
TEMPLATES: Final = ("regatta-deck", "court-trainer")
"""The demo book's shoes of five panels."""

_ADJECTIVES: Final = (
    "brackish",
    "ebbing",
    "foggy",
    "glassy",
    "hushed",
    "leeward",
    "mossy",
    "northern",
    "pebbled",
    "tidal",
)
_NOUNS: Final = (
    "avocet",
    "bollard",
    "capstan",
    "dinghy",
    "eelgrass",
    "fairlead",
    "groyne",
    "halyard",
    "inlet",
    "jetty",
)
_DRAWING: Final = re.compile(r'^(outline|d) = "(.*)"$', re.MULTILINE)
_POINTS: Final = re.compile(r"^(centre_mm|ends_mm|other_ends_mm) = (.*)$", re.MULTILINE)
_COMMAND: Final = re.compile(r"([A-Za-z])([^A-Za-z]*)")
_NUMBER: Final = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")
_ARC_ARGUMENTS: Final = 7
_ARC_LENGTHS: Final = frozenset({0, 1, 5, 6})  # the others are an angle and two flags


def write(folder: Path, shoes: int = SHOES, films: int = FILMS) -> Path:
    """Write a book that overlays the demo book, and return its folder."""
    for kind in ("shoes", "films"):
        (folder / kind).mkdir(parents=True)
    (folder / "book.toml").write_text('mode = "overlay"\n', "utf-8")
    random = Random(8037)  # noqa: S311 - records, not secrets
    demo = demo_folder()
    models = itertools.cycle((demo / "shoes" / f"{name}.toml").read_text("utf-8") for name in TEMPLATES)
    kinds = itertools.cycle(file.read_text("utf-8") for file in sorted((demo / "films").glob("*.toml")))
    for number, model in zip(range(shoes), models, strict=False):
        id_ = identifier(number)
        text = _renamed(_grown(model, random.uniform(0.9, 1.1)), id_)
        (folder / "shoes" / f"{id_}.toml").write_text(text, "utf-8")
    for number, kind in zip(range(films), kinds, strict=False):
        id_ = identifier(number)
        (folder / "films" / f"{id_}.toml").write_text(_renamed(kind, id_), "utf-8")
    return folder


def identifier(number: int) -> str:
    """Return the id of a shoe or a film."""
    adjective, noun = _ADJECTIVES[number % 10], _NOUNS[number // 10 % 10]
    return f"{adjective}-{noun}-{number:04}"


def _renamed(text: str, id_: str) -> str:
    """Return a record under another id and name."""
    text = re.sub(r'^id = ".*"$', f'id = "{id_}"', text, count=1, flags=re.MULTILINE)
    name = f"{id_.replace('-', ' ').capitalize()} (invented)"
    return re.sub(r'^name = ".*"$', f'name = "{name}"', text, count=1, flags=re.MULTILINE)


def _grown(text: str, times: float) -> str:
    """Return a shoe whose drawings, and the points in them, are larger or smaller."""

    def number(match: re.Match[str]) -> str:
        return f"{float(match[0]) * times:.3f}"

    def command(match: re.Match[str]) -> str:
        if match[1] != "A":
            return match[1] + _NUMBER.sub(number, match[2])
        places = itertools.count()
        return "A" + _NUMBER.sub(
            lambda one: number(one) if next(places) % _ARC_ARGUMENTS in _ARC_LENGTHS else one[0], match[2]
        )

    text = _DRAWING.sub(lambda drawing: f'{drawing[1]} = "{_COMMAND.sub(command, drawing[2])}"', text)
    return _POINTS.sub(lambda points: f"{points[1]} = {_NUMBER.sub(number, points[2])}", text)


if __name__ == "__main__":
    write(Path(sys.argv[1]))
