"""Texts with fields in braces, as a roster's order has them: ``"{name} {number}"``."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from functools import lru_cache
from typing import Final

from featherline_service.messages.told import ToldError

_FIELD: Final = re.compile(r"[a-z][a-z0-9_]{0,31}", re.ASCII)
_ALIKE: Final = 0.7  # the least share of letters in common, as difflib counts it, of a name taken for another
_PARTS: Final = re.compile(r"\{\{|\}\}|\{[^{}]*\}|[{}]")


class TemplateError(ToldError):
    """A text with braces that enclose no field; the message says what to write instead."""


class Template(tuple[tuple[str, bool], ...]):
    """Pieces of a text in order, each with whether it is the name of a field."""

    __slots__ = ()

    @property
    def fields(self) -> tuple[str, ...]:
        """The names of its fields, each once, in order."""
        return tuple(dict.fromkeys(piece for piece, is_field in self if is_field))

    def fill(self, values: Mapping[str, str]) -> str:
        """Return the text with the values in place of its fields. Braces in a value stay as they are.

        Raises:
            KeyError: a field has no value.
        """
        return "".join(values[piece] if is_field else piece for piece, is_field in self)


@lru_cache(maxsize=256)
def read(text: str) -> Template:
    """Return a text's template: a name in braces is a field, doubled braces are braces.

    Raises:
        TemplateError: a brace stands alone, or encloses what is no name of a field.
    """
    pieces: list[tuple[str, bool]] = []
    end = 0
    for part in _PARTS.finditer(text):
        pieces.append((text[end : part.start()], False))
        end = part.end()
        token = part[0]
        if token in {"{{", "}}"}:
            pieces.append((token[0], False))
        elif token in {"{", "}"}:
            raise TemplateError(
                "template.brace-alone",
                "A {token!r} stands alone at character {start}: write it twice for a brace",
                token=token,
                start=part.start() + 1,
            )
        elif _FIELD.fullmatch(token[1:-1]) is None:
            raise TemplateError(
                "template.no-field-name",
                "{token!r} names no field: write lower-case letters, digits and underscores, a "
                "letter first, such as '{{name}}'; double the braces to have them in the text",
                token=token,
            )
        else:
            pieces.append((token[1:-1], True))
    pieces.append((text[end:], False))
    return Template(piece for piece in pieces if piece[0])


def nearest(name: str, names: Iterable[str]) -> str | None:
    """Return the name that is most like another, or None if none is like it."""
    return next(iter(get_close_matches(name, sorted(names), n=1, cutoff=_ALIKE)), None)
