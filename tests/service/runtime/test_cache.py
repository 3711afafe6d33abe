"""What is kept of computations: found again, computed once, and never more than allowed."""

from __future__ import annotations

import itertools
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pytest
import shapely
from msgspec import Struct

from featherline_service.book.loader import load
from featherline_service.runtime import cache
from featherline_service.runtime.cache import (
    MOST_BYTES,
    Latest,
    Statistics,
    cached,
    cached_together,
    weigh,
    weigh_by,
)


@pytest.fixture(autouse=True)
def empty() -> Iterator[None]:
    """Nothing is kept before a test, nor after it."""
    cache.clear()
    yield
    cache.clear()


def test_a_value_is_computed_once_for_its_arguments() -> None:
    """Equal arguments have the very same value, however they are given; others have their own."""
    calls = []

    @cached
    def text(number: int, *, times: int = 1) -> str:
        calls.append((number, times))
        return str(number) * times

    assert text(7, times=2) is text(7, times=2)
    assert ["7", "77"] == [text(7), text(7, times=2)]
    assert [(7, 2), (7, 1)] == calls
    (use,) = (use for name, use in cache.statistics().items() if name.endswith("<locals>.text"))
    assert Statistics(found=2, computed=2) == use


def test_the_latest_value_is_there_for_an_equal_key() -> None:
    """Until another one is computed, or all is forgotten; what is raised is not kept."""
    latest = Latest[object]()
    first = latest.get(("hull", 7), object)

    assert first is latest.get(("hull", 7), object)
    with pytest.raises(ZeroDivisionError):
        latest.get(("keel", 7), lambda: 1 // 0)
    assert first is latest.get(("hull", 7), object)
    assert first is not latest.get(("keel", 7), object)
    second = latest.get(("hull", 7), object)
    assert first is not second
    cache.clear()
    assert second is not latest.get(("hull", 7), object)


def test_functions_do_not_share_their_values() -> None:
    """The same arguments are something else to another function."""

    @cached
    def half(number: float) -> float:
        return number / 2.0

    @cached
    def double(number: float) -> float:
        return number * 2.0

    assert [1.0, 4.0] == [half(2.0), double(2.0)]


@pytest.fixture
def steady(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have every computation take a second."""
    monkeypatch.setattr(cache, "clock", itertools.count().__next__)


@pytest.mark.usefixtures("steady")
def test_what_takes_longest_for_its_bytes_stays() -> None:
    """A function's time counts, with that of what it had to compute on its way, where values are as large."""
    calls: list[tuple[str, int]] = []

    @cached
    def short(number: int) -> bytes:
        calls.append(("short", number))
        return bytes(MOST_BYTES // 10)

    @cached
    def step(number: int) -> int:
        return number

    @cached
    def long(number: int) -> bytes:
        calls.append(("long", number))
        step(number)
        return bytes(MOST_BYTES // 10)

    for number in range(4):
        long(number)
    for number in range(12):
        short(number)
    for number in range(4):
        long(number)
    assert 4 + 12 == len(calls)


def test_none_is_a_value_and_an_error_is_not() -> None:
    """What a function raises, it raises each time."""
    calls = []

    @cached
    def nothing(number: int) -> None:
        calls.append(number)
        if number < 0:
            raise ValueError(number)

    for number in (1, 1, -1, -1):
        if number < 0:
            with pytest.raises(ValueError, match="-1"):
                nothing(number)
        else:
            nothing(number)
    assert [1, -1, -1] == calls


@pytest.mark.usefixtures("steady")
def test_no_more_is_held_than_allowed_and_what_was_asked_last_stays() -> None:
    """Whatever the sizes, the store stays below its limit; of what took as long, the longest unasked go."""
    calls = []

    @cached
    def block(number: int) -> bytes:
        calls.append(number)
        return bytes(1_000_000)

    for number in range(100):
        block(number)
        block(0)
        assert 1_000_000 <= cache.size() <= MOST_BYTES
    assert list(range(100)) == calls
    block(1)
    assert 1 == calls[-1]


@pytest.mark.usefixtures("steady")
def test_so_much_is_kept_as_is_allowed() -> None:
    """A service may be given more room, or less; what it kept before is let go."""
    calls = []

    @cached
    def block(number: int) -> bytes:
        calls.append(number)
        return bytes(1_000_000)

    block(0)
    try:
        cache.set_limit(3_100_000)
        assert 0 == cache.size()
        for number in (0, 1, 2, 0, 1, 2, 3, 1):
            block(number)
            assert cache.size() <= 3_100_000
        assert [0, 0, 1, 2, 3] == calls
        held = cache.size()
        cache.set_limit(3_100_000)  # the same again
        assert held == cache.size() > 0
        cache.set_limit(0)
        block(1)
        assert [0, 0, 1, 2, 3, 1] == calls
    finally:
        cache.set_limit(MOST_BYTES)


def test_what_is_larger_than_all_is_not_kept() -> None:
    """It is computed each time, and drives nothing else out."""
    calls = []

    @cached
    def block(size: int) -> bytes:
        calls.append(size)
        return bytes(size)

    for size in (1_000, MOST_BYTES, MOST_BYTES, 1_000):
        block(size)
    assert [1_000, MOST_BYTES, MOST_BYTES] == calls


def test_long_arguments_count_too() -> None:
    """A small value of a large question takes the room of the question."""

    @cached
    def length(text: str) -> int:
        return len(text)

    length("x" * 1_000_000)
    assert cache.size() > 1_000_000


def test_what_is_hashed_by_identity_is_not_counted_as_an_argument() -> None:
    """A book, which lives as long as the service, takes no room of what is asked of it."""
    book = load()

    @cached
    def films(_: object) -> int:
        return 8

    films(book)
    assert cache.size() < 2_000


def test_threads_that_ask_the_same_compute_it_once() -> None:
    """The others wait for the first."""
    calls = []
    gate = threading.Event()

    @cached
    def slow(number: int) -> int:
        gate.wait(10)
        calls.append(number)
        return number

    threads = [threading.Thread(target=slow, args=(7,)) for _ in range(8)]
    for thread in threads:
        thread.start()
    gate.set()
    for thread in threads:
        thread.join(10)
    assert [7] == calls


def test_items_that_are_not_known_are_computed_together() -> None:
    """Each by itself is known afterwards; one that is asked for twice is computed once, and errors are not kept."""
    calls = []

    @cached_together
    def doubled(numbers: Sequence[int], by: int) -> list[int]:
        calls.append(tuple(numbers))
        return [2 * number // by for number in numbers]

    assert [[4, 6, 4], [8, 6], []] == [doubled((2, 3, 2), 1), doubled((4, 3), 1), doubled((), 1)]
    for _ in range(2):
        with pytest.raises(ZeroDivisionError):
            doubled((3,), 0)
    assert [(2, 3), (4,), (3,), (3,)] == calls
    (use,) = (use for name, use in cache.statistics().items() if name.endswith("<locals>.doubled"))
    assert Statistics(found=1, computed=5) == use


def test_threads_that_ask_for_items_wait_for_those_of_others() -> None:
    """Whatever another thread computes already is not computed again; all else is, in the meantime."""
    calls, begun, gate = [], threading.Event(), threading.Event()

    @cached_together
    def slow(numbers: Sequence[int]) -> list[int]:
        calls.append(tuple(numbers))
        if 1 in numbers:
            begun.set()
            gate.wait(10)
        else:
            gate.set()
        return list(numbers)

    first = threading.Thread(target=slow, args=((1, 2),))
    first.start()
    begun.wait(10)
    found: list[list[int]] = []
    second = threading.Thread(target=lambda: found.append(slow((3, 2))))
    second.start()
    for thread in (first, second):
        thread.join(10)
    assert ([[3, 2]], [(1, 2), (3,)]) == (found, calls)


def test_one_kept_function_may_ask_another() -> None:
    """Nothing is locked while a value is computed."""

    @cached
    def inner(number: int) -> int:
        return number + 1

    @cached
    def outer(number: int) -> int:
        return inner(number) + inner(number + 1)

    assert 5 == outer(1)


class Pair(NamedTuple):
    """Two of a kind."""

    one: object
    other: object


class Record(Struct, frozen=True):
    """As records of the book are."""

    inner: object


@dataclass(frozen=True)
class Drawn:
    """As figures are."""

    inner: object


@pytest.mark.parametrize(
    "wrapped",
    [
        lambda inner: (inner,),
        lambda inner: [inner],
        lambda inner: {"name": inner},
        lambda inner: {inner: 1},
        lambda inner: frozenset({inner}),
        lambda inner: Pair(1, inner),
        Record,
        Drawn,
        lambda inner: lambda: inner,
        lambda inner: Drawn(Record((inner,))),
    ],
)
def test_what_a_value_holds_is_weighed_with_it(wrapped: object) -> None:
    """Wherever a large text stands in a value, it counts."""
    text = "x" * 100_000
    assert 100_000 < weigh(wrapped(text)) < 102_000  # type: ignore[operator]


def test_what_parts_of_a_value_share_is_weighed_once() -> None:
    """Two rows that refer to one long list weigh it once."""
    shared = Record(tuple(range(1_000)))
    assert weigh(Record((shared, shared))) < 1.1 * weigh(shared)


def test_what_tells_its_weight_is_not_looked_into() -> None:
    """A type's weight is what it says, whatever it holds."""

    class Box(NamedTuple):
        content: bytes

    weigh_by(Box, lambda box: 10 * len(box.content))
    assert weigh((Box(bytes(100)),)) - weigh(()) == 1_000 + sys.getsizeof((1,)) - sys.getsizeof(())


def test_what_lasts_as_long_as_the_process_weighs_nothing() -> None:
    """A value that refers to records of the book weighs as much as its own parts."""

    class Lasting(Struct, frozen=True):
        text: str

    cache.never_weigh(Lasting)
    assert weigh((Lasting("x" * 100_000),)) < 100
    assert weigh(tuple(load().films.values())) < 1_000


def test_arrays_weigh_their_numbers_and_a_view_those_it_shows() -> None:
    """An array has its own; a view keeps another's alive."""
    array = np.zeros((100, 100))
    assert 80_000 < weigh(array) < 80_500
    assert 40_000 < weigh(array[:50]) < 40_500


GROWTH = """
import sys
import numpy as np
import shapely
from featherline_service.runtime.cache import weigh

def resident():
    return int(open("/proc/self/statm").read().split()[1]) * 4096

def polygon(points, number, holes):
    angles = np.linspace(0.0, 2.0 * np.pi, points, endpoint=False)
    ring = np.c_[np.cos(angles), np.sin(angles)] * (10.0 + number * 1e-6)
    return shapely.MultiPolygon([shapely.Polygon(ring, [ring * 0.1 + 2.0 * hole for hole in range(holes)])])

points, count, holes, prepared = map(int, sys.argv[1:])
small = shapely.box(-0.1, -0.1, 0.1, 0.1)
before = resident()
shapes = [polygon(points, number, holes) for number in range(count)]
for shape in shapes if prepared else ():
    shapely.prepare(shape)
    shapely.contains_properly(shape, small)
    shapely.dwithin(shape, small, 0.1)
print((resident() - before) / sum(map(weigh, shapes)))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
@pytest.mark.parametrize("shapes", [(10, 10_000, 0, 0), (100, 2_500, 2, 0), (1_000, 500, 0, 0), (300, 1_000, 1, 1)])
def test_a_region_weighs_what_it_takes(shapes: tuple[int, ...]) -> None:
    """A process grows by the weight of the regions it makes, within a half: few points and many, prepared or not."""
    done = subprocess.run([sys.executable, "-c", GROWTH, *map(str, shapes)], capture_output=True, text=True, check=True)
    assert float(done.stdout) == pytest.approx(1.0, abs=0.5)


def test_a_region_that_is_prepared_weighs_more() -> None:
    """Its index is as much again, and more."""
    region = shapely.Point(0.0, 0.0).buffer(1.0, quad_segs=100)
    before = weigh(region)
    shapely.prepare(region)
    assert weigh(region) > 2 * before
