"""What a press reaches: which of its platens take a shoe and hold an artwork, and what keeps it from being pressed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import shapely
from shapely import MultiPolygon

from featherline.wire.records import Platen
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.questions.order.placements import Marking
from featherline_service.runtime.cache import kept
from featherline_service.shape.outlines import svg_paths
from featherline_service.shape.outlines.figures import OUTLINE_TOLERANCE_MM, Seen
from featherline_service.shape.placement import anchors, containment, pads
from featherline_service.shape.placement.containment import FreeArea, Pose

FEATHERLINE: Final = "featherline"
_ROUNDING: Final = 1e-6  # of an artwork that a pad just holds


def platens_that_take(book: Book, marking: Marking) -> list[Platen]:
    """Return the press's platens that present the face and that the shoe goes on, that first which serves best.

    A shoe that nobody measured is taken to go on. Platens with another pad than the first's are left out: recipes are
    worked out for that.
    """
    inside = marking.panel.inside_length
    taking = [
        platen for platen in _presenting(book, marking) if inside is None or inside >= platen.smallest_inside_length_mm
    ]
    return [platen for platen in taking if platen.pad == taking[0].pad]


def platens_that_hold(book: Book, marking: Marking) -> list[Platen]:
    """Return the platens that take the shoe, hold the artwork and keep clear of the sole, that first which is best."""
    gap = _sole_gap(marking)
    return [platen for platen in platens_that_take(book, marking) if _holds(marking, platen) and platen.rim_mm <= gap]


def reasons(book: Book, marking: Marking) -> Iterator[Reason]:
    """Yield what keeps the press from the artwork, or is not known."""
    yield from _unreached(book, marking)
    yield from _opening(marking)
    yield from _heel(marking)


def _presenting(book: Book, marking: Marking) -> list[Platen]:
    platens = [book.platens[name] for name in marking.press.platens]
    return [platen for platen in platens if marking.panel.face in platen.faces]


def _holds(marking: Marking, platen: Platen) -> bool:
    """Return whether the placed artwork's box lies on a platen's pad within its rim, along it or across."""
    return _share_held(platen, *marking.extent()) >= 1.0 - _ROUNDING


def _share_held(platen: Platen, width: float, height: float) -> float:
    """Return by how much a box may be enlarged, or must be made smaller, to lie on a pad within its rim."""
    if platen.outline is not None:
        return _share_of_pad(platen.outline, platen.rim_mm, width, height)
    across, along = sorted((platen.width_mm, platen.length_mm))
    return min((across - 2.0 * platen.rim_mm) / min(width, height), (along - 2.0 * platen.rim_mm) / max(width, height))


@kept
def _share_of_pad(outline: str, rim: float, width: float, height: float) -> float:
    """Return the same for a pad cut to order."""
    pad = pads.drawn_in(pad_outline(outline), rim)
    return max(pads.largest_box(pad, width, height), pads.largest_box(pad, height, width))


@kept
def pad_outline(outline: str) -> MultiPolygon:
    """Return the outline of a pad cut to order. Raises as `paths.region`."""
    return svg_paths.region(outline, "nonzero", OUTLINE_TOLERANCE_MM)


def _sole_gap(marking: Marking) -> float:
    """Return how far the placed artwork is from the featherline [mm]; infinite where the panel has none."""
    area = marking.panel.area
    if FEATHERLINE not in anchors.edges(area):
        return float("inf")
    return _gap(area, marking.seen, marking.artwork.scale, marking.pose)


@kept
def _gap(area: FreeArea, seen: Seen, scale: float, pose: Pose) -> float:
    return float(shapely.distance(anchors.edge(area, FEATHERLINE), containment.place(seen.region, pose, scale)))


def _unreached(book: Book, marking: Marking) -> Iterator[Reason]:
    """Yield why no platen of the press takes the shoe or holds the artwork, or that it is not known."""
    panel, press = marking.panel, marking.press
    platens, taking = _presenting(book, marking), platens_that_take(book, marking)
    holding_it = [platen for platen in taking if _holds(marking, platen)]
    least = min((platen.smallest_inside_length_mm for platen in platens), default=0.0)
    if not platens:
        yield Reason(
            code="fit.reach",
            verdict="decline",
            subject="/panel",
            sentence=f"No platen of {press.name} presents a shoe's {panel.face} face: take another press or panel.",
        )
    elif not taking and panel.inside_length is not None:
        yield Reason(
            code="fit.reach",
            verdict="decline",
            subject="/shoe",
            sentence=f"The shoe is {marking.say(panel.inside_length)} long inside; the smallest platen of {press.name} "
            f"for its {panel.face} face needs {marking.say(least, upwards=True)}.",
            measure=round(panel.inside_length, 4),
            limit=least,
            unit="mm",
        )
    elif not holding_it:
        yield _too_large(marking, max(taking, key=lambda platen: _share_held(platen, *marking.extent())))
    elif not any(platen.rim_mm <= _sole_gap(marking) for platen in holding_it):
        yield _at_the_sole(marking, min(holding_it, key=lambda platen: platen.rim_mm))
    elif panel.inside_length is None:
        yield Reason(
            code="fit.reach",
            verdict="trial",
            subject="/shoe/inside_length",
            sentence="Whether the shoe goes on a platen is not known: measure its inside length. The smallest platen "
            f"of {press.name} for its {panel.face} face needs {marking.say(least, upwards=True)}.",
            limit=least,
            unit="mm",
        )


def _too_large(marking: Marking, platen: Platen) -> Reason:
    width, height = marking.extent()
    share = max(_share_held(platen, width, height), 0.0)
    return Reason(
        code="fit.reach",
        verdict="decline",
        subject="/artwork",
        sentence=f"The artwork takes {marking.say(width, upwards=True)} by {marking.say(height, upwards=True)}; within "
        f"its rim the pad of {platen.name} holds {marking.say(share * width)} by {marking.say(share * height)} of it: "
        "make it smaller.",
        measure=round(max(width, height), 4),
        limit=round(share * max(width, height), 4),
        unit="mm",
    )


def _at_the_sole(marking: Marking, platen: Platen) -> Reason:
    gap = _sole_gap(marking)
    return Reason(
        code="fit.sole-edge",
        verdict="decline",
        subject="/pose",
        sentence=f"The artwork comes within {marking.say(gap)} of the featherline; to press it fully, the pad of "
        f"{platen.name} must reach {marking.say(platen.rim_mm, upwards=True)} beyond it, and would press the edge of "
        "the sole: move it up, or make it smaller.",
        measure=round(gap, 4),
        limit=platen.rim_mm,
        unit="mm",
    )


def _opening(marking: Marking) -> Iterator[Reason]:
    """Yield that the shoe does not go under the opened press, or that it is not known.

    The shoe's whole height counts as it lies, though some of it hangs below the platen. A heel is pressed flat.
    """
    panel, press = marking.panel, marking.press
    if press.opening_mm is None or panel.face == "heel":
        return
    if panel.stands is None:
        what = "width" if panel.face in {"outer", "inner"} else "height"
        yield Reason(
            code="fit.opening",
            verdict="trial",
            subject=f"/shoe/{what}",
            sentence=f"Whether the shoe goes under the opened press is not known: measure its {what}. {press.name} "
            f"opens {marking.say(press.opening_mm)}.",
            limit=press.opening_mm,
            unit="mm",
        )
    elif panel.stands > press.opening_mm:
        yield Reason(
            code="fit.opening",
            verdict="decline",
            subject="/press",
            sentence=f"With its {panel.face} face up the shoe stands {marking.say(panel.stands, upwards=True)} high, "
            f"and {press.name} opens {marking.say(press.opening_mm)}: take a press that swings away, or another panel.",
            measure=round(panel.stands, 4),
            limit=press.opening_mm,
            unit="mm",
        )


def _heel(marking: Marking) -> Iterator[Reason]:
    """Yield that a heel does not lie flat, or may not (common practice, no source)."""
    if marking.panel.face != "heel" or marking.panel.heel_collapses:
        return
    known = marking.panel.heel_collapses is not None
    yield Reason(
        code="fit.heel",
        verdict="decline" if known else "trial",
        subject="/panel",
        sentence="The heel does not collapse, so it cannot lie flat under the platen: mark another panel."
        if known
        else "Whether the heel collapses is not known: press it flat by hand, and mark it only if it lies flat.",
    )
