"""The values of a record with their keys, such as ``layers[0].material``."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

from msgspec import Struct

_INDEX: Final = re.compile(r"\[[0-9]+\]")


def walk(value: object, key: str = "") -> Iterator[tuple[str, object]]:
    """Yield key and value of a record and of everything in it, outermost first."""
    yield key, value
    if isinstance(value, Struct):
        for name in value.__struct_fields__:
            yield from walk(getattr(value, name), f"{key}.{name}" if key else name)
    elif isinstance(value, tuple):
        for index, item in enumerate(value):
            yield from walk(item, f"{key}[{index}]")


def field_of(key: str) -> str:
    """Return a key without its indices: ``layers[0].material`` becomes ``layers.material``."""
    return _INDEX.sub("", key)
