"""Content keys of values that are hashed by identity."""

from __future__ import annotations

import gc
from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from typing import cast
from weakref import ref

import pytest
import shapely
from msgspec import Struct

from featherline_service.runtime import cache
from featherline_service.runtime.cache import cached, weigh
from featherline_service.runtime.content_keys import ContentKey, content_key, hashed_by_identity, mark


@dataclass(frozen=True, eq=False)
class Shape:
    """As figures and areas are."""

    size: int


class Text(Struct, frozen=True):
    """As records are."""

    text: str


class Shelf(Struct, frozen=True, eq=False, weakref=True):
    """As a book is."""

    name: str


@pytest.fixture(autouse=True)
def empty() -> Iterator[None]:
    """Nothing is kept before a test, nor after it."""
    cache.clear()
    yield
    cache.clear()


def lose(name: str) -> None:
    """Let go of what is kept of a function of this test."""
    for key in [key for key in cache._store if key[0].endswith(f"<locals>.{name}")]:
        del cache._store[key]


def key_of(key: tuple[Hashable, ...]) -> Hashable:
    """Return the content key of a shape computed by a key."""
    shape = Shape(1)
    mark(shape, lambda: key, weigh)
    return content_key(shape)


def test_what_is_hashed_by_value_is_its_own_name() -> None:
    """So is what was not computed, whatever it is hashed by."""
    for value in (None, 1, 2.5, "one", b"one", (1, 2), Text("one"), Shape(1), Shelf("one"), Text, shapely.Point(1, 2)):
        assert content_key(value) is value


def test_which_types_are_hashed_by_identity() -> None:
    """Those that say nothing of equality; nothing is one thing alone, and is by value."""
    by_identity = (Shape, Shelf, type)
    by_value = (type(None), int, str, tuple, Text, shapely.Point, bytes)

    assert [True] * len(by_identity) == [hashed_by_identity(kind) for kind in by_identity]
    assert [False] * len(by_value) == [hashed_by_identity(kind) for kind in by_value]


class Slotted(Struct, frozen=True, eq=False):
    """Hashed by identity, and without room for a further attribute."""


def test_what_cannot_have_a_key_is_told_at_once() -> None:
    """It may be asked about, and be part of another's key; that it was computed cannot be noted."""
    slotted = Slotted()
    assert content_key(slotted) is slotted
    assert key_of(("f", slotted)) == key_of(("f", slotted))
    with pytest.raises(TypeError, match="Slotted"):
        mark(slotted, lambda: ("f",), weigh)


def test_two_computed_alike_have_one_key_of() -> None:
    """However the parts of the key came about, and whether two of them are one object."""
    text = str(b"one", "ascii")
    keys = [("f", "one", ("one", 0.1 + 0.2)), ("f", text, (text, 0.30000000000000004))]

    assert key_of(keys[0]) == key_of(keys[1])


def test_a_large_argument_is_in_a_key_as_its_digest() -> None:
    """A key takes little, however large what it stands for, and tells one large argument from another."""
    drawing = "M0 0H60V30H0Z" * 1_000
    one, same, other = (key_of(("f", text)) for text in (drawing, str(drawing.encode(), "ascii"), drawing + "Z"))

    assert one == same != other
    assert drawing not in cast("ContentKey", one).parts


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (("f", 1), ("g", 1)),
        (("f", -1), ("f", -2)),  # which have one hash
        (("f", 0.1), ("f", 0.1 + 1e-16)),
        (("f", "a", "b"), ("f", "ab", "")),
        (("f", Text("one")), ("f", Text("two"))),
        (("f", shapely.Point(1, 2)), ("f", shapely.Point(1, 2.0000000000000004))),
        (("f", shapely.from_wkt("LINESTRING (0 0, 1 1)")), ("f", shapely.from_wkt("LINESTRING (1 1, 0 0)"))),
        (("f", Shelf("one")), ("f", Shelf("one"))),
        (("f", Shape(1)), ("f", Shape(1))),
    ],
    ids=str,
)
def test_others_have_another(one: Hashable, other: Hashable) -> None:
    """By function and by every argument; an object without a key is like no other."""
    assert 2 == len({key_of(one), key_of(other)})
    assert 1 == len({key_of(one), key_of(one)})


def test_the_first_key_stays_and_each_part_of_a_tuple_has_its_own() -> None:
    """What one computation passes on of another's stays the other's."""
    first, second = Shape(1), Shape(2)
    mark((first, 3, second), lambda: ("f", "key"), weigh)
    before = content_key(first), content_key(second)
    mark(first, lambda: ("f", "another key"), weigh)

    assert before == (content_key(first), content_key(second))
    assert 2 == len({*before})


def test_an_object_that_is_gone_leaves_nothing() -> None:
    """Its number is not given to the next one at the same place."""
    found = set()
    for _ in range(100):
        found.add(key_of(("f", Shelf("one"))))
        gc.collect(0)

    assert 100 == len(found)


def test_a_content_key_within_a_key_stands_for_its_object() -> None:
    """Wherever in it: of two that were computed alike, one can take the other's place."""
    one, other = Shape(1), Shape(2)
    for shape in (one, other):
        mark(shape, lambda: ("shape",), weigh)

    assert key_of(("f", (one, 2))) == key_of(("f", (other, 2)))


def test_what_was_computed_from_a_lost_value_is_found_again() -> None:
    """Let go of and computed anew, it is another object, and yet the same thing to ask about."""
    calls: list[str] = []

    @cached
    def shape(size: int) -> Shape:
        calls.append(f"shape {size}")
        return Shape(size)

    @cached
    def pair(size: int) -> tuple[str, Shape]:
        calls.append(f"pair {size}")
        return "pair", Shape(size)

    @cached
    def area(one: Shape, other: Shape) -> int:
        calls.append("area")
        return one.size * other.size

    first, (_, second) = shape(2), pair(3)
    assert 6 == area(first, other=second)
    lose("shape")
    lose("pair")
    assert first is not shape(2)
    assert second is not pair(3)[1]
    assert 6 == area(shape(2), other=pair(3)[1])
    assert ["shape 2", "pair 3", "area", "shape 2", "pair 3"] == calls


def test_what_is_kept_of_a_value_does_not_hold_it() -> None:
    """A value that was let go is gone, with all of its memory, though something small that was found of it stays."""

    @cached
    def outline(points: int) -> Shape:
        made = Shape(points)
        held.append(ref(made))
        return made

    @cached
    def length(shape: Shape) -> int:
        return shape.size

    held: list[ref[Shape]] = []
    assert 5 == length(outline(5))
    gc.collect()
    assert held[0]() is not None
    lose("outline")
    gc.collect()

    assert 1 == len(cache._store)
    assert held[0]() is None
