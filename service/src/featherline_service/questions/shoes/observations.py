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
    """An outcome of a test that rules uppers out: the field and value that report it, and the evidence for it.

    How the test is done, and its source, are in the messages `shoe.narrowed` and `shoe.unnarrowed`.
    """

    field: str
    value: str
    rules_out: Callable[[Book, Upper], bool]
    evidence: Evidence


def _floats(book: Book, upper: Upper) -> bool:
    density = book.materials[upper.layers[0].material].solid_density_kg_m3
    return density is not None and density < _WATER_KG_M3


OBSERVATIONS: Final = (
    Observation(
        "fingernail",
        "none",
        lambda _, upper: upper.surface == "foam",
        "practice",
    ),
    Observation(
        "water_drop",
        "soaks-in",
        lambda _, upper: upper.surface in _CLOSED,
        "practice",
    ),
    Observation(
        "thread",
        "sinks",
        _floats,
        "published",
    ),
    Observation(
        "marking",
        "pvc-free",
        lambda book, upper: any(book.materials[layer.material].vinyl for layer in upper.layers),
        "practice",
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
