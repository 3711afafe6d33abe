"""Reach of a press: which of its platens take a shoe and hold an artwork, and why none does."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from featherline.wire.records import Platen
from featherline.wire.verdicts import Reason, Verdict
from featherline_service.book.shop_book import Book
from featherline_service.messages.values import said
from featherline_service.quantities import bound
from featherline_service.questions.order.placements import Placement
from featherline_service.questions.reasons import reason
from featherline_service.questions.shoes.presses import pad_outline, platens_for
from featherline_service.runtime.cache import cached
from featherline_service.shape.placement import pads
from featherline_service.shape.placement.containment import ROUNDING_MM

_ROUNDING: Final = 1e-6  # for an artwork that a pad just holds


def platens_that_take(book: Book, placement: Placement) -> list[Platen]:
    """Return the press's platens that present the face and that the shoe goes on, the best first.

    Platens with another pad than the first's are left out: recipes are worked out for that.
    """
    taking = list(platens_for(book, placement.press, placement.panel.face, placement.shoe.inside_length))
    return [platen for platen in taking if platen.pad == taking[0].pad]


def platens_that_hold(book: Book, placement: Placement) -> list[Platen]:
    """Return the platens that take the shoe, hold the artwork and keep clear of the sole, the best first."""
    return [
        platen
        for platen in platens_that_take(book, placement)
        if _holds(placement, platen) and platen.rim_mm <= placement.sole_gap + ROUNDING_MM
    ]


def largest_held(platens: Iterable[Platen], width: float, height: float) -> float | None:
    """Return by how much a box may be enlarged, or must be made smaller, to lie on the pad that takes most of it.

    None without a platen.
    """
    return max((_share_held(platen, width, height) for platen in platens), default=None)


def reasons(book: Book, placement: Placement) -> Iterator[Reason]:
    """Yield why the press cannot, or perhaps cannot, reach the artwork."""
    yield from _unreached(book, placement)
    yield from _opening(placement)
    yield from _heel(placement)


def _holds(placement: Placement, platen: Platen) -> bool:
    """Return whether the placed artwork's box lies on a platen's pad within its rim, along it or across."""
    return _share_held(platen, *placement.extent) >= 1.0 - _ROUNDING


def _share_held(platen: Platen, width: float, height: float) -> float:
    """Return by how much a box may be enlarged, or must be made smaller, to lie on a pad within its rim."""
    if platen.outline is not None:
        return _share_of_pad(platen.outline, platen.rim_mm, width, height)
    across, along = sorted((platen.width_mm, platen.length_mm))
    return min((across - 2.0 * platen.rim_mm) / min(width, height), (along - 2.0 * platen.rim_mm) / max(width, height))


@cached
def _share_of_pad(outline: str, rim: float, width: float, height: float) -> float:
    """Return as `_share_held` for a pad cut to order."""
    pad = pads.inset(pad_outline(outline), rim)
    return max(pads.largest_box(pad, width, height), pads.largest_box(pad, height, width))


def _unreached(book: Book, placement: Placement) -> Iterator[Reason]:
    """Yield why no platen of the press takes the shoe or holds the artwork, or that nobody knows whether one does."""
    panel, press, inside_length = placement.panel, placement.press, placement.shoe.inside_length
    units = placement.artwork.units
    presenting = list(platens_for(book, press, panel.face, None))
    taking = platens_that_take(book, placement)
    holding_it = [platen for platen in taking if _holds(placement, platen)]
    least = min((platen.smallest_inside_length_mm for platen in presenting), default=0.0)
    if not presenting:
        yield reason("fit.reach", "decline", "/panel", said("fit.reach.face", press=press, face=panel.face))
    elif not taking and inside_length is not None:
        yield reason(
            "fit.reach",
            "decline",
            "/shoe",
            said(
                "fit.reach.inside",
                inside=bound(inside_length, units),
                press=press,
                face=panel.face,
                least=bound(least, units, upwards=True),
            ),
            measure=round(inside_length, 4),
            limit=least,
            unit="mm",
        )
    elif not holding_it:
        yield _too_large(placement, max(taking, key=lambda platen: _share_held(platen, *placement.extent)))
    elif not any(platen.rim_mm <= placement.sole_gap + ROUNDING_MM for platen in holding_it):
        yield _at_the_sole(placement, min(holding_it, key=lambda platen: platen.rim_mm))
    elif inside_length is None:
        yield reason(
            "fit.reach",
            "trial",
            "/shoe/inside_length",
            said("fit.reach.unknown", press=press, face=panel.face, least=bound(least, units, upwards=True)),
            limit=least,
            unit="mm",
        )


def _too_large(placement: Placement, platen: Platen) -> Reason:
    width, height = placement.extent
    share = max(_share_held(platen, width, height), 0.0)
    units = placement.artwork.units
    return reason(
        "fit.reach",
        "decline",
        "/artwork",
        said(
            "fit.reach.pad",
            width=bound(width, units, upwards=True),
            height=bound(height, units, upwards=True),
            platen=platen,
            held_width=bound(share * width, units),
            held_height=bound(share * height, units),
        ),
        measure=round(max(width, height), 4),
        limit=round(share * max(width, height), 4),
        unit="mm",
    )


def _at_the_sole(placement: Placement, platen: Platen) -> Reason:
    gap, units = placement.sole_gap, placement.artwork.units
    return reason(
        "fit.sole-edge",
        "decline",
        "/pose",
        said(
            "fit.sole-edge",
            gap=bound(gap, units),
            platen=platen,
            rim=bound(platen.rim_mm, units, upwards=True),
        ),
        measure=round(gap, 4),
        limit=platen.rim_mm,
        unit="mm",
    )


def _opening(placement: Placement) -> Iterator[Reason]:
    """Yield that the shoe does not go under the opened press, or that nobody knows whether it does.

    The shoe's whole height counts as it lies, though some of it hangs below the platen. A heel is pressed flat.
    """
    panel, press = placement.panel, placement.press
    if press.opening_mm is None or panel.face == "heel":
        return
    height, units = placement.shoe.height_lying(panel.face), placement.artwork.units
    if height is None:
        dimension = "width" if panel.face in {"outer", "inner"} else "height"
        yield reason(
            "fit.opening",
            "trial",
            f"/shoe/{dimension}",
            said("fit.opening.unknown", dimension=dimension, press=press, opening=bound(press.opening_mm, units)),
            limit=press.opening_mm,
            unit="mm",
        )
    elif height > press.opening_mm + ROUNDING_MM:
        yield reason(
            "fit.opening",
            "decline",
            "/press",
            said(
                "fit.opening.low",
                face=panel.face,
                height=bound(height, units, upwards=True),
                press=press,
                opening=bound(press.opening_mm, units),
            ),
            measure=round(height, 4),
            limit=press.opening_mm,
            unit="mm",
        )


def _heel(placement: Placement) -> Iterator[Reason]:
    """Yield that a heel does not lie flat, or may not (common practice, no source)."""
    if placement.panel.face != "heel" or placement.shoe.heel_collapses:
        return
    known = placement.shoe.heel_collapses is not None
    verdict: Verdict = "decline" if known else "trial"
    yield reason("fit.heel", verdict, "/panel", said("fit.heel", collapses="no" if known else "unknown"))
