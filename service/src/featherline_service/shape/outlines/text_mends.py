"""The smallest letter spacing at which a film can cut the gaps of a text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from msgspec.structs import replace
from numpy.typing import NDArray

from featherline_service.shape.outlines import figures, text_outlines
from featherline_service.shape.outlines.text_outlines import Glyph, TextError, TextSetting, Typeface

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

# Mended gaps are wider than needed by this share to twice it, so that rounding leaves none of them too fine.
_MARGIN: Final = 1e-3
_STEPS: Final = 60
# A spacing at which letters that a font joins into ligatures come apart [capital heights].
_APART: Final = 1e-6


def smallest_letter_spacing(
    face: Typeface, text: str, setting: TextSetting, gap: float, border: float = 0.0
) -> float | None:
    """Return the smallest letter spacing at which all gaps of a text are wide enough.

    A wider spacing widens a gap by at most the difference for each spacing between the two glyphs, so that widening by
    the missing length over that number never goes too far.

    Args:
        face: The font.
        text: Lines divided by newlines.
        setting: The text's setting. Spacings smaller than its own are not tried.
        gap: The gap needed: a film's finest gap at the height asked for [font units].
        border: Border of the letters [capital heights].

    Returns:
        The spacing [capital heights]; the gaps between letters are then at least the gap needed, the narrowest of them
        up to 0.2 % wider. The spacing of the setting where its gaps are wide enough. None where spacing cannot mend a
        gap: within a letter, between a letter and its mark, between lines, or on an arc too small for the spaced text.

    Raises:
        TextError: As in `text_outlines.lay_out`, for the setting given.
    """
    reach = 2.0 * border * face.capital
    glyphs = _glyphs(face, text, setting)
    narrowest = (figures.glyph_gap(face, glyph.id) for glyph in glyphs)
    if any(inner is not None and inner - reach < gap for inner in narrowest):
        return None
    if len(_narrow_pairs(face, glyphs, gap + reach).distance) == 0:
        return setting.letter_spacing
    spacing, order = setting.letter_spacing or _APART, _order(face, text, setting)
    for _ in range(_STEPS):
        try:
            glyphs = _glyphs(face, text, replace(setting, letter_spacing=spacing))
        except TextError:
            return None
        pairs = _narrow_pairs(face, glyphs, (1.0 + _MARGIN) * (gap + reach))
        passed = np.abs(order.spacings[pairs.first] - order.spacings[pairs.second]) * face.capital
        spaced = (order.line[pairs.first] == order.line[pairs.second]) & (passed > 0.0)
        missing = (1.0 + 2.0 * _MARGIN) * (gap + reach) - pairs.distance
        if not np.any(spaced):
            return spacing if len(missing) == 0 else None
        spacing += float(np.max(missing[spaced] / passed[spaced]))
    return None


def _glyphs(face: Typeface, text: str, setting: TextSetting) -> tuple[Glyph, ...]:
    return tuple(glyph for line in text_outlines.lay_out(face, text, setting) for glyph in line)


@dataclass(frozen=True)
class _Order:
    """The lines of a text's glyphs, and the counts of spacings before them in their lines."""

    line: Indices
    spacings: Floats


def _order(face: Typeface, text: str, setting: TextSetting) -> _Order:
    """Return the order of a spaced text's glyphs, from their positions at two spacings on straight lines."""
    close, wide = (
        text_outlines.lay_out(face, text, replace(setting, arc=None, letter_spacing=spacing)) for spacing in (1.0, 2.0)
    )
    spacings = [
        round((after.x - before.x - (line[0].x - start[0].x)) / face.capital)
        for start, line in zip(close, wide, strict=True)
        for before, after in zip(start, line, strict=True)
    ]
    return _Order(np.repeat(np.arange(len(wide)), [len(line) for line in wide]), np.array(spacings, dtype=np.float64))


@dataclass(frozen=True)
class _Pairs:
    """Pairs of glyphs by their indices in a text, and their distances."""

    first: Indices
    second: Indices
    distance: Floats


def _narrow_pairs(face: Typeface, glyphs: tuple[Glyph, ...], gap: float) -> _Pairs:
    """Return the pairs of glyphs that are nearer to each other than a gap."""
    regions, first, second, between = text_outlines.glyph_pairs(face, glyphs, figures.finest(face))
    first, second = first[between < gap], second[between < gap]
    distance = shapely.distance(regions[first], regions[second])
    narrow = distance < gap
    return _Pairs(first[narrow], second[narrow], distance[narrow])
