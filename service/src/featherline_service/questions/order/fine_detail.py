"""Detail of an artwork that is too fine for a film, and the smallest copy that the film takes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Final

from msgspec import Struct

from featherline.wire.records import Film
from featherline.wire.verdicts import ReasonCode, Verdict
from featherline_service.questions.verdicts import worst
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines import figures
from featherline_service.shape.outlines.figures import Figure
from featherline_service.shape.outlines.tips import LONGEST_NOTCH, LONGEST_TIP, Tip
from featherline_service.shape.outlines.widths import Detail

# A tip or notch that is longer than its limit is tried first, since the limit is a guess; one this many times as long
# is declined, as needles of 13 degrees are, and slits of 6. A guess as well: no source.
DECLINED_LENGTH: Final = 2.0
_ROUNDING: Final = 1e-9  # for a width that is exactly the finest
_STEP: Final = 1.005  # to which the smallest copy is found where tips decide


class Flaw(Struct, frozen=True):
    """A detail that is too fine for a film: `measure` against `limit` [mm, of an island mm^2].

    `count` is the number of such places, where they are counted.
    """

    code: ReasonCode
    verdict: Verdict
    measure: float
    limit: float
    count: int = 1


@cached
def flaws(film: Film, figure: Figure, scale: float) -> tuple[Flaw, ...]:
    """Return what is too fine for a film in a figure at a scale [mm per unit].

    Where outlines touch, the widths elsewhere count. Tips and notches are measured where all else is large enough: they
    would not change the verdict, and take longest.

    Raises:
        DrawingError: As `figures.detail_at`.
    """
    if narrow := tuple(_narrow(film, figures.detail_at(figure, scale))):
        return narrow
    finest = film.finest
    if figures.within_tip_limits(figure, scale, finest.stroke_mm, finest.gap_mm):
        return ()
    tapers = figures.tips_and_notches(figure, scale, finest.stroke_mm, finest.gap_mm)
    return (
        *_long("fit.fine-tip", tapers.tips, LONGEST_TIP * finest.stroke_mm),
        *_long("fit.fine-notch", tapers.notches, LONGEST_NOTCH * finest.gap_mm),
    )


def _narrow(film: Film, detail: Detail) -> Iterator[Flaw]:
    finest = film.finest
    if touches(film, detail):
        narrowest = min(detail.stroke, math.inf if detail.gap is None else detail.gap)
        yield Flaw("fit.touch", "decline", narrowest, finest.gap_mm, len(detail.touches))
    if _below(detail.clear_stroke, finest.stroke_mm):
        yield Flaw("fit.fine-stroke", "decline", detail.clear_stroke, finest.stroke_mm)
    if detail.clear_gap is not None and _below(detail.clear_gap, finest.gap_mm):
        yield Flaw("fit.fine-gap", "decline", detail.clear_gap, finest.gap_mm)
    if _below(detail.island, finest.island_mm2):
        yield Flaw("fit.fine-island", "decline", detail.island, finest.island_mm2)


def _long(code: ReasonCode, tips: tuple[Tip, ...], limit: float) -> Iterator[Flaw]:
    """Yield that some tips, the longest first, are longer than a limit."""
    count = sum(tip.length > limit for tip in tips)
    if count:
        declined = tips[0].length > DECLINED_LENGTH * limit
        yield Flaw(code, "decline" if declined else "trial", tips[0].length, limit, count)


def touches(film: Film, detail: Detail) -> bool:
    """Return whether outlines touch where a film is cut; a print of them is one piece."""
    return film.cutting is not None and bool(detail.touches)


def verdict(fine: tuple[Flaw, ...]) -> Verdict:
    """Return the verdict of flaws."""
    return worst(flaw.verdict for flaw in fine)


def enlargement(film: Film, detail: Detail) -> float:
    """Return the least factor to enlarge an artwork by for its widths and pieces; one or less: they are enough."""
    finest = film.finest
    return max(
        finest.stroke_mm / detail.clear_stroke,
        0.0 if detail.clear_gap is None else finest.gap_mm / detail.clear_gap,
        math.sqrt(finest.island_mm2 / detail.island),
    )


def smallest_scale(
    film: Film, figure: Figure, scale: float, most: float, taken: Callable[[tuple[Flaw, ...]], bool]
) -> float | None:
    """Return the smallest scale at which a film takes a figure; None where there is none.

    Args:
        film: The film.
        figure: The artwork.
        scale: The scale asked for [mm per unit]. Where outlines touch at it, size does not mend them.
        most: The largest scale.
        taken: Whether a copy with some flaws counts as taken.
    """
    detail = figures.detail_at(figure, scale)
    least = scale * enlargement(film, detail)
    if touches(film, detail) or least > most:
        return None
    if taken(flaws(film, figure, least)):
        return least
    if not taken(flaws(film, figure, most)):
        return None
    while most / least > _STEP:
        middle = math.sqrt(least * most)
        if taken(flaws(film, figure, middle)):
            most = middle
        else:
            least = middle
    return most


def _below(measure: float, limit: float) -> bool:
    return measure < limit * (1.0 - _ROUNDING)
