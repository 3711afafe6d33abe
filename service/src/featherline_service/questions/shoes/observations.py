"""What can be seen of an unknown upper without harming it, which uppers each observation rules out, and how surely.

An observation rules an upper out only if that upper cannot show it. A drop that beads, a dent or a floating thread
rules out none: a finish, padding or trapped air does the same. Only the maker's word makes an upper known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Final, NamedTuple

from featherline.wire.records import Upper
from featherline.wire.shoes import Label, ShoeTests, Surface
from featherline.wire.verdicts import Evidence
from featherline_service.book.shop_book import Book

_WATER_KG_M3: Final = 998.0
"""[kg/m3] Water at 20 degC (any table of water's density)."""
_CLOSED: Final = frozenset({"coated", "glossy", "foam", "rubber"})
"""Surfaces of a polymer without open pores, which water does not enter."""


class Seen(NamedTuple):
    """What is seen of a walk-in shoe: its tongue label, the surface of its upper, and tests."""

    label: Label
    surface: Surface | None
    tests: ShoeTests | None


class Observation(NamedTuple):
    """An outcome of a test that rules uppers out: the field and value that report it, how to do it, its source."""

    field: str
    value: str
    words: str
    rules_out: Callable[[Book, Upper], bool]
    evidence: Evidence
    source: str


def _floats(book: Book, upper: Upper) -> bool:
    density = book.materials[upper.layers[0].material].solid_density_kg_m3
    return density is not None and density < _WATER_KG_M3


OBSERVATIONS: Final = (
    Observation(
        "fingernail",
        "none",
        "a thumbnail pressed in for a second leaves no dent",
        lambda _, upper: upper.surface == "foam",
        "practice",
        "common practice, no source",
    ),
    Observation(
        "water_drop",
        "soaks-in",
        "a drop of water on the bare face soaks in within a minute",
        lambda _, upper: upper.surface in _CLOSED,
        "practice",
        "common practice, no source",
    ),
    Observation(
        "thread",
        "sinks",
        "a thread of the face sinks in soapy water",
        _floats,
        "published",
        "the density of its polymer, as the book cites it, is below that of water",
    ),
    Observation(
        "marking",
        "pvc-free",
        "the maker says that the shoe has no PVC",
        lambda book, upper: any(book.materials[layer.material].vinyl for layer in upper.layers),
        "practice",
        "the maker's word; common practice, no source",
    ),
)
"""The observations that narrow what a shoe may be, the quickest first."""


def made(seen: Seen) -> Iterator[Observation]:
    """Yield the observations that were made of a shoe and that can rule an upper out."""
    if seen.tests is not None:
        for observation in OBSERVATIONS:
            if getattr(seen.tests, observation.field) == observation.value:
                yield observation


def open_to(seen: Seen) -> Iterator[Observation]:
    """Yield the observations that nobody has looked for yet."""
    for observation in OBSERVATIONS:
        if seen.tests is None or getattr(seen.tests, observation.field) is None:
            yield observation


def sold_under(book: Book, label: Label) -> tuple[Upper, ...]:
    """Return every upper of the book that is sold under a tongue label."""
    return tuple(upper for upper in book.uppers.values() if label in upper.labels)


def consistent_uppers(book: Book, seen: Seen, uppers: Sequence[Upper]) -> tuple[Upper, ...]:
    """Return those of some uppers that agree with what is seen of a shoe."""
    tests = tuple(made(seen))
    return tuple(
        upper
        for upper in uppers
        if seen.surface in {None, upper.surface} and not any(test.rules_out(book, upper) for test in tests)
    )
