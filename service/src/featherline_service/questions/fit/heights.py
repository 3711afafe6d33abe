"""Heights at which an artwork fits where it is asked for, and can be made in its film."""

from __future__ import annotations

import math

from featherline.wire.measures import Mend
from featherline.wire.verdicts import Reason
from featherline_service.messages.values import said
from featherline_service.quantities import say
from featherline_service.questions.fit.mends import made
from featherline_service.questions.order import fine_detail, letter_spacing
from featherline_service.questions.order.artwork_sizes import SizedArtwork
from featherline_service.questions.order.largest_letters import STEP_MM
from featherline_service.questions.order.placements import Placement
from featherline_service.questions.reasons import reason
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
    film = placement.film
    height = copy.height_said(copy.scale)
    return Mend(
        kind="height",
        subject="/artwork/letter_height" if copy.by_letters else "/artwork/height",
        value=say(height),
        verdict=fine_detail.verdict(fine_detail.flaws(film, copy.figure, copy.scale)),
        fits=True,
        **said("mend.smaller", made=made(film), sized=copy.sized_by, height=height)._asdict(),
    )


def none_made(placement: Placement, largest: float) -> Reason:
    """Return that at no height an artwork fits and can be made."""
    film, artwork = placement.film, placement.artwork
    largest_said = artwork.height_said(largest)
    words = said("fit.no-height", film=film, made=made(film), sized=artwork.sized_by, largest=largest_said)
    return reason("fit.no-height", "decline", "/artwork", words)


def _unit(artwork: SizedArtwork) -> float:
    """Return the height, in the figure's units, of what its height is given of: its capitals, or all of it."""
    figure = artwork.figure
    return figure.capital if artwork.by_letters and figure.capital is not None else figure.height
