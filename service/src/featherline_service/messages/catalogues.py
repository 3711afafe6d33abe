"""The catalogues of messages that come with the service, and what a pattern of a shop's book must keep to."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from importlib import resources
from itertools import combinations, product
from types import MappingProxyType
from typing import Final

import msgspec
import rtoml
from icu4py.messageformat import MessageFormat
from msgspec import Struct
from msgspec.structs import replace

ENGLISH: Final = "en"
"""The language of the service: every message has a pattern in it."""
CUSTOMER: Final = "customer."
"""The start of the ids of messages of customers' reasons and pictures."""
CUSTOMERS: Final = (CUSTOMER, "fault.", "problem.")
"""The starts of the ids of all messages for customers."""
_LANGUAGES: Final = ("en", "de", "es", "fr")
_PIECE: Final = re.compile(r"\[\[(\w+)\]\]")
_QUOTE: Final = re.compile(r"(?<!')(?:'')*'[{}|#]")  # two are one that is shown
_LEFT: Final = re.compile(r"\{(\w+)\}")  # what formatting leaves of an argument that it is not given

_COUNTS: Final = (0, 1, 2, 11)  # of each category of plurals of our languages (CLDR) there is one

NONE: Final = "none"
"""What patterns select by where a parameter has no value."""
SURFACES: Final = frozenset({"surfaces", "surfaces-or", "surfaces-or?"})
"""Kinds of parameters that are surfaces of uppers: words that languages have messages for."""
NUMBERS: Final = frozenset({"money", "decimal"})
"""Kinds of parameters that are exact decimals, which are said with the digits that they have."""
ALTERNATIVES: Final = frozenset({"surfaces-or", "surfaces-or?", "uppers-or"})
"""Kinds of parameters of which any one will do."""
COMMAS: Final = frozenset({"films", "fonts", "materials"})
"""Kinds of records whose names often have commas; lists of them have semicolons."""
LISTS: Final = frozenset(
    {"films", "fonts", "materials", "pads", "platens", "presses", "uppers", "texts"}
    | {"surfaces", "surfaces-or", "uppers-or"}
)
"""Kinds of parameters that have several values."""

Arguments = dict[str, int | float | str | Decimal | date | datetime]
"""What ICU formats a pattern with."""
Signature = Mapping[str, str | tuple[str, ...]]
"""The parameters of a message: for each its kind, or the words that it may be."""


class Catalogue(Struct, frozen=True, eq=False):
    """The messages of a language, by id. `checked` is whether somebody whose own language it is has read them all.

    `pieces` are parts of patterns that several have: `[[name]]` there stands for the piece.
    """

    name: str
    checked: bool
    messages: Mapping[str, str]
    pieces: Mapping[str, str] = {}


def _read(name: str) -> str:
    return (resources.files("featherline_service.messages") / "languages" / f"{name}.toml").read_text("utf-8")


@cache
def catalogues() -> Mapping[str, Catalogue]:
    """Return the catalogues that come with the service, by language."""
    return MappingProxyType({language: _whole(language) for language in _LANGUAGES})


def _whole(language: str) -> Catalogue:
    catalogue = msgspec.convert(rtoml.loads(_read(language)), Catalogue)

    def whole(pattern: str) -> str:
        return _PIECE.sub(lambda piece: whole(catalogue.pieces[piece[1]]), pattern)

    return replace(catalogue, messages={name: whole(pattern) for name, pattern in catalogue.messages.items()})


@cache
def signatures() -> Mapping[str, Signature]:
    """Return the parameters of each message, by its id."""
    return MappingProxyType(msgspec.convert(rtoml.loads(_read("parameters")), Mapping[str, Signature]))


def faults_of(message: str, pattern: str, language: str) -> Iterator[str]:
    """Yield what is wrong with a pattern that a shop's book gives for a message, and what to do about it."""
    signature = signatures().get(message)
    if signature is None and message.partition(".")[0] in _own_prefixes():
        yield f"The service has no message {message}; name one of those in the service's page on messages"
        return
    if _QUOTE.search(pattern):
        yield "A straight apostrophe before a brace hides it; write the typographic one (U+2019) instead"
    try:
        made = MessageFormat(pattern, language)
        sentences = [made.format(arguments) for arguments in samples(signature or {})]
    except ValueError as error:
        yield f"Not a pattern of ICU MessageFormat ({error}); correct it"
        return
    unknown = sorted({name for sentence in sentences for name in _LEFT.findall(sentence)})
    if unknown and signature is not None:
        takes = ", ".join(signature) or "none"
        yield f"The message has no parameter {' and '.join(unknown)}; its parameters are: {takes}"


def bare_kind(kind: str | tuple[str, ...] | None) -> str | None:
    """Return the kind of a parameter, whether it may be missing or not; None for words."""
    return kind.removesuffix("?") if isinstance(kind, str) else None


def keyword(word: str) -> str:
    """Return a word as patterns select by it: a keyword of ICU has no hyphen."""
    return word.replace("-", "_")


def samples(signature: Signature) -> Iterator[Arguments]:
    """Yield arguments for a message: each word that a parameter may be, and a value that is there or missing.

    All of any two parameters together, with the first and with the last of all others: patterns select no deeper.
    """
    choices = [tuple(_sample(name, kind)) for name, kind in signature.items()]
    seen = set[tuple[int, ...]]()
    for others in (0, -1):
        for pair in combinations(range(len(choices)), min(len(choices), 2)):
            sizes = (range(len(choice)) if at in pair else (others % len(choice),) for at, choice in enumerate(choices))
            for picked in product(*sizes):
                if picked not in seen:
                    seen.add(picked)
                    parts = (choice[at] for choice, at in zip(choices, picked, strict=True))
                    yield {name: value for part in parts for name, value in part.items()}


def _sample(name: str, kind: str | tuple[str, ...]) -> Iterator[Arguments]:
    if isinstance(kind, tuple):
        for word in kind:
            yield {name: keyword(word)}
        return
    bare = kind.removesuffix("?")
    if bare == "count":
        for count in _COUNTS:
            yield {name: count}
    elif bare in LISTS:
        for count in _COUNTS[1:]:
            yield {name: f"<{name}>", f"{name}_count": count}
    else:
        yield {name: f"<{name}>"}
    if kind != bare:
        yield {name: NONE, f"{name}_count": 0}


@cache
def _own_prefixes() -> frozenset[str]:
    """Return the first parts of the ids of the service's messages; others are those of plug-ins."""
    return frozenset(message.partition(".")[0] for message in signatures())


# Read when this is imported, before processes that compute are forked: it takes some hundredths of a second.
catalogues()
signatures()
