"""Heights at which an artwork fits where it is asked for, and can be made in its film."""

from __future__ import annotations

import math

from featherline.wire.measures import Mend
from featherline.wire.verdicts import Reason
from featherline_service.quantities import say_bound
from featherline_service.questions.order import fine_detail, letter_spacing
from featherline_service.questions.order.artwork_sizes import SizedArtwork
from featherline_service.questions.order.largest_letters import STEP_MM
from featherline_service.questions.order.placements import Placement
from featherline_service.shape.outlines.curves import DrawingError


def largest_made(placement: Placement, largest: float) -> SizedArtwork | None:
    """Return the largest copy that fits, if its film takes it: what is too fine at that height is so at every other.

    Args:
        placement: The placement.
        largest: The scale of its largest copy that fits there [mm per unit].
    """
    artwork = placement.artwork
    unit = _unit(artwork)
    height = math.floor(largest * unit / STEP_MM) * STEP_MM
    if height <= 0.0:
        return None
    try:
        copy = letter_spacing.fitted(placement.film, artwork.sized(height / unit))
        flaws = fine_detail.flaws(placement.film, copy.figure, copy.scale)
    except DrawingError:  # in a much smaller drawing outlines touch
        return None
    return None if fine_detail.verdict(flaws) == "decline" else copy


def mend(placement: Placement, copy: SizedArtwork) -> Mend:
    """Return the change of a placement that does not fit to the largest copy that does."""
    film, by_letters = placement.film, copy.by_letters
    flaws = fine_detail.flaws(film, copy.figure, copy.scale)
    value = say_bound(_unit(copy) * copy.scale, copy.units)
    made = "cut and weeded" if film.cutting is not None else "printed"
    return Mend(
        kind="height",
        subject="/artwork/letter_height" if by_letters else "/artwork/height",
        value=value,
        verdict=fine_detail.verdict(flaws),
        fits=True,
        sentence=f"It fits up to {'letters ' if by_letters else ''}{value} high, and can be {made} so.",
    )


def none_made(placement: Placement, largest: float) -> Reason:
    """Return that at no height an artwork fits and can be made."""
    film, artwork = placement.film, placement.artwork
    made = "cut and weeded" if film.cutting is not None else "printed"
    return Reason(
        code="fit.no-height",
        verdict="decline",
        subject="/artwork",
        sentence=f"At no height does it fit there and can be {made} in {film.name}: it fits up to "
        f"{artwork.high(largest)}, which is too fine. Take another film or font, a shorter text, or another place.",
    )


def _unit(artwork: SizedArtwork) -> float:
    """Return the height, in the figure's units, of what its height is given of: its capitals, or all of it."""
    figure = artwork.figure
    return figure.capital if artwork.by_letters and figure.capital is not None else figure.height
