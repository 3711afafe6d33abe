"""Content keys: small keys for computed values that are hashed by identity, such as figures.

A cache key that holds the object keeps it in memory, and no longer matches once the object is computed anew. The key
of the function and the arguments that it was computed from does neither.
"""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Callable, Hashable
from functools import cache
from types import NoneType
from typing import Any, Final
from weakref import WeakValueDictionary

from msgspec import Struct

_SMALL: Final = 1_024  # bytes; a larger argument, such as a drawing, is in a content key as its digest


def _hashed_by_identity(kind: Any) -> bool:  # noqa: ANN401 - a type
    if issubclass(kind, Struct):
        return not kind.__struct_config__.eq
    return kind is not NoneType and kind.__hash__ is object.__hash__


hashed_by_identity: Final[Callable[[Any], bool]] = cache(_hashed_by_identity)
"""Return whether the objects of a type are hashed by identity."""


class ContentKey:
    """One object for all equal `parts`, while any cached value or key holds it.

    It is hashed by identity, as keys are nested and looked up many times.
    """

    __slots__ = ("__weakref__", "parts")

    def __init__(self, parts: tuple[Hashable, ...]) -> None:
        self.parts = parts

    @staticmethod
    def of(*parts: Hashable) -> ContentKey:
        """Return the content key of a function and arguments."""
        return _content_keys.get(parts) or _content_keys.setdefault(parts, ContentKey(parts))


_content_keys: Final[WeakValueDictionary[tuple[Hashable, ...], ContentKey]] = WeakValueDictionary()


def content_key(value: Hashable) -> Hashable:
    """Return the content key of a value; the value itself where it has none, such as a number or a book."""
    key: Hashable = getattr(value, "content_key", value)
    return key


def mark(value: Any, key: Callable[[], tuple[Hashable, ...]], weigh: Callable[[Any], int]) -> None:  # noqa: ANN401 - any value
    """Give a computed value, or each part of a tuple, its content key, where it is hashed by identity and has none.

    Args:
        value: The value.
        key: Returns the function and the arguments that it was computed from.
        weigh: Returns about how many bytes an argument takes.

    Raises:
        TypeError: The class of the value allows no further attribute.
    """

    def small(argument: Hashable) -> Hashable:
        if type(argument) is tuple:
            return tuple(map(small, argument))
        argument = content_key(argument)
        kind = type(argument)
        if kind is ContentKey or hashed_by_identity(kind) or weigh(argument) <= _SMALL:
            return argument
        return hashlib.sha256(pickle.dumps(argument)).digest()

    for place, part in enumerate(value if isinstance(value, tuple) else (value,)):
        if hashed_by_identity(type(part)) and not hasattr(part, "content_key"):
            # The class is frozen, so it is set through `object`.
            object.__setattr__(part, "content_key", ContentKey.of(*map(small, key()), place))
