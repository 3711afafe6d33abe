"""The alternative text of a picture: what it says, as values, and those put into words."""

from __future__ import annotations

from typing import Final, Literal

from msgspec import Struct

from featherline.wire.shoes import Face
from featherline_service.drawing.printable import printable

_LONGEST: Final = 1000
_LONGEST_TEXT: Final = 120
_EFFECTS: Final[dict[str, str]] = {
    "metallic": "metallic",
    "reflective": "reflective",
    "fluorescent": "fluorescent",
    "flake": "glittering",
    "glow": "glowing",
}


class MarkWords(Struct, frozen=True, kw_only=True):
    """A mark of a picture: its text, None for a drawing; its film's colour and effect; its panel, and its backing."""

    text: str | None
    colour: str
    effect: Literal["none", "metallic", "reflective", "fluorescent", "flake", "glow"]
    panel: str
    backing: str | None = None


class Alternative(Struct, frozen=True, kw_only=True):
    """All that the alternative text of a picture says: the one place where its parameters are.

    `shoe` and `colour` are names of the book, or of the measured shoe; `colour` is None where it is not known.
    """

    shoe: str
    colour: str | None
    face: Face
    foot: Literal["left", "right"]
    in_place: bool
    marks: tuple[MarkWords, ...]


def in_english(alternative: Alternative) -> str:
    """Return an alternative text in English: what is shown first, then each mark from the bottom up."""
    colour = "" if alternative.colour is None else f" in {alternative.colour}"
    whole = "" if alternative.in_place else ", the panel alone"
    shown = f"{alternative.shoe}{colour}, {alternative.foot} shoe, {alternative.face} face{whole}"
    marks = "; ".join(map(_mark, alternative.marks))
    text = f"{shown}: {marks}."
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1].rstrip() + "…"


def _mark(mark: MarkWords) -> str:
    name = "a drawing" if mark.text is None else f"“{printable(mark.text, _LONGEST_TEXT)}”"
    effect = f", {_EFFECTS[mark.effect]}" if mark.effect in _EFFECTS else ""
    backing = "" if mark.backing is None else f", on a backing in {mark.backing}"
    return f"{name} in {mark.colour}{effect}{backing}, on {mark.panel}"
