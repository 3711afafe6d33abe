"""The alternative text of a picture: what it says, as values, and those put into words of a language."""

from __future__ import annotations

from typing import Final, Literal

from msgspec import Struct

from featherline.wire.shoes import Face
from featherline_service.drawing.printable import printable
from featherline_service.messages.texts import Texts
from featherline_service.messages.values import Speaker

_LONGEST: Final = 1000
_LONGEST_TEXT: Final = 120


class MarkWords(Struct, frozen=True, kw_only=True):
    """A mark of a picture: its text, None for a drawing; its film's colour and effect; its panel, and its backing."""

    text: str | None
    colour: str
    effect: Literal["none", "metallic", "reflective", "fluorescent", "flake", "glow"]
    panel: str
    backing: str | None = None


class Alternative(Struct, frozen=True, kw_only=True):
    """All that the alternative text of a picture says: the one place where its parameters are.

    Names are the shop's, in the language of the text where it has one. `shoe` is None for a measured shoe, `colour`
    where it is not known.
    """

    shoe: str | None
    colour: str | None
    face: Face
    foot: Literal["left", "right"]
    in_place: bool
    marks: tuple[MarkWords, ...]


def say(alternative: Alternative, texts: Texts) -> str:
    """Return an alternative text: what is shown first, then each mark from the bottom up; at most 1000 characters."""
    text = Speaker(texts)(
        "customer.picture.shown",
        shoe=alternative.shoe,
        colour=alternative.colour,
        foot=alternative.foot,
        face=alternative.face,
        shows="shoe" if alternative.in_place else "panel",
        marks="; ".join(_mark(mark, texts) for mark in alternative.marks),
    )
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1].rstrip() + "…"


def _mark(mark: MarkWords, texts: Texts) -> str:
    return Speaker(texts)(
        "customer.picture.mark",
        kind="drawing" if mark.text is None else "text",
        text=None if mark.text is None else printable(mark.text, _LONGEST_TEXT),
        colour=mark.colour,
        effect=mark.effect,
        panel=mark.panel,
        backing=mark.backing,
    )
