"""Letters as large as fits: the largest height between bounds with which a text fits where it is asked for."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from featherline.wire.records import Film
from featherline_service.questions.order import letter_spacing, poses
from featherline_service.questions.order.artwork_sizes import SizedArtwork
from featherline_service.questions.shoes.panels import PanelShape
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines.figures import FittedRegion, Sides
from featherline_service.shape.outlines.footprints import Footprint
from featherline_service.shape.placement import anchors, containment
from featherline_service.shape.placement.anchors import Anchor
from featherline_service.shape.placement.containment import FreeArea, Pose

STEP_MM: Final = 0.1
_ROUNDING: Final = 1e-6
_ROUNDS: Final = 8  # smaller letters may need more room between them


class Place(NamedTuple):
    """Where an artwork is to be: its panel and pose, and what must stay clear. `border` is that of a backing [mm]."""

    shape: PanelShape
    pose: Pose | Anchor | poses.Search
    sides: Sides
    footprint: Footprint
    clearance: float
    border: float = 0.0

    def largest(self, artwork: SizedArtwork) -> float | None:
        """Return the scale of an artwork's largest copy that fits there [mm per unit]; None where none does."""
        seen = FittedRegion(artwork.figure, artwork.fineness, self.sides, self.footprint)
        # A border all around takes as much room as a larger clearance.
        clearance = self.clearance + self.border
        if not isinstance(self.pose, poses.Search):
            return largest_scale(self.shape.area, seen, self.pose, clearance)
        copy = poses.searched(self.shape.area, seen, clearance, self.pose.rotation, self.pose.turn)
        return None if copy is None else copy.scale


def sized(film: Film, artwork: SizedArtwork, place: Place) -> SizedArtwork:
    """Return a text with its letters as large as fits; where it fits in no size, at the least one, if that is given.

    Args:
        film: The film, by which letters may be spaced.
        artwork: The text, at any height.
        place: Where it is to be.
    """
    bounds, capital = artwork.largest, artwork.figure.capital
    assert bounds is not None and capital is not None  # noqa: S101, PT018 - it is a text, and asked for so
    most = math.inf if bounds.most is None else bounds.most
    least = bounds.least or STEP_MM
    asked = artwork
    for _ in range(_ROUNDS):
        scale = place.largest(artwork)
        if scale is None:
            return artwork if bounds.least is None else asked.sized(least / capital)
        height = max(least, _down(min(most, scale * (artwork.figure.capital or capital))))
        sized_to = asked.sized(height / capital)
        spaced = letter_spacing.fitted(film, sized_to)
        if spaced.figure is artwork.figure or spaced is sized_to:
            return spaced
        artwork, most = spaced, height
    return artwork


def _down(height: float) -> float:
    """Return a height to a step, rounded down."""
    return math.floor(height / STEP_MM + _ROUNDING) * STEP_MM


@cached
def largest_scale(area: FreeArea, seen: FittedRegion, datum: Pose | Anchor, clearance: float) -> float | None:
    """Return the largest scale [mm per unit of the figure] at a pose or anchor."""
    if isinstance(datum, Anchor):
        return anchors.largest_scale(area, seen.region, datum, clearance)
    return containment.largest_scale(area, seen.region, datum, clearance)
