"""The values of a record with their keys, such as ``layers[0].material``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Final

from msgspec import Struct

_INDEX: Final = re.compile(r"\[[0-9]+\]")


def walk(value: object, key: str = "") -> Sequence[tuple[str, object]]:
    """Return key and value of a record and of everything in it, outermost first."""
    values: list[tuple[str, object]] = []
    _gather(value, key, values)
    return values


def _gather(value: object, key: str, values: list[tuple[str, object]]) -> None:
    # A generator for each level takes twice as long, seconds for a book of thousands of records.
    values.append((key, value))
    if isinstance(value, Struct):
        for name in value.__struct_fields__:
            _gather(getattr(value, name), f"{key}.{name}" if key else name, values)
    elif type(value) is tuple:
        for index, item in enumerate(value):
            _gather(item, f"{key}[{index}]", values)


@lru_cache(4096)  # all shoes of a book have the same few hundred keys
def field_of(key: str) -> str:
    """Return a key without its indices: ``layers[0].material`` becomes ``layers.material``."""
    return _INDEX.sub("", key)
