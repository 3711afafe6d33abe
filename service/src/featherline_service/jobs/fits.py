"""The question "does it fit, can it be cut and reached, and will it be seen?"."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from shapely import MultiPolygon

from featherline.wire.artworks import Artwork, At, TextArtwork
from featherline.wire.fits import Contrast, Fit, FitRequest, Largest, Measures, Placed
from featherline.wire.records import Colour, Film, Pad, Platen, Press
from featherline.wire.shoes import MeasuredShoe
from featherline.wire.verdicts import Reason, Verdict
from featherline_service.book.shelves import Book
from featherline_service.jobs.panels import FoundPanel, find_panel
from featherline_service.jobs.refusals import Checks
from featherline_service.quantities import inches, millimetres, radians
from featherline_service.shape import figures, outlines, placing, wrapping
from featherline_service.shape.curves import DrawingError
from featherline_service.shape.figures import Figure
from featherline_service.shape.placing import FreeArea, Pose
from featherline_service.shape.widths import Detail
from featherline_service.sight.contrast import TONE_ON_TONE_RATIO, contrast_ratio, delta_e

# Larger than any shoe: it keeps the arithmetic of a slip of the keyboard within bounds.
LARGEST_ARTWORK_MM: Final = 1000.0
_SEVERITY: Final[dict[Verdict, int]] = {"ready": 0, "trial": 1, "decline": 2}
_BARRIERS: Final = {"edge": "the edge of the panel", "old-mark": "the old mark", "toe-cap": "the toe cap"}
# Below this CIEDE2000 difference two colours side by side are hard to tell apart at a glance; from memory.
_ALIKE_DELTA_E: Final = 10.0


@dataclass(frozen=True, eq=False)
class Asked:
    """A request with its records found and its quantities in millimetres and radians."""

    panel: FoundPanel
    film: Film
    colour: Colour | None
    press: Press
    figure: Figure
    scale: float
    pose: Pose
    clearance: float
    units: str
    by_letters: bool
    measured: bool

    @property
    def detail(self) -> Detail:
        """The artwork's detail at the size asked for, in millimetres."""
        return self.figure.detail.scaled(self.scale)

    def placed(self) -> MultiPolygon:
        """Return the artwork where it is to be, in the panel's millimetres."""
        return _placed(self.figure, self.scale, self.pose)

    def say(self, length_mm: float, *, upwards: bool = False) -> str:
        """Return a length for people, rounded down, or up, so that what it promises holds."""
        places, value, unit = (2, inches(length_mm), "in") if self.units == "us" else (1, length_mm, "mm")
        steps = value * 10.0**places
        whole = math.ceil(steps - 1e-6) if upwards else math.floor(steps + 1e-6)
        return f"{whole / 10.0**places:.{places}f} {unit}"


def check(book: Book, request: FitRequest) -> Fit:
    """Return whether and how an artwork fits a panel.

    Raises:
        RefusedError: The request names what the book has not, or asks for what cannot be; with all its faults.
    """
    asked = understand(book, request)
    panel, detail = asked.panel, asked.detail
    room = placing.room(panel.area, asked.placed())
    fits = placing.fits(panel.area, asked.placed(), asked.clearance)
    largest = _largest(panel.area, asked.figure, asked.figure.fineness(asked.scale), asked.pose, asked.clearance)
    contrast = _contrast(asked)
    reasons = (
        *_outside(asked, room, largest, fits=fits),
        *_too_fine(book, asked),
        *_curved(book, asked),
        *_unreached(book, asked),
        *_measured(asked),
        *_alike(asked, contrast),
    )
    return Fit(
        verdict=max((reason.verdict for reason in reasons), key=_SEVERITY.__getitem__, default="ready"),
        reasons=reasons,
        panel=panel.id,
        face=panel.face,
        placed=Placed(
            x_mm=round(asked.pose.x - panel.centre[0], 4),
            y_mm=round(asked.pose.y - panel.centre[1], 4),
            rotation_deg=round(math.degrees(asked.pose.rotation), 6),
        ),
        artwork=_measures(asked.figure, detail, asked.scale),
        clearance_mm=round(room.clearance, 4),
        clearance_needed_mm=round(asked.clearance, 4),
        bound_by=room.bound_by,
        largest=None if largest is None else _copy(asked, largest),
        contrast=contrast,
        size=panel.size,
    )


def understand(book: Book, request: FitRequest) -> Asked:
    """Return a request with its records found and its quantities converted.

    Raises:
        RefusedError: As `check`.
    """
    checks = Checks()
    panel = find_panel(book, request.shoe, request.panel, checks)
    film = checks.record(book.films, "film", request.film, "/film")
    colour = None
    if film is not None and request.colour is not None:
        colour = next((colour for colour in film.colours if colour.id == request.colour), None)
        if colour is None:
            has = ", ".join(colour.id for colour in film.colours)
            checks.note("/colour", f"{film.name} has no colour {request.colour!r}; it has: {has}")
    press = checks.record(book.presses, "press", request.press or book.bench.press, "/press")
    figure = _figure(book, request.artwork, checks)
    scale = _scale(request.artwork, figure, checks)
    clearance = book.bench.clearance_mm
    if request.clearance is not None:
        clearance = checks.value(millimetres, request.clearance, "/clearance") or 0.0
    rotation = checks.value(radians, request.pose.rotation, "/pose/rotation")
    offset = (0.0, 0.0)
    if isinstance(request.pose, At):
        offset = (
            checks.value(millimetres, request.pose.x, "/pose/x") or 0.0,
            checks.value(millimetres, request.pose.y, "/pose/y") or 0.0,
        )
    checks.settle()
    assert panel and film and press and figure  # noqa: S101, PT018 - settle has raised otherwise
    return Asked(
        panel=panel,
        film=film,
        colour=colour,
        press=press,
        figure=figure,
        scale=scale or 0.0,
        pose=Pose(panel.centre[0] + offset[0], panel.centre[1] + offset[1], rotation or 0.0),
        clearance=clearance,
        units=request.units,
        by_letters=isinstance(request.artwork, TextArtwork) and request.artwork.letter_height is not None,
        measured=isinstance(request.shoe, MeasuredShoe),
    )


def _figure(book: Book, artwork: Artwork, checks: Checks) -> Figure | None:
    if isinstance(artwork, TextArtwork):
        if checks.record(book.fonts, "font", artwork.font, "/artwork/font") is None:
            return None
        try:
            face = outlines.typeface(book.font_files[artwork.font])
            return figures.of_text(face, artwork.text, artwork.align, artwork.line_distance)
        except DrawingError as error:
            checks.note("/artwork/text", str(error))
            return None
    try:
        return figures.of_path(artwork.d, artwork.fill_rule)
    except DrawingError as error:
        checks.note("/artwork/d", str(error))
        return None


def _scale(artwork: Artwork, figure: Figure | None, checks: Checks) -> float | None:
    """Return millimetres per unit of the figure; note a size that no shoe takes."""
    text, pointer, unit = artwork.height, "/artwork/height", figure and figure.height
    if isinstance(artwork, TextArtwork) and artwork.letter_height is not None:
        text, pointer, unit = artwork.letter_height, "/artwork/letter_height", figure and figure.capital
    if text is None:
        raise AssertionError("An artwork has a height: its type holds it to that")
    height = checks.value(millimetres, text, pointer)
    if height is None or figure is None or unit is None:
        return None
    scale = height / unit
    if max(figure.width, figure.height) * scale > LARGEST_ARTWORK_MM:
        checks.note(
            pointer,
            f"At {text} the artwork is {figure.width * scale:.0f} mm wide and {figure.height * scale:.0f} mm high: "
            f"ask for at most {LARGEST_ARTWORK_MM:.0f} mm",
        )
    return scale


@lru_cache(maxsize=1024)
def _placed(figure: Figure, scale: float, pose: Pose) -> MultiPolygon:
    return placing.place(figure.drawn(figure.fineness(scale)), pose, scale)


@lru_cache(maxsize=4096)
def _largest(area: FreeArea, figure: Figure, fineness: int, pose: Pose, clearance: float) -> float | None:
    """Return the largest scale [mm per unit of the figure] at a pose, whatever the height asked for."""
    return placing.largest_scale(area, figure.drawn(fineness), pose, clearance)


def _copy(asked: Asked, scale: float) -> Largest:
    figure = asked.figure
    return Largest(
        scale=scale / asked.scale,
        width_mm=figure.width * scale,
        height_mm=figure.height * scale,
        letter_height_mm=None if figure.capital is None else figure.capital * scale,
    )


def _measures(figure: Figure, detail: Detail, scale: float) -> Measures:
    return Measures(
        width_mm=round(figure.width * scale, 4),
        height_mm=round(figure.height * scale, 4),
        letter_height_mm=None if figure.capital is None else round(figure.capital * scale, 4),
        area_mm2=round(detail.area, 4),
        cut_length_mm=round(detail.cut_length, 4),
        corners=detail.corners,
        pieces=detail.pieces,
        waste_pieces=detail.counters + 1,
        narrowest_stroke_mm=round(detail.stroke, 4),
        narrowest_gap_mm=None if detail.gap is None else round(detail.gap, 4),
        smallest_island_mm2=round(detail.island, 4),
    )


def _barrier(name: str) -> str:
    return _BARRIERS.get(name, f"the {name}")


def _high(asked: Asked, scale: float, *, upwards: bool = False) -> str:
    """Return how high the artwork, or its letters when they were asked for, is at a scale."""
    if asked.by_letters and asked.figure.capital is not None:
        return f"{asked.say(asked.figure.capital * scale, upwards=upwards)} capitals"
    return f"{asked.say(asked.figure.height * scale, upwards=upwards)} high"


def _outside(asked: Asked, room: placing.Room, largest: float | None, *, fits: bool) -> Iterator[Reason]:
    if fits:
        return
    barrier = _barrier(room.bound_by)
    if room.clearance < 0.0:
        what = f"The artwork reaches {asked.say(-room.clearance, upwards=True)} over {barrier}."
    else:
        what = (
            f"The artwork comes within {asked.say(room.clearance)} of {barrier}; "
            f"{asked.say(asked.clearance, upwards=True)} are needed."
        )
    most = (
        "No size fits with its centre there: move it."
        if largest is None
        else f"With its centre there it fits up to {_high(asked, largest)}."
    )
    yield Reason(
        code="fit.outside",
        verdict="decline",
        subject="/artwork",
        sentence=f"{what} {most}",
        measure=round(room.clearance, 4),
        limit=round(asked.clearance, 4),
        unit="mm",
    )


def _too_fine(book: Book, asked: Asked) -> Iterator[Reason]:
    """Yield what the film cannot be cut, or printed, as fine as."""
    detail, finest, film = asked.detail, asked.film.finest, asked.film
    made = "cut and weeded" if film.cutting is not None else "printed"

    def cure(enlarge: float) -> str:
        others = [other.name for other in book.films.values() if other is not film and _takes(other, detail)]
        also = f" At this size {_listed(others)} would take it." if others else ""
        larger = _high(asked, asked.scale * enlarge, upwards=True)
        return f"It can be {made} so from {larger}.{also}"

    for code, what, measure, limit in (
        ("fit.fine-stroke", "narrowest stroke", detail.stroke, finest.stroke_mm),
        ("fit.fine-gap", "narrowest gap", detail.gap, finest.gap_mm),
    ):
        if measure is not None and measure < limit:
            yield Reason(
                code=code,
                verdict="decline",
                subject="/artwork",
                sentence=f"The {what} is {asked.say(measure)}; {film.name} takes {asked.say(limit, upwards=True)}. "
                f"{cure(limit / measure)}",
                measure=round(measure, 4),
                limit=limit,
                unit="mm",
            )
    if detail.island < finest.island_mm2:
        yield Reason(
            code="fit.fine-island",
            verdict="decline",
            subject="/artwork",
            sentence=f"The smallest piece has {_say_area(detail.island, asked.units)}; {film.name} takes "
            f"{_say_area(finest.island_mm2, asked.units)}. {cure(math.sqrt(finest.island_mm2 / detail.island))}",
            measure=round(detail.island, 4),
            limit=finest.island_mm2,
            unit="mm2",
        )


def _takes(film: Film, detail: Detail) -> bool:
    finest = film.finest
    return (
        detail.stroke >= finest.stroke_mm
        and (detail.gap is None or detail.gap >= finest.gap_mm)
        and detail.island >= finest.island_mm2
    )


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def _say_area(area_mm2: float, units: str) -> str:
    return f"{inches(inches(area_mm2)):.4f} in²" if units == "us" else f"{area_mm2:.2f} mm²"


def _extent(asked: Asked) -> tuple[float, float]:
    """Return width and height of the placed artwork's box."""
    left, low, right, high = asked.placed().bounds
    return right - left, high - low


def _platens(book: Book, asked: Asked) -> list[Platen]:
    """Return the press's platens that present the face, those that take most shoes at once first."""
    platens = [book.platens[name] for name in asked.press.platens]
    return sorted((p for p in platens if asked.panel.face in p.faces), key=lambda platen: -platen.shoes_at_once)


def _goes_on(asked: Asked, platen: Platen) -> bool:
    inside = asked.panel.inside_length
    return inside is None or inside >= platen.smallest_inside_length_mm


def _holds(asked: Asked, platen: Platen) -> bool:
    """Return whether the placed artwork's box lies on a platen, along it or across."""
    sides = sorted(_extent(asked))
    return sides[0] <= min(platen.width_mm, platen.length_mm) and sides[1] <= max(platen.width_mm, platen.length_mm)


def _unreached(book: Book, asked: Asked) -> Iterator[Reason]:
    """Yield why the press cannot reach the panel, or may not."""
    panel = asked.panel
    platens = _platens(book, asked)
    taking = [platen for platen in platens if _goes_on(asked, platen)]
    if not platens:
        sentence = f"No platen of {asked.press.name} presents a shoe's {panel.face}: take another press or panel."
        yield Reason(code="fit.reach", verdict="decline", subject="/panel", sentence=sentence)
    elif not taking:
        least = min(platen.smallest_inside_length_mm for platen in platens)
        yield Reason(
            code="fit.reach",
            verdict="decline",
            subject="/shoe",
            sentence=f"The shoe is {asked.say(panel.inside_length or 0.0)} long inside; the smallest platen of "
            f"{asked.press.name} for its {panel.face} needs {asked.say(least, upwards=True)}.",
            measure=round(panel.inside_length or 0.0, 4),
            limit=least,
            unit="mm",
        )
    elif not any(_holds(asked, platen) for platen in taking):
        largest = max(taking, key=lambda platen: platen.length_mm * platen.width_mm)
        width, height = _extent(asked)
        yield Reason(
            code="fit.reach",
            verdict="decline",
            subject="/artwork",
            sentence=f"The artwork takes {asked.say(width)} by {asked.say(height)}; {largest.name} is "
            f"{asked.say(largest.length_mm)} by {asked.say(largest.width_mm)}: make it smaller.",
            measure=round(max(width, height), 4),
            limit=largest.length_mm,
            unit="mm",
        )
    elif panel.inside_length is None:
        least = min(platen.smallest_inside_length_mm for platen in platens)
        yield Reason(
            code="fit.reach",
            verdict="trial",
            subject="/shoe/inside_length",
            sentence=f"Whether the shoe goes on a platen is not known: measure its inside; from "
            f"{asked.say(least, upwards=True)} on it does.",
            limit=least,
            unit="mm",
        )
    if panel.face == "heel" and panel.heel_collapses is not True:
        known = panel.heel_collapses is not None
        yield Reason(
            code="fit.heel",
            verdict="decline" if known else "trial",
            subject="/panel",
            sentence="The heel does not collapse, so it cannot lie flat under the platen: mark another panel."
            if known
            else "Whether the heel collapses is not known: press it flat by hand first, and mark it only if it lies flat.",
        )


def _curved(book: Book, asked: Asked) -> Iterator[Reason]:
    """Yield why a flat platen and a flat film do not suit the panel's curve."""
    panel, film = asked.panel, asked.film
    if not panel.curvature_known:
        yield Reason(
            code="fit.curved",
            verdict="trial",
            subject="/shoe/panels",
            sentence=f"How the panel curves is not known, so it counts as tight, a radius of "
            f"{asked.say(panel.radius_along)}: lay a ruler on it and say flat, gentle or tight.",
        )
    if math.isinf(panel.radius_along) and math.isinf(panel.radius_across):
        return
    worst: Verdict = "decline" if panel.curvature_known else "trial"
    width, height = _extent(asked)
    strain = _strain(asked)
    if strain > film.stretch:
        yield Reason(
            code="fit.curved",
            verdict=worst,
            subject="/artwork",
            sentence=f"To lie on the panel the film must give by {100.0 * strain:.1f} %; {film.name} gives "
            f"{100.0 * film.stretch:.1f} %: make it smaller, or choose a film that stretches.",
            measure=round(strain, 6),
            limit=film.stretch,
            unit="1",
        )
    taking = [platen for platen in _platens(book, asked) if _goes_on(asked, platen)]
    if not taking:
        return
    pad = book.pads[taking[0].pad]
    gap = wrapping.gap_under_platen(width / 2.0, height / 2.0, panel.radius_along, panel.radius_across)
    travel, most = _travel(pad, asked.press, film)
    if gap > travel:
        gap_said = "the panel turns away from the platen" if math.isinf(gap) else f"the gap is {asked.say(gap)}"
        yield Reason(
            code="fit.curved",
            verdict=worst if gap > most else "trial",
            subject="/artwork",
            sentence=f"Under a flat platen {gap_said} at the artwork's corners; {pad.name} gives {asked.say(travel)} at "
            f"{film.setting.pressure} pressure: make it smaller, or try first that its corners bond.",
            measure=None if math.isinf(gap) else round(gap, 4),
            limit=round(travel, 4),
            unit="mm",
        )


def _strain(asked: Asked) -> float:
    """Return the largest strain of the film, wrapped or bent, as a share."""
    panel = asked.panel
    width, height = _extent(asked)
    edge, centre = wrapping.wrapping_strain(math.hypot(width, height) / 2.0, panel.radius_along, panel.radius_across)
    thickness = sum(layer.thickness_mm for layer in asked.film.layers)
    return max(-edge, centre, wrapping.bending_strain(thickness, min(panel.radius_along, panel.radius_across)))


def _travel(pad: Pad, press: Press, film: Film) -> tuple[float, float]:
    """Return how far a pad gives at the pressure that the film asks for, and at most [mm]."""
    pressures = [point.pressure_kpa for point in pad.compression]
    strains = [point.strain for point in pad.compression]
    asked_kpa = {
        "light": press.pressures.light_kpa, "medium": press.pressures.medium_kpa, "firm": press.pressures.firm_kpa,
    }[film.setting.pressure]  # fmt: skip
    return float(np.interp(asked_kpa, pressures, strains)) * pad.thickness_mm, strains[-1] * pad.thickness_mm


def _measured(asked: Asked) -> Iterator[Reason]:
    if asked.measured:
        yield Reason(
            code="shoe.measured",
            verdict="trial",
            subject="/shoe",
            sentence="The shoe is known by a ruler and its tongue label only: try the film first where it does not show.",
        )


def _contrast(asked: Asked) -> Contrast | None:
    if asked.colour is None or asked.panel.colour is None:
        return None
    film, upper = asked.colour.hex, asked.panel.colour
    ratio, difference = contrast_ratio(film, upper), delta_e(film, upper)
    if ratio >= TONE_ON_TONE_RATIO:
        sentence = f"The mark stands out: contrast {ratio:.1f} to 1."
    elif difference < _ALIKE_DELTA_E:
        sentence = f"Tone on tone: contrast {ratio:.1f} to 1, and nearly one colour (CIEDE2000 {difference:.0f})."
    else:
        sentence = (
            f"Tone on tone: contrast {ratio:.1f} to 1; the hue sets it off (CIEDE2000 {difference:.0f}), "
            "though not for every eye."
        )
    if asked.colour.effect != "none":
        sentence += f" The film's {asked.colour.effect} effect is not in these figures."
    return Contrast(delta_e=round(difference, 4), ratio=round(ratio, 4), sentence=sentence)


def _alike(asked: Asked, contrast: Contrast | None) -> Iterator[Reason]:
    if contrast is not None and contrast.ratio < TONE_ON_TONE_RATIO:
        yield Reason(
            code="sight.tone-on-tone",
            verdict="ready",
            subject="/colour",
            sentence=contrast.sentence,
            measure=contrast.ratio,
            limit=TONE_ON_TONE_RATIO,
            unit="1",
        )
