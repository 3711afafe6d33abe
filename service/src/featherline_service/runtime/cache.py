"""A cache of computed values: one store for all functions, bounded by bytes, the least valuable entry evicted first.

For values whose number or size depends on what callers ask, such as outlines; for a known number of small values
`functools.lru_cache` is enough.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from decimal import Decimal
from functools import cache, singledispatch, wraps
from threading import Condition, RLock
from time import perf_counter as clock
from types import FunctionType
from typing import Any, Concatenate, Final, Generic, NamedTuple, ParamSpec, TypeVar, cast

import numpy as np
import shapely
from msgspec import Struct
from msgspec.structs import astuple
from shapely.geometry.base import BaseGeometry

from featherline_service.runtime import deadline
from featherline_service.runtime.content_keys import content_key, hashed_by_identity, mark
from featherline_service.runtime.greedy_dual import Entry, GreedyDualStore

MOST_BYTES: Final = 24 * 1024 * 1024  # a roster of 200 names is asked again in 110 ms; with half as much in 320

# Measured as growth of a process's memory, shapely 2.1 with GEOS 3.13.
_COORDINATE_BYTES: Final = 24
_RING_BYTES: Final = 350
_PREPARED_COORDINATE_BYTES: Final = 60
_PREPARED_BYTES: Final = 1_600
_ENTRY_BYTES: Final = 700

_Parameters = ParamSpec("_Parameters")
_Value = TypeVar("_Value")
_Item = TypeVar("_Item", bound=Hashable)
_Weighed = TypeVar("_Weighed")


class Statistics(NamedTuple):
    """How often a value of a function was found, and how often one was computed."""

    found: int
    computed: int


@dataclass(slots=True)
class _Use:
    found: int = 0
    computed: int = 0


_lock: Final = RLock()
_condition: Final = Condition(_lock)
_uses: Final[dict[str, _Use]] = {}
_pending: Final = set[Hashable]()
_store = GreedyDualStore(MOST_BYTES)


def cached(function: Callable[_Parameters, _Value]) -> Callable[_Parameters, _Value]:
    """Return a function whose values are cached by its arguments; threads that ask the same compute it once.

    Arguments are hashable. One that is hashed by identity goes by its content key, if it is a cached value or in a
    cached tuple; any other, such as a book or a font, lives as long as the process. Neither is weighed.
    """
    name = f"{function.__module__}.{function.__qualname__}"
    use = _uses[name] = _Use()

    @wraps(function)
    def find(*args: _Parameters.args, **kwargs: _Parameters.kwargs) -> _Value:
        key = _key(name, args, kwargs)
        with _lock:
            while _pending and key in _pending:
                _condition.wait()
            entry = _store.look_up(key)
            if entry is not None:
                use.found += 1
                return cast("_Value", entry.value)
            use.computed += 1
            _pending.add(key)
        try:
            deadline.check()
            begun = clock()
            value = function(*args, **kwargs)
            _keep(key, value, clock() - begun, (*args, *kwargs.values()))
            return value
        finally:
            _settle([key])

    return find


def cached_together(
    function: Callable[Concatenate[Sequence[_Item], _Parameters], Sequence[_Value]],
) -> Callable[Concatenate[Sequence[_Item], _Parameters], list[_Value]]:
    """Return a function of several items whose values are cached, each by its item and the arguments for all.

    Those that are not known are computed together. All else as `cached`.
    """
    name = f"{function.__module__}.{function.__qualname__}"
    use = _uses[name] = _Use()

    @wraps(function)
    def find(items: Sequence[_Item], /, *args: _Parameters.args, **kwargs: _Parameters.kwargs) -> list[_Value]:
        every = [_key(name, (item, *args), kwargs) for item in items]
        missing, values = dict(zip(every, items, strict=True)), dict[_Key, _Value]()
        while missing:
            with _lock:
                for key in list(missing):
                    entry = _store.look_up(key)
                    if entry is not None:
                        use.found += 1
                        values[key] = entry.value
                        del missing[key]
                new = [key for key in missing if key not in _pending]
                if missing and not new:
                    _condition.wait()
                use.computed += len(new)
                _pending.update(new)
            if new:
                try:
                    deadline.check()
                    begun = clock()
                    computed = function([missing[key] for key in new], *args, **kwargs)
                    seconds = (clock() - begun) / len(new)
                    for key, value in zip(new, computed, strict=True):
                        _keep(key, value, seconds, (missing.pop(key), *args, *kwargs.values()))
                        values[key] = value
                finally:
                    _settle(new)
        return [values[key] for key in every]

    return find


def _keep(key: _Key, value: object, seconds: float, args: Iterable[Any]) -> None:
    """Put a value that took some seconds to compute into the store, unless it is larger than that."""
    mark(value, lambda: key, weigh)
    weighed = (argument for argument in args if not hashed_by_identity(type(argument)))
    entry = Entry(value, weigh((value, *weighed)) + _ENTRY_BYTES, seconds)
    with _lock, suppress(ValueError):
        _store[key] = entry


def _settle(keys: Iterable[_Key]) -> None:
    with _lock:
        _pending.difference_update(keys)
        _condition.notify_all()


class Latest(Generic[_Value]):
    """The value that was computed last, for lines that follow one another and ask for the same; known by equality.

    It is not weighed: what it holds has to be small, or held anyway.
    """

    def __init__(self) -> None:
        self._known: tuple[tuple[object, ...], _Value] | None = None
        _latest.append(self)

    def get(self, key: tuple[object, ...], compute: Callable[[], _Value]) -> _Value:
        """Return the value of a key: the one computed last, or a new one."""
        known = self._known
        if known is not None and known[0] == key:
            return known[1]
        value = compute()
        self._known = (key, value)
        return value

    def clear(self) -> None:
        """Forget it."""
        self._known = None


_latest: Final[list[Latest[Any]]] = []
_Key = tuple[Hashable, ...]


def _key(name: str, args: Iterable[Any], kwargs: Mapping[str, Any]) -> _Key:
    """Return a key of the cache."""
    parts = [argument if type(argument) in _WHOLE else content_key(argument) for argument in args]
    if not kwargs:
        return (name, *parts)
    return (name, *parts, *((keyword, content_key(kwargs[keyword])) for keyword in sorted(kwargs)))


def statistics() -> Mapping[str, Statistics]:
    """Return the use of each function's cached values so far, by the function's full name."""
    with _lock:
        return {name: Statistics(found=use.found, computed=use.computed) for name, use in _uses.items()}


def statistics_of(function: Callable[..., Any]) -> Statistics:
    """Return the use of one function's cached values so far."""
    return statistics()[f"{function.__module__}.{function.__qualname__}"]


def size() -> int:
    """Return the bytes that are held, by their weights: never more than are allowed."""
    with _lock:
        return _store.currsize


def limit() -> int:
    """Return the bytes that may be held."""
    return _store.maxsize


def set_limit(most: int) -> None:
    """Hold up to so many bytes from now on; the cache is emptied where that is another limit."""
    global _store  # noqa: PLW0603 - the one store of the process
    with _lock:
        if most != _store.maxsize:
            _store = GreedyDualStore(most)


def clear() -> None:
    """Empty the cache, and count anew."""
    with _lock:
        _store.clear()
        for latest in _latest:
            latest.clear()
        for use in _uses.values():
            use.found = use.computed = 0


def weigh(value: Any) -> int:  # noqa: ANN401 - anything has a weight
    """Return about how many bytes a value takes. What values share is counted for each of them.

    What parts of a value share, such as the film of a roster's rows, is counted once; numbers and texts apart.
    """
    # One loop, not a call for each part: a recipe has some thousand parts, most of them numbers.
    weight, waiting, weighed = 0, [value], set[int]()
    while waiting:
        part = waiting.pop()
        kind = type(part)
        if kind in _WHOLE:
            weight += sys.getsizeof(part)
            continue
        if id(part) not in weighed:
            weighed.add(id(part))
            size, parts = _opener(kind)(part)
            weight += size
            waiting.extend(parts)
    return weight


_WHOLE: Final = frozenset({float, int, str, bytes, bool, type(None), Decimal})
_Opened = tuple[int, Iterable[Any]]


@singledispatch
def _open(value: Any) -> _Opened:  # noqa: ANN401 - anything has a weight
    """Return the bytes of a value itself, and the parts that it holds."""
    names: Iterable[str] = getattr(type(value), "__dataclass_fields__", ())
    return sys.getsizeof(value), [getattr(value, name) for name in names]


@_open.register(tuple)
@_open.register(list)
@_open.register(frozenset)
def _open_items(items: Iterable[Any]) -> _Opened:
    return sys.getsizeof(items), items


@_open.register(dict)
def _open_dict(mapping: Mapping[Any, Any]) -> _Opened:
    return sys.getsizeof(mapping), [*mapping, *mapping.values()]


@_open.register
def _open_struct(struct: Struct) -> _Opened:
    return sys.getsizeof(struct), astuple(struct)


@_open.register
def _open_function(function: FunctionType) -> _Opened:
    return sys.getsizeof(function), [cell.cell_contents for cell in function.__closure__ or ()]


@_open.register
def _open_array(array: np.ndarray) -> _Opened:
    return sys.getsizeof(array) + (0 if array.base is None else array.nbytes), ()


@_open.register
def _open_geometry(geometry: BaseGeometry) -> _Opened:
    coordinates = int(shapely.get_num_coordinates(geometry))
    parts = shapely.get_parts(geometry)
    rings = len(parts) + int(shapely.get_num_interior_rings(parts).sum())
    prepared = bool(shapely.is_prepared(geometry))
    weight = (
        sys.getsizeof(geometry)
        + coordinates * (_COORDINATE_BYTES + prepared * _PREPARED_COORDINATE_BYTES)
        + rings * _RING_BYTES
        + prepared * _PREPARED_BYTES
    )
    return weight, ()


def weigh_by(kind: type[_Weighed], weight: Callable[[_Weighed], int]) -> None:
    """Count so many bytes for objects of a type in cached values, without a look at their parts, which takes longer."""
    _open.register(kind, lambda value: (weight(value), ()))


def never_weigh(*kinds: type) -> None:
    """Count no bytes for objects of these types in cached values: they live as long as the process."""
    for kind in kinds:
        _open.register(kind, lambda _lasting: (0, ()))


_opener: Final[Callable[[Any], Callable[[Any], _Opened]]] = cache(_open.dispatch)
