"""The language of an answer: which of those that there are a reader prefers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Final

from featherline_service.messages.catalogues import ENGLISH

_MOST_RANGES: Final = 32
_REMEMBERED: Final = 256


@lru_cache(_REMEMBERED)
def preferred(accept_language: str, languages: Sequence[str]) -> str:
    """Return the language that an Accept-Language header prefers; English if it names none of them.

    A range that is longer than a language counts for it: ``de-AT`` is answered in ``de``, after any ``de-AT``.

    References:
        RFC 9110 section 12.5.4; RFC 4647 section 3.4, lookup.
    """
    by_name = {language.lower(): language for language in languages}
    wanted: list[tuple[float, int, str]] = []
    refused = set()
    for index, part in enumerate(accept_language.lower().split(",")[:_MOST_RANGES]):
        range_, _, parameter = (field.strip() for field in part.partition(";"))
        weight = _weight(parameter)
        if weight > 0.0:
            wanted.append((-weight, index, range_))
        else:
            refused.add(range_)
    names = (name for _, _, range_ in sorted(wanted) for name in _shorter(range_))
    return next((by_name[name] for name in names if name in by_name and name not in refused), ENGLISH)


def _shorter(range_: str) -> Iterator[str]:
    """Yield a range, and what is left of it without its last parts."""
    while range_:
        yield range_
        range_ = range_.rpartition("-")[0]


def _weight(parameter: str) -> float:
    name, _, value = parameter.partition("=")
    if name.strip() != "q":
        return 1.0
    try:
        return float(value)
    except ValueError:
        return 0.0
