"""Where a pose that a request names puts an artwork on its panel, and how the bench says so."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from featherline.wire import artworks
from featherline.wire.artworks import Anchored, At, Searched
from featherline.wire.problems import Fault
from featherline_service.quantities import millimetres, radians, say_length
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.order.artwork_sizes import SizedArtwork
from featherline_service.questions.shoes.panels import FoundPanel
from featherline_service.runtime.cache import kept
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.figures import Seen
from featherline_service.shape.placement import anchors, largest_copy
from featherline_service.shape.placement.anchors import Anchor, AnchorError
from featherline_service.shape.placement.containment import FreeArea, Pose

FARTHEST_MM: Final = 1000.0
_BOX_SIDES: Final = {"above": "lower", "below": "upper", "behind": "front", "in-front-of": "rear"}
_LEAST_SAID_MM: Final = 0.05
_LEAST_SAID_RAD: Final = math.radians(0.05)


@dataclass(frozen=True)
class Search:
    """A pose to be looked for: the middle of the range of rotations, and how far it may leave that either way [rad]."""

    rotation: float
    turn: float


@dataclass(frozen=True)
class FoundPose:
    """Where an artwork lies at the size asked for.

    `held` is what a larger or smaller copy keeps to: its centre, or its anchor. `found` is the scale of the largest
    copy that a search found to fit; None when the pose was given.
    """

    pose: Pose
    held: Pose | Anchor
    found: float | None = None


def read(
    asked: artworks.Pose, panel: FoundPanel | None, artwork: SizedArtwork | None, checks: Checks
) -> Pose | Anchor | Search | None:
    """Return a pose in millimetres and radians, a given one's centre from the panel's origin; note what cannot be."""
    rotation = checks.value(radians, asked.rotation, "/pose/rotation")
    match asked:
        case Searched():
            turn = checks.value(radians, asked.turn, "/pose/turn")
            if rotation is None or turn is None:
                return None
            return Search(_once_round(rotation), min(turn, math.pi))
        case Anchored():
            return _anchor(asked, rotation, panel, artwork, checks)
        case At():
            lengths = _lengths({"x": asked.x, "y": asked.y}, checks)
        case _:
            lengths = (0.0, 0.0)
    if rotation is None or lengths is None or panel is None:
        return None
    return Pose(panel.centre[0] + lengths[0], panel.centre[1] + lengths[1], _once_round(rotation))


def _once_round(rotation: float) -> float:
    return math.fmod(rotation, 2.0 * math.pi)


def _lengths(texts: dict[str, str], checks: Checks) -> tuple[float, ...] | None:
    """Return lengths of a pose by their fields' names; note one that leads off any shoe."""
    found = [checks.value(millimetres, text, f"/pose/{name}") for name, text in texts.items()]
    lengths = tuple(length for length in found if length is not None)
    if len(lengths) < len(found):
        return None
    if max(map(abs, lengths)) > FARTHEST_MM:
        checks.note("/pose", f"That is off any shoe: give offsets of at most {FARTHEST_MM:.0f} mm")
    return lengths


def _anchor(
    asked: Anchored, rotation: float | None, panel: FoundPanel | None, artwork: SizedArtwork | None, checks: Checks
) -> Anchor | None:
    lengths = _lengths({"distance": asked.distance, "along": asked.along}, checks)
    if rotation is None or lengths is None or panel is None or artwork is None:
        return None
    if panel.face == "heel" and asked.side in {"behind", "in-front-of"}:
        checks.note("/pose/side", "A heel is seen from behind: place the artwork above or below an edge")
    level = None
    if asked.line == "baseline":
        level = artwork.figure.baseline
        if level is None:
            checks.note("/pose/line", "Only straight lines of text have a baseline: measure from the `box`")
        if rotation:
            checks.note("/pose/rotation", "A baseline is level: do not turn it, or measure from the `box`")
    distance, along = lengths
    return Anchor(asked.side, asked.edge, distance, along, panel.centre, _once_round(rotation), level)


def resolve(read: Pose | Anchor | Search, panel: FoundPanel, seen: Seen, scale: float, clearance: float) -> FoundPose:
    """Return where an artwork lies by a pose that was read.

    Raises:
        RefusedError: The panel has not the edge that it is to be placed by, or a search would take too long.
    """
    try:
        match read:
            case Pose():
                return FoundPose(pose=read, held=read)
            case Anchor():
                return FoundPose(pose=_anchored(panel.area, seen, read, scale), held=read)
            case Search():
                copy = _searched(panel.area, seen, clearance, read.rotation, read.turn)
    except (AnchorError, DrawingError) as error:
        raise RefusedError((Fault(pointer="/pose", detail=str(error)),)) from error
    if copy is None:
        centred = Pose(*panel.centre, read.rotation)
        return FoundPose(pose=centred, held=centred)
    return FoundPose(pose=copy.pose, held=copy.pose, found=copy.scale)


@kept
def _anchored(area: FreeArea, seen: Seen, anchor: Anchor, scale: float) -> Pose:
    return anchors.pose(area, seen.region, anchor, scale)


@kept
def _searched(area: FreeArea, seen: Seen, clearance: float, rotation: float, turn: float) -> largest_copy.Found | None:
    """Return the largest copy that was found to fit, whatever the height asked for."""
    return largest_copy.largest_copy(area, seen.region, clearance, rotation, turn)


def say(asked: artworks.Pose, there: Pose, panel: FoundPanel, units: str) -> str:
    """Return where an artwork lies, as the bench lays it out with a ruler."""
    along, up = there.x - panel.centre[0], there.y - panel.centre[1]
    match asked:
        case Anchored():
            said = ", ".join(_by_anchor(asked, along, up, panel, units))
        case _ if math.hypot(along, up) < _LEAST_SAID_MM:
            said = "Centred on the panel"
        case _:
            said = f"Its middle {_say_along(along, panel, units)} and {_say_up(up, units)} from the panel's centre"
    turned = "" if abs(there.rotation) < _LEAST_SAID_RAD else f", turned by {math.degrees(there.rotation):.1f} degrees"
    return f"{said}{turned}."


def _by_anchor(asked: Anchored, along: float, up: float, panel: FoundPanel, units: str) -> Iterator[str]:
    what = "baseline" if asked.line == "baseline" else f"{_BOX_SIDES[asked.side]} side"
    edge = anchors.edge_name(asked.edge)
    yield f"Its {what} {say_length(millimetres(asked.distance), units)} {asked.side.replace('-', ' ')} {edge}"
    upright = asked.side in {"above", "below"}
    if abs(along if upright else up) < _LEAST_SAID_MM:
        yield "centred on the panel along it"
    else:
        offset = _say_along(along, panel, units) if upright else _say_up(up, units)
        yield f"its middle {offset} from the panel's centre"


def _say_along(along: float, panel: FoundPanel, units: str) -> str:
    ways = ("to the right", "to the left") if panel.face == "heel" else ("towards the toe", "away from the toe")
    return f"{say_length(abs(along), units)} {ways[along < 0.0]}"


def _say_up(up: float, units: str) -> str:
    return f"{say_length(abs(up), units)} {'down' if up < 0.0 else 'up'}"
