"""Figures: artwork in its own units, with its measures at any height and its region at the height asked for."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final, Literal

import numpy as np
import shapely
from msgspec import Struct
from msgspec.structs import replace
from shapely import MultiPolygon

from featherline_service.runtime.cache import cached
from featherline_service.runtime.content_keys import ContentKey, content_key
from featherline_service.shape.outlines import footprints, text_outlines, tips
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.footprints import Footprint
from featherline_service.shape.outlines.regions import FillRule, polygons
from featherline_service.shape.outlines.svg import drawings, paths
from featherline_service.shape.outlines.text_outlines import PLAIN, Glyph, TextSetting, Typeface
from featherline_service.shape.outlines.tips import Tip
from featherline_service.shape.outlines.widths import Detail, combined, measure

Sides = Literal["both", "left", "right"]
FindTips = Callable[[MultiPolygon, float], tuple[Tip, ...]]
"""Finds the tips or the notches of a region that are narrower than a diameter: `tips.tips` or `tips.notches`."""

OUTLINE_TOLERANCE_MM: Final = 0.01
# Widest gap or neck at which outlines touch: either outline may be off by the tolerance.
TOUCH_MM: Final = 2.0 * OUTLINE_TOLERANCE_MM
# Coarsest flattening: the em, or a drawing's larger side, divided by this number.
_FINENESS: Final = 8192.0
# Details are measured on outlines finer by this factor: a width of a fortieth of the em is then known to 0.5 %.
_DETAIL_FINENESS: Final = 2.0
# Discs for tips, to a doubling of the diameter: finer steps are computed oftener, coarser ones bound less closely.
_DISCS: Final = 4.0


@dataclass(frozen=True)
class Letters:
    """The glyphs of a text that do not touch one another, their font, and the gap between them, infinite for one."""

    face: Typeface
    glyphs: tuple[Glyph, ...]
    gap: float


@dataclass(frozen=True)
class TipsAndNotches:
    """Tips of a film that are narrower than its finest stroke, and notches narrower than its finest gap.

    The longest come first. Lengths and coordinates are in millimetres, the latter those of the figure times its scale.
    """

    tips: tuple[Tip, ...]
    notches: tuple[Tip, ...]


@dataclass(frozen=True, eq=False)
class Figure:
    """Artwork in its own units, y upwards; hashed by identity.

    `box` is left, low, right and high of its ink. `capital` is the height of a flat capital of its font, None for a
    drawing. `baseline` is the y coordinate of a text's lowest baseline, None for a drawing and for text on an arc.
    `coarsest` is the flattening tolerance at fineness zero. `letters` are measured one by one; None for a drawing, and
    for letters that touch or have a border.
    """

    detail: Detail
    box: tuple[float, float, float, float]
    capital: float | None
    baseline: float | None
    coarsest: float
    region: Callable[[float], MultiPolygon]
    """Returns the region for a flattening tolerance: the largest distance of a curve from its chords."""
    letters: Letters | None = None

    @property
    def width(self) -> float:
        """Width of the box of its ink."""
        return self.box[2] - self.box[0]

    @property
    def height(self) -> float:
        """Height of the box of its ink."""
        return self.box[3] - self.box[1]

    def fineness(self, scale: float) -> int:
        """Return the number of halvings of `coarsest` for a tolerance of 0.01 mm at a scale [mm per unit]."""
        return max(0, math.ceil(math.log2(self.coarsest * scale / OUTLINE_TOLERANCE_MM)))

    @property
    def finest(self) -> float:
        """Flattening tolerance of the outlines that are measured."""
        return self.coarsest / _DETAIL_FINENESS

    def drawn(self, fineness: int) -> MultiPolygon:
        """Return its region in its own units, flattened to ``coarsest / 2**fineness``."""
        return self.region(self.coarsest / 2.0**fineness)


class FittedRegion(Struct, frozen=True, eq=False, dict=True):
    """The region that must fit the right shoe's panel for a figure to fit the sides asked for; drawn when asked for.

    The left panel is the right panel's mirror image, so an artwork on the left panel fits where its mirror image fits
    the right panel. For both sides the region is the union of the artwork and its mirror image.

    `fineness` is as in `Figure.drawn`, `sides` are the shoes that are marked, `footprint` is as in
    `footprints.footprint_of`.
    """

    figure: Figure
    fineness: int
    sides: Sides
    footprint: Footprint = "exact"

    @cached_property
    def content_key(self) -> Hashable:
        """What its region follows from: results computed from it are looked up without the region."""
        return ContentKey.of(content_key(self.figure), self.fineness, self.sides, self.footprint)

    @property
    def region(self) -> MultiPolygon:
        """The region in the figure's own units. DrawingError: as `Figure.drawn`."""
        return _fitted(self.figure, self.fineness, self.sides, self.footprint)

    @property
    def parts(self) -> tuple[MultiPolygon, ...]:
        """The artwork as it counts on each shoe: together they are the region, but no union is made of them."""
        return _parts(self.figure, self.fineness, self.sides, self.footprint)


@cached
def _fitted(figure: Figure, fineness: int, sides: Sides, footprint: Footprint) -> MultiPolygon:
    parts = _parts(figure, fineness, sides, footprint)
    return parts[0] if len(parts) == 1 else polygons(shapely.union(*parts))


@cached
def _parts(figure: Figure, fineness: int, sides: Sides, footprint: Footprint) -> tuple[MultiPolygon, ...]:
    drawn = footprints.footprint_of(figure.drawn(fineness), footprint)
    if sides == "right":
        return (drawn,)
    middle = drawn.bounds[0] + drawn.bounds[2]
    mirrored = shapely.transform(drawn, lambda points: points * (-1.0, 1.0) + (middle, 0.0))
    return (mirrored,) if sides == "left" else (drawn, mirrored)


@cached
def of_text(face: Typeface, text: str, setting: TextSetting = PLAIN, border: float = 0.0) -> Figure:
    """Return a text as a figure in font units, its letters grown by a border [capital heights].

    Raises:
        TextError: As in `text_outlines.lay_out`.
        DrawingError: As in `widths.measure`, for letters that meet.
    """
    lines = text_outlines.lay_out(face, text, setting)
    coarsest, fine = face.em / _FINENESS, finest(face)
    letters = None if border else _separate_letters(face, lines, fine)
    return Figure(
        detail=measure(_drawn_text(lines, face, border, fine), fine) if letters is None else _joined(letters, fine),
        box=_drawn_text(lines, face, border, coarsest).bounds,
        capital=face.capital,
        baseline=_lowest_baseline(lines, face, setting),
        coarsest=coarsest,
        region=lambda tolerance: _drawn_text(lines, face, border, tolerance),
        letters=letters,
    )


@cached
def check_drawn(figure: Figure, fineness: int) -> None:
    """Draw a figure once, for the faults that finer curves may have. DrawingError: it cannot be drawn."""
    figure.drawn(fineness)


def detail_at(figure: Figure, scale: float) -> Detail:
    """Return the detail of a figure at a scale [mm per unit], with outlines that touch at that scale.

    Outlines touch where a gap or neck is no wider than `TOUCH_MM`.

    Raises:
        DrawingError: As in `widths.measure`.
    """
    detail = figure.detail
    narrowest = detail.stroke if detail.gap is None else min(detail.stroke, detail.gap)
    if narrowest * scale > TOUCH_MM:
        return detail.scaled(scale)
    return _measured_with_touch(figure, TOUCH_MM / scale).scaled(scale)


@cached
def _measured_with_touch(figure: Figure, touch: float) -> Detail:
    return measure(figure.region(figure.finest), figure.finest, touch)


def within_tip_limits(figure: Figure, scale: float, finest_stroke_mm: float, finest_gap_mm: float) -> bool:
    """Return whether the tips and notches of a figure's letters surely keep to the limits; of others nobody knows.

    The longest tip under a larger disc is no shorter. Letters are measured under discs of a few sizes, so that the next
    height asked for is known already; where that is not enough, `tips_and_notches` measures them.

    Args:
        figure: The artwork.
        scale: Millimetres per unit of the figure, greater than zero.
        finest_stroke_mm: The film's finest stroke [mm].
        finest_gap_mm: The film's finest gap [mm].
    """
    letters = figure.letters
    if letters is None:
        return False
    stroke, gap = finest_stroke_mm / scale, finest_gap_mm / scale
    ids = {glyph.id for glyph in letters.glyphs}
    return all(
        _longest(tips.tips, letters.face, glyph, figure.finest, _disc(stroke)) <= tips.LONGEST_TIP * stroke
        and _longest(tips.notches, letters.face, glyph, figure.finest, _disc(gap)) <= tips.LONGEST_NOTCH * gap
        for glyph in ids
    )


def _disc(diameter: float) -> int:
    """Return the number of the smallest of the discs that is no smaller than a diameter."""
    return math.ceil(_DISCS * math.log2(diameter))


@lru_cache(maxsize=8192)
def _longest(find: FindTips, face: Typeface, glyph: int, tolerance: float, disc: int) -> float:
    """Return the length of a glyph's longest tip or notch under a disc; zero without any."""
    ends = find(text_outlines.glyph_region(face, glyph, tolerance), 2.0 ** (disc / _DISCS))
    return max((tip.length for tip in ends), default=0.0)


def tips_and_notches(figure: Figure, scale: float, finest_stroke_mm: float, finest_gap_mm: float) -> TipsAndNotches:
    """Return the tips and notches of a figure at a scale that are finer than a film's finest stroke and gap.

    Letters are measured one by one and cached. Notches between letters nearer to each other than the finest gap are not
    included; that gap is part of the figure's detail.

    Args:
        figure: The artwork.
        scale: Millimetres per unit of the figure, greater than zero.
        finest_stroke_mm: The film's finest stroke [mm].
        finest_gap_mm: The film's finest gap [mm].

    Returns:
        As in `tips.tips` and `tips.notches`, in millimetres. `tips.LONGEST_TIP` and `tips.LONGEST_NOTCH` are the
        limits, in finest strokes and gaps.

    References:
        As in `tips.tips`.
    """
    return TipsAndNotches(
        _scaled_tips(tips.tips, figure, finest_stroke_mm, scale),
        _scaled_tips(tips.notches, figure, finest_gap_mm, scale),
    )


def _scaled_tips(find: FindTips, figure: Figure, finest_mm: float, scale: float) -> tuple[Tip, ...]:
    """Return the tips or notches of a figure at a scale, the longest first."""
    letters, diameter = figure.letters, finest_mm / scale
    if letters is None:
        ends = _region_tips(find, figure, diameter)
    else:
        of_letters = [
            Tip(*glyph.carried((tip.x, tip.y)), tip.length)
            for glyph in letters.glyphs
            for tip in _glyph_tips(find, letters.face, glyph.id, figure.finest, diameter)
        ]
        ends = tuple(sorted(of_letters, key=lambda tip: -tip.length))
    return tuple(tip.scaled(scale) for tip in ends)


@cached
def _glyph_tips(find: FindTips, face: Typeface, glyph: int, tolerance: float, diameter: float) -> tuple[Tip, ...]:
    return find(text_outlines.glyph_region(face, glyph, tolerance), diameter)


@cached
def _region_tips(find: FindTips, figure: Figure, diameter: float) -> tuple[Tip, ...]:
    return find(figure.region(figure.finest), diameter)


def _lowest_baseline(lines: tuple[tuple[Glyph, ...], ...], face: Typeface, setting: TextSetting) -> float | None:
    if setting.arc is not None:
        return None
    lowest = max(number for number, line in enumerate(lines) if line)
    return -lowest * setting.line_distance * face.capital


def _drawn_text(lines: tuple[tuple[Glyph, ...], ...], face: Typeface, border: float, tolerance: float) -> MultiPolygon:
    """Return the region of a text, with its border if that is not zero."""
    return _grown_text(lines, face, border, tolerance) if border else text_outlines.text_region(lines, face, tolerance)


@cached
def _grown_text(lines: tuple[tuple[Glyph, ...], ...], face: Typeface, border: float, tolerance: float) -> MultiPolygon:
    return _grown(text_outlines.text_region(lines, face, tolerance), border * face.capital, tolerance)


@cached
def grown(figure: Figure, reach: float) -> Figure:
    """Return a figure that reaches further on all sides, in its own units; its box keeps its centre.

    Raises:
        DrawingError: As in `widths.measure`.
    """
    return _of_regions(figure.coarsest, lambda tolerance: _grown_figure(figure, reach, tolerance))


@cached
def _grown_figure(figure: Figure, reach: float, tolerance: float) -> MultiPolygon:
    return _grown(figure.region(tolerance), reach, tolerance)


def _grown(region: MultiPolygon, reach: float, tolerance: float) -> MultiPolygon:
    """Return a region grown on all sides, its round corners to within the tolerance."""
    # A quarter circle of n chords deviates by R (1 - cos(a / 2)), a = pi / 2n.
    chords = max(2, math.ceil(math.pi / 4.0 / math.acos(max(0.0, 1.0 - tolerance / reach))))
    return polygons(shapely.buffer(region, reach, quad_segs=chords))


@cached
def of_path(data: str, rule: FillRule) -> Figure:
    """Return SVG path data as a figure in its own units.

    Raises:
        DrawingError: As in `paths.region` and `widths.measure`.
    """
    return _of_drawing(max(paths.extent(data)), lambda tolerance: paths.region(data, rule, tolerance))


@cached
def of_svg(drawing: str) -> Figure:
    """Return an SVG drawing as a figure in its user units.

    Raises:
        DrawingError: As in `drawings.region` and `widths.measure`.
    """
    return _of_drawing(max(drawings.extent(drawing)), lambda tolerance: drawings.region(drawing, tolerance))


def _of_drawing(size: float, region: Callable[[float], MultiPolygon]) -> Figure:
    coarsest = size / _FINENESS
    if coarsest <= 0.0:
        raise DrawingError("drawing.no-area", "The drawing encloses no area: draw closed shapes, not lines")
    return _of_regions(coarsest, region)


def _of_regions(coarsest: float, region: Callable[[float], MultiPolygon]) -> Figure:
    """Return the figure of regions flattened to any tolerance, `coarsest` at fineness zero."""
    fine = coarsest / _DETAIL_FINENESS
    return Figure(
        detail=measure(region(fine), fine),
        box=region(coarsest).bounds,
        capital=None,
        baseline=None,
        coarsest=coarsest,
        region=region,
    )


def finest(face: Typeface) -> float:
    """Return the flattening tolerance of the glyphs that are measured [font units]."""
    return face.em / _FINENESS / _DETAIL_FINENESS


def glyph_gap(face: Typeface, glyph: int) -> float | None:
    """Return the narrowest gap within a glyph [font units]; None without any."""
    return _glyph_detail(face, glyph, finest(face)).gap


@cached
def _glyph_detail(face: Typeface, glyph: int, tolerance: float) -> Detail:
    return measure(text_outlines.glyph_region(face, glyph, tolerance), tolerance)


def _separate_letters(face: Typeface, lines: tuple[tuple[Glyph, ...], ...], tolerance: float) -> Letters | None:
    """Return the letters of a text that do not touch one another; None where some do."""
    glyphs = tuple(glyph for line in lines for glyph in line)
    gap = _gap_between(face, glyphs, tolerance)
    return Letters(face, glyphs, gap) if gap > 2.0 * tolerance else None


def _joined(letters: Letters, tolerance: float) -> Detail:
    """Return the detail of letters that do not touch one another."""
    details = []
    for glyph in letters.glyphs:
        detail = _glyph_detail(letters.face, glyph.id, tolerance)
        details.append(replace(detail, touches=tuple(map(glyph.carried, detail.touches))) if detail.touches else detail)
    return combined(details, None if math.isinf(letters.gap) else letters.gap)


def _gap_between(face: Typeface, glyphs: tuple[Glyph, ...], tolerance: float) -> float:
    """Return the smallest distance between any two glyphs; infinite for one glyph."""
    regions, first, second, between = text_outlines.glyph_pairs(face, glyphs, tolerance)
    smallest = math.inf
    for pair in np.argsort(between):
        if between[pair] >= smallest:
            break
        smallest = min(smallest, float(shapely.distance(regions[first[pair]], regions[second[pair]])))
    return smallest
