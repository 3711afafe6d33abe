"""The question "does it fit, can it be cut and reached, and will it be seen?"."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from featherline.wire.fits import Contrast, Fit, FitRequest, Largest, Placed
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.contrast import TONE_ON_TONE_RATIO, contrast_ratio, delta_e
from featherline_service.messages.values import Quantity, Said, said
from featherline_service.questions.fit import film_limits, fit_reasons, heights, mends, reach
from featherline_service.questions.order import poses
from featherline_service.questions.order.artwork_sizes import SizedArtwork, measures
from featherline_service.questions.order.largest_letters import largest_scale
from featherline_service.questions.order.placements import Placement, as_drawn, of_fit
from featherline_service.questions.verdicts import worst, worst_first
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.cut_contours import contour
from featherline_service.shape.outlines.figures import Figure, FittedRegion
from featherline_service.shape.placement import anchors, containment
from featherline_service.shape.placement.anchors import Anchor, AnchorError
from featherline_service.shape.placement.containment import FreeArea, Pose, Room

# Below this CIEDE2000 difference two colours side by side are hard to tell apart at a glance; from memory.
_ALIKE_DELTA_E: Final = 10.0


def check(book: Book, request: FitRequest) -> Fit:
    """Return whether and how an artwork fits a panel.

    Raises:
        RefusedError: The request names what the book has not, or asks for what cannot be; with all its faults.
    """
    return fit_of(book, of_fit(book, request))


def fit_of(book: Book, placement: Placement, *, largest_too: bool = True) -> Fit:
    """Return whether and how a placement fits.

    Args:
        book: The shop book.
        placement: The placement.
        largest_too: Whether to say how large it could be where it fits as it is. Where it does not, that is said.
    """
    panel, shape, pose = placement.panel, placement.shape, placement.position.pose
    room, fits = _room(shape.area, placement.seen, placement.artwork.scale, pose, placement.clearance)
    largest = _largest_copy(placement) if largest_too or not fits else None
    if placement.position.largest is not None:
        largest = max(placement.position.largest, largest or 0.0)
    contrast = _contrast(placement)

    def fits_as(artwork: SizedArtwork) -> bool:
        """Return whether another artwork fits at the datum; no copy does that is larger than the largest."""
        if artwork.figure is placement.artwork.figure:
            if artwork.scale == placement.artwork.scale:
                return fits
            if largest is not None and artwork.scale > largest:
                return False
        return _fits_as(placement, artwork)

    most = _most_enlarged(book, placement)
    mended = mends.mends(book, placement.film, placement.artwork, fits_as, most=most)
    too_fine = tuple(film_limits.too_fine(book, placement.film, placement.artwork, mended))
    too_large_or_fine = not fits or worst(reason.verdict for reason in too_fine) == "decline"
    none_made: tuple[Reason, ...] = ()
    if too_large_or_fine and not placement.is_backing:
        scale = _largest_copy(placement) if largest is None else largest
        copy = None if scale is None else heights.largest_made(placement, scale)
        if scale is not None and copy is None:
            none_made = (heights.none_made(placement, scale),)
        elif copy is not None and not fits:
            mended = (heights.mend(placement, copy), *mended)
    reasons = (
        *(() if fits else fit_reasons.outside(placement, room, largest)),
        *none_made,
        *too_fine,
        *fit_reasons.curved(book, placement),
        *reach.reasons(book, placement),
        *fit_reasons.measured(placement),
        *fit_reasons.protective(placement),
        *fit_reasons.not_upright(placement),
        *fit_reasons.tone_on_tone(contrast),
    )
    return Fit(
        verdict=worst(reason.verdict for reason in reasons),
        reasons=worst_first(reasons),
        mends=mended,
        panel=panel.id,
        face=panel.face,
        placed=Placed(
            x_mm=round(pose.x - shape.centre[0], 4),
            y_mm=round(pose.y - shape.centre[1], 4),
            rotation_deg=round(math.degrees(pose.rotation), 6),
            **_where(placement)._asdict(),
        ),
        artwork=measures(placement.artwork),
        clearance_mm=round(room.clearance, 4),
        clearance_needed_mm=round(placement.clearance, 4),
        bound_by=room.bound_by,
        largest=None if largest is None else _copy(placement, largest),
        platens=tuple(platen.id for platen in reach.platens_that_hold(book, placement)),
        contrast=contrast,
        size=placement.shoe.size,
    )


def _where(placement: Placement) -> Said:
    message, values = poses.where(placement.position, placement.shape, placement.artwork.units)
    return said(message, **values)


def outline(placement: Placement, border_mm: float) -> tuple[tuple[float, float], ...]:
    """Return the outline that an artwork is cut out along with its weed border [mm], anywhere, not turned."""
    return _outline(placement.artwork.figure, placement.artwork.fineness, placement.artwork.scale, border_mm)


@cached
def _outline(figure: Figure, fineness: int, scale: float, border_mm: float) -> tuple[tuple[float, float], ...]:
    return contour(containment.place(figure.drawn(fineness), Pose(0.0, 0.0), scale), border_mm)


def largest_letters(placements: Sequence[Placement]) -> tuple[float | None, int]:
    """Return the largest letters [mm] with which all placements of texts fit, and the placement that binds.

    None: the placement that binds fits in no size. A copy of each is tried at the largest height so far, which takes
    far less than to find its own.
    """

    def crowded(index: int) -> float:
        width, _ = placements[index].shape.area.extent
        figure = placements[index].artwork.figure
        return figure.width / max(width, 1.0) / (figure.capital or 1.0)

    best, binds = math.inf, 0
    tried: dict[int, float] = {}
    for index in sorted(range(len(placements)), key=crowded, reverse=True):
        placement = placements[index]
        if not (math.isfinite(best) and _fits_with(placement, best)):
            largest = placement.position.largest or _largest_copy(placement)
            if largest is None:
                return None, index
            tried[index] = largest * (placement.artwork.figure.capital or 0.0)
            if tried[index] < best:
                best, binds = tried[index], index
        else:
            tried[index] = best
    # What fits when larger need not fit when smaller: an arc of letters may go round an eyelet, or lie beside one.
    never = [index for index, height in tried.items() if height > best and not _fits_with(placements[index], best)]
    return (None, never[0]) if never else (_down(best), binds)


def _fits_with(placement: Placement, letter_height: float) -> bool:
    """Return whether a text fits at its datum with letters of another height [mm]."""
    capital = placement.artwork.figure.capital
    if capital is None:
        raise AssertionError("Only texts have letters")
    return _fits_at(
        placement.shape.area, placement.seen, letter_height / capital, placement.position.datum, placement.clearance
    )


def _most_enlarged(book: Book, placement: Placement) -> float:
    """Return by how much an artwork may be enlarged, turned as asked, for the panel and a platen to take it anywhere.

    That its box is no larger than the free area's, and lies on a pad, is needed and not enough.
    """
    extent, (width, height) = placement.extent, placement.shape.area.extent
    edges = 2.0 * placement.clearance
    held = reach.largest_held(reach.platens_that_take(book, placement), *extent)
    return min((width - edges) / extent[0], (height - edges) / extent[1], math.inf if held is None else held)


def _fits_as(placement: Placement, artwork: SizedArtwork) -> bool:
    """Return whether another artwork fits at a placement's datum."""
    sides = as_drawn(artwork, placement.panel, placement.sides)
    seen = FittedRegion(artwork.figure, artwork.fineness, sides, placement.footprint)
    try:
        return _fits_at(placement.shape.area, seen, artwork.scale, placement.position.datum, placement.clearance)
    except DrawingError:  # a larger artwork has finer curves
        return False


@cached
def _fits_at(area: FreeArea, seen: FittedRegion, scale: float, datum: Pose | Anchor, clearance: float) -> bool:
    """Return whether a copy fits at a scale."""
    pose = datum
    if isinstance(pose, Anchor):
        try:
            pose = anchors.pose(area, seen.region, pose, scale)
        except AnchorError:  # letters of another height may lie beside an end of the edge
            return False
    return containment.all_fit(area, (containment.place(part, pose, scale) for part in seen.parts), clearance)


@cached
def _room(area: FreeArea, seen: FittedRegion, scale: float, pose: Pose, clearance: float) -> tuple[Room, bool]:
    """Return how much room the artwork has at a pose, and whether it fits there."""
    placed = [containment.place(part, pose, scale) for part in seen.parts]
    room = containment.room_inside(area, placed) or containment.room(area, containment.place(seen.region, pose, scale))
    return room, containment.all_fit(area, placed, clearance)


def _largest_copy(placement: Placement) -> float | None:
    """Return the scale of the largest copy that keeps to the placement's datum."""
    return largest_scale(placement.shape.area, placement.seen, placement.position.datum, placement.clearance)


def _copy(placement: Placement, scale: float) -> Largest:
    """Return the size of a copy, its heights rounded down, so that asking for them fits."""
    figure = placement.artwork.figure
    return Largest(
        scale=scale / placement.artwork.scale,
        width_mm=_down(figure.width * scale),
        height_mm=_down(figure.height * scale),
        letter_height_mm=None if figure.capital is None else _down(figure.capital * scale),
    )


def _down(length_mm: float) -> float:
    return math.floor(length_mm * 1e4) / 1e4


def _contrast(placement: Placement) -> Contrast | None:
    if placement.colour is None or placement.behind is None:
        return None
    film, upper = placement.colour.hex, placement.behind
    ratio, difference = contrast_ratio(film, upper), delta_e(film, upper)
    stands_out = ratio >= TONE_ON_TONE_RATIO
    sentence = said(
        "contrast.stands-out" if stands_out else "sight.tone-on-tone",
        what=_mark_and_behind(placement),
        ratio=Quantity(round(ratio, 1), None, 1),
        **({} if stands_out else {"hue": "apart" if difference >= _ALIKE_DELTA_E else "alike"}),
        **({} if stands_out else {"difference": Quantity(round(difference), "CIEDE2000", 0)}),
        effect=placement.colour.effect,
    )
    return Contrast(
        delta_e=round(difference, 4),
        ratio=round(ratio, 4),
        sentence=sentence.sentence,
        message=sentence.message,
        parameters=sentence.parameters,
    )


def _mark_and_behind(placement: Placement) -> str:
    """Return the word for a placement and what lies behind it."""
    if placement.is_backing:
        return "backing" if placement.onto is None else "backing-on-mark"
    return "mark" if placement.backing is None else "mark-on-backing"
