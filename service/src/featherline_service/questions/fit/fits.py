"""The question "does it fit, can it be cut and reached, and will it be seen?"."""

from __future__ import annotations

import math
from typing import Final

from featherline.wire.fits import Contrast, Fit, FitRequest, Largest, Placed
from featherline.wire.verdicts import Verdict
from featherline_service.book.shop_book import Book
from featherline_service.questions.fit import film_limits, fit_reasons, reach
from featherline_service.questions.order.artwork_sizes import measures
from featherline_service.questions.order.placements import Marking, understand
from featherline_service.runtime.cache import kept
from featherline_service.shape.outlines.cut_contours import contour
from featherline_service.shape.outlines.figures import Figure, Seen
from featherline_service.shape.placement import anchors, containment
from featherline_service.shape.placement.anchors import Anchor, AnchorError
from featherline_service.shape.placement.containment import FreeArea, Pose, Room
from featherline_service.sight.contrast import TONE_ON_TONE_RATIO, contrast_ratio, delta_e

_SEVERITY: Final[dict[Verdict, int]] = {"ready": 0, "trial": 1, "decline": 2}
# Below this CIEDE2000 difference two colours side by side are hard to tell apart at a glance; from memory.
_ALIKE_DELTA_E: Final = 10.0


def check(book: Book, request: FitRequest, *, largest_too: bool = True) -> Fit:
    """Return whether and how an artwork fits a panel.

    Args:
        book: The shop book.
        request: The question.
        largest_too: Whether to say how large it could be where it fits as it is. Where it does not, that is said.

    Raises:
        RefusedError: The request names what the book has not, or asks for what cannot be; with all its faults.
    """
    marking = understand(book, request)
    panel, pose = marking.panel, marking.pose
    room, fits = _room(panel.area, marking.seen, marking.artwork.scale, pose, marking.clearance)
    largest = None
    if largest_too or not fits:
        largest = _largest(panel.area, marking.seen, marking.held, marking.clearance)
    if marking.found is not None:
        largest = max(marking.found, largest or 0.0)
    contrast = _contrast(marking)
    reasons = (
        *(() if fits else fit_reasons.outside(marking, room, largest)),
        *film_limits.too_fine(book, marking.film, marking.artwork),
        *fit_reasons.curved(book, marking),
        *reach.reasons(book, marking),
        *fit_reasons.measured(marking),
        *fit_reasons.tone_on_tone(contrast),
    )
    return Fit(
        verdict=max((reason.verdict for reason in reasons), key=_SEVERITY.__getitem__, default="ready"),
        reasons=reasons,
        panel=panel.id,
        face=panel.face,
        placed=Placed(
            x_mm=round(pose.x - panel.centre[0], 4),
            y_mm=round(pose.y - panel.centre[1], 4),
            rotation_deg=round(math.degrees(pose.rotation), 6),
            sentence=marking.where,
        ),
        artwork=measures(marking.artwork),
        clearance_mm=round(room.clearance, 4),
        clearance_needed_mm=round(marking.clearance, 4),
        bound_by=room.bound_by,
        largest=None if largest is None else _copy(marking, largest),
        platens=tuple(platen.id for platen in reach.platens_that_hold(book, marking)),
        contrast=contrast,
        size=panel.size,
    )


def outline(book: Book, request: FitRequest, border_mm: float) -> tuple[tuple[float, float], ...]:
    """Return the outline that an artwork is cut out along with its weed border [mm], anywhere, not turned.

    Raises:
        RefusedError: As `check`.
    """
    marking = understand(book, request)
    return _outline(marking.artwork.figure, marking.artwork.fineness, marking.artwork.scale, border_mm)


@kept
def _outline(figure: Figure, fineness: int, scale: float, border_mm: float) -> tuple[tuple[float, float], ...]:
    return contour(containment.place(figure.drawn(fineness), Pose(0.0, 0.0), scale), border_mm)


@kept
def largest_letters(book: Book, requests: tuple[FitRequest, ...]) -> tuple[float | None, int]:
    """Return the largest letters [mm] with which the texts of all requests fit, and which request allows no larger.

    None: of that one, no size fits. The requests are of texts, and were answered before. A copy of each is tried at the
    largest height so far, which takes far less than to find its own.
    """
    markings = [understand(book, request) for request in requests]

    def crowded(place: int) -> float:
        left, _, right, _ = markings[place].panel.area.region.bounds or (0.0, 0.0, 0.0, 0.0)
        figure = markings[place].artwork.figure
        return figure.width / max(right - left, 1.0) / (figure.capital or 1.0)

    best, binds = math.inf, 0
    tried: dict[int, float] = {}
    for place in sorted(range(len(markings)), key=crowded, reverse=True):
        one = markings[place]
        if not (math.isfinite(best) and _fits_with(one, best)):
            own = one.found or _largest(one.panel.area, one.seen, one.held, one.clearance)
            if own is None:
                return None, place
            tried[place] = own * (one.artwork.figure.capital or 0.0)
            if tried[place] < best:
                best, binds = tried[place], place
        else:
            tried[place] = best
    # What fits when larger need not fit when smaller: an arc of letters may go round an eyelet, or lie beside one.
    never = [place for place, height in tried.items() if height > best and not _fits_with(markings[place], best)]
    return (None, never[0]) if never else (_down(best), binds)


def _fits_with(marking: Marking, letter_height: float) -> bool:
    """Return whether a text fits where it is asked for with letters of another height [mm]."""
    if marking.artwork.figure.capital is None:
        raise AssertionError("Only texts have letters")
    scale, seen, pose = letter_height / marking.artwork.figure.capital, marking.seen.region, marking.held
    if isinstance(pose, Anchor):
        try:
            pose = anchors.pose(marking.panel.area, seen, pose, scale)
        except AnchorError:  # letters of another height may lie beside an end of the edge
            return False
    return containment.fits(marking.panel.area, containment.place(seen, pose, scale), marking.clearance)


@kept
def _room(area: FreeArea, seen: Seen, scale: float, pose: Pose, clearance: float) -> tuple[Room, bool]:
    """Return how much room the artwork has at a pose, and whether it fits there."""
    placed = containment.place(seen.region, pose, scale)
    return containment.room(area, placed), containment.fits(area, placed, clearance)


@kept
def _largest(area: FreeArea, seen: Seen, held: Pose | Anchor, clearance: float) -> float | None:
    """Return the largest scale [mm per unit of the figure] at a pose or anchor, whatever the height asked for."""
    if isinstance(held, Anchor):
        return anchors.largest_scale(area, seen.region, held, clearance)
    return containment.largest_scale(area, seen.region, held, clearance)


def _copy(marking: Marking, scale: float) -> Largest:
    """Return the size of a copy, its heights rounded down, so that asking for them fits."""
    figure = marking.artwork.figure
    return Largest(
        scale=scale / marking.artwork.scale,
        width_mm=_down(figure.width * scale),
        height_mm=_down(figure.height * scale),
        letter_height_mm=None if figure.capital is None else _down(figure.capital * scale),
    )


def _down(length_mm: float) -> float:
    return math.floor(length_mm * 1e4) / 1e4


def _contrast(marking: Marking) -> Contrast | None:
    if marking.colour is None or marking.panel.colour is None:
        return None
    film, upper = marking.colour.hex, marking.panel.colour
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
    if marking.colour.effect != "none":
        sentence += f" The film's {marking.colour.effect} effect is not in these figures."
    return Contrast(delta_e=round(difference, 4), ratio=round(ratio, 4), sentence=sentence)
