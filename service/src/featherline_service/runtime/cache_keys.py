"""How values were computed: what stands for one that is hashed by identity where others are looked up by it.

An object says nothing of how it came about: looked up by it, what was computed from it would hold it in memory, and
would be lost with it, though it could be had again. Its origin, a digest of the function and the arguments, does not.
"""

from __future__ import annotations

import hashlib
import io
import itertools
import pickle
from collections.abc import Callable, Hashable
from functools import cache
from types import NoneType
from typing import Any, Final
from weakref import WeakKeyDictionary

from msgspec import Struct

_origins: Final[WeakKeyDictionary[Hashable, Hashable]] = WeakKeyDictionary()
_with_origin: Final[set[type]] = set()  # the types of some objects that have one
_numbers: Final[WeakKeyDictionary[Hashable, int]] = WeakKeyDictionary()
_numbering: Final = itertools.count()


def _hashes_by_identity(kind: Any) -> bool:  # noqa: ANN401 - a type
    if issubclass(kind, Struct):
        return not kind.__struct_config__.eq
    return kind is not NoneType and kind.__hash__ is object.__hash__


by_identity: Final[Callable[[Any], bool]] = cache(_hashes_by_identity)
"""Return whether the objects of a type are hashed by identity."""


def named(value: Hashable) -> Hashable:
    """Return what stands for a value in a key: its origin, if it is hashed by identity and has one; else itself."""
    return _origins.get(value, value) if type(value) in _with_origin else value


def note(value: Any, key: Callable[[], Hashable]) -> None:  # noqa: ANN401 - any value
    """Note by which key a value, or each part of a tuple, was computed, where it is hashed by identity.

    TypeError: An object there, or in the key, cannot be weakly referenced, or cannot be pickled.
    """
    for place, part in enumerate(value if isinstance(value, tuple) else (value,)):
        if by_identity(type(part)):
            _origins.setdefault(part, _digest((key(), place)))
            _with_origin.add(type(part))


def _digest(key: Hashable) -> bytes:
    written = io.BytesIO()
    pickler = _Pickler(written)
    pickler.fast = True  # whether two parts are one object or two that are alike makes no difference
    pickler.dump(key)
    return hashlib.sha256(written.getbuffer()).digest()


class _Pickler(pickle.Pickler):
    """Writes an object that is hashed by identity as its origin; without one, as a book is, as a number of its own."""

    def persistent_id(self, each: Any) -> Hashable:  # noqa: ANN401 - any part
        if not by_identity(type(each)):
            return None
        origin = named(each)
        return _numbers.setdefault(each, next(_numbering)) if origin is each else origin
