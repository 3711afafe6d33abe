"""Where a pose puts an artwork on its panel, and how the bench says so."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final, NamedTuple

from msgspec import Struct

from featherline.wire import artworks
from featherline.wire.artworks import Anchored, At, Searched
from featherline_service.messages.told import measured, told
from featherline_service.messages.values import Quantity, Speaker, Value, in_english
from featherline_service.quantities import length, millimetres, radians
from featherline_service.questions.checks import Checks
from featherline_service.questions.order.artwork_sizes import SizedArtwork
from featherline_service.questions.shoes.panels import PanelShape
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.figures import FittedRegion
from featherline_service.shape.placement import anchors, largest_copy
from featherline_service.shape.placement.anchors import Anchor, AnchorError
from featherline_service.shape.placement.containment import FreeArea, Pose

FARTHEST_MM: Final = 1000.0
_LEAST_SAID_MM: Final = 0.05
_LEAST_SAID_RAD: Final = math.radians(0.05)


class Search(Struct, frozen=True):
    """A pose to search for: the middle of the range of rotations, and the most that it may differ from that [rad]."""

    rotation: float
    turn: float


AnyPose = Pose | Anchor | Search


class Position(Struct, frozen=True):
    """Where an artwork lies at the size asked for.

    `datum` is what a larger or smaller copy keeps to: its centre, or its anchor. `largest` is the scale of the largest
    copy that a search found to fit; None when the pose was given.
    """

    pose: Pose
    datum: Pose | Anchor
    largest: float | None = None
    turned_upright: bool = False
    """The request gave no rotation, and the artwork is turned to stand upright as the shoe is worn."""


def read(
    asked: artworks.Pose, shape: PanelShape | None, artwork: SizedArtwork | None, checks: Checks
) -> Pose | Anchor | Search | None:
    """Return a pose in millimetres and radians, a given one's centre from the panel's origin; note what cannot be."""
    rotation = _rotation(asked, shape, artwork, checks)
    match asked:
        case Searched():
            turn = checks.value(radians, asked.turn, "/pose/turn")
            if rotation is None or turn is None:
                return None
            return Search(_once_round(rotation), min(turn, math.pi))
        case Anchored():
            return _anchor(asked, rotation, shape, artwork, checks)
        case At():
            lengths = _lengths({"x": asked.x, "y": asked.y}, checks)
        case _:
            lengths = (0.0, 0.0)
    if rotation is None or lengths is None or shape is None:
        return None
    return Pose(shape.centre[0] + lengths[0], shape.centre[1] + lengths[1], _once_round(rotation))


def _rotation(
    asked: artworks.Pose, shape: PanelShape | None, artwork: SizedArtwork | None, checks: Checks
) -> float | None:
    """Return the rotation of a pose [rad]; without one, that of an artwork upright as worn, if it is to be turned."""
    if asked.rotation is not None:
        return checks.value(radians, asked.rotation, "/pose/rotation")
    if shape is None or artwork is None:
        return 0.0
    is_level = isinstance(asked, Anchored) and asked.line == "baseline"
    return 0.0 if artwork.is_directional or is_level else shape.upright


def _once_round(rotation: float) -> float:
    return math.fmod(rotation, 2.0 * math.pi)


def _lengths(texts: dict[str, str], checks: Checks) -> tuple[float, ...] | None:
    """Return lengths of a pose by their fields' names; note one that is larger than any shoe."""
    lengths = tuple(
        length
        for name, text in texts.items()
        if (length := checks.value(millimetres, text, f"/pose/{name}")) is not None
    )
    if len(lengths) < len(texts):
        return None
    if max(map(abs, lengths)) > FARTHEST_MM:
        checks.note(
            "/pose",
            told(
                "pose.off-the-shoe",
                "That is off any shoe: give offsets of at most {farthest}",
                farthest=measured(FARTHEST_MM, "mm"),
            ),
        )
    return lengths


def _anchor(
    asked: Anchored, rotation: float | None, shape: PanelShape | None, artwork: SizedArtwork | None, checks: Checks
) -> Anchor | None:
    lengths = _lengths({"distance": asked.distance, "along": asked.along}, checks)
    if rotation is None or lengths is None or shape is None or artwork is None:
        return None
    if shape.face == "heel" and asked.side in {"behind", "in-front-of"}:
        checks.note(
            "/pose/side", told("pose.heel-side", "A heel is seen from behind: place the artwork above or below an edge")
        )
    level = None
    if asked.line == "baseline":
        level = artwork.figure.baseline
        if level is None:
            checks.note(
                "/pose/line",
                told("pose.no-baseline", "Only straight lines of text have a baseline: measure from the `box`"),
            )
        if rotation:
            checks.note(
                "/pose/rotation",
                told("pose.baseline-turned", "A baseline is level: do not turn it, or measure from the `box`"),
            )
    distance, along = lengths
    return Anchor(asked.side, asked.edge, distance, along, shape.centre, _once_round(rotation), level)


def position(
    pose: Pose | Anchor | Search,
    shape: PanelShape,
    seen: FittedRegion,
    scale: float,
    *,
    clearance: float,
    checks: Checks,
) -> Position | None:
    """Return where an artwork lies by its pose.

    Note that the panel has not the edge that it is to be placed by, or that a search would take too long.
    """
    try:
        match pose:
            case Pose():
                return Position(pose=pose, datum=pose)
            case Anchor():
                return Position(pose=_anchored(shape.area, seen, pose, scale), datum=pose)
            case Search():
                copy = searched(shape.area, seen, clearance, pose.rotation, pose.turn)
    except (AnchorError, DrawingError) as error:
        checks.note("/pose", error.told)
        return None
    if copy is None:
        centred = Pose(*shape.centre, pose.rotation)
        return Position(pose=centred, datum=centred)
    return Position(pose=copy.pose, datum=copy.pose, largest=copy.scale)


@cached
def _anchored(area: FreeArea, seen: FittedRegion, anchor: Anchor, scale: float) -> Pose:
    return anchors.pose(area, seen.region, anchor, scale)


@cached
def searched(
    area: FreeArea, seen: FittedRegion, clearance: float, rotation: float, turn: float
) -> largest_copy.Copy | None:
    """Return the largest copy that fits, if a search finds one."""
    return largest_copy.largest_copy(area, seen.region, clearance, rotation, turn)


class Where(NamedTuple):
    """Where an artwork lies, as the bench lays it out with a ruler: a message and its values."""

    message: str
    values: Mapping[str, Value]


def where(there: Position, shape: PanelShape, units: str) -> Where:
    """Return where an artwork lies."""
    along, up = there.pose.x - shape.centre[0], there.pose.y - shape.centre[1]
    angle = there.pose.rotation
    turned = {
        "angle": Quantity(round(math.degrees(angle), 1), "deg", 1) if abs(angle) >= _LEAST_SAID_RAD else None,
        "upright": "yes" if there.turned_upright else "no",
    }
    if isinstance(there.datum, Anchor):
        return Where("place.anchored", {**_by_anchor(there.datum, (along, up), shape, units), **turned})
    if math.hypot(along, up) < _LEAST_SAID_MM:
        return Where("place.centred", turned)
    level = length(abs(along), units) if abs(along) >= _LEAST_SAID_MM else None
    upright = length(abs(up), units) if abs(up) >= _LEAST_SAID_MM else None
    first, way = level or length(abs(along), units), _way_along(along, shape)
    if level is None and upright is not None:
        first, way, upright = upright, _way_up(up), None
    offset = {"first": first, "way": way, "second": upright, "sense": _way_up(up)}
    return Where("place.offset", {**offset, **turned})


def say(there: Position, shape: PanelShape, units: str, tell: Speaker | None = None) -> str:
    """Return in words where an artwork lies; in English if nobody else `tell`s it."""
    message, values = where(there, shape, units)
    return (tell or in_english())(message, **values)


def _by_anchor(anchor: Anchor, middle: tuple[float, float], shape: PanelShape, units: str) -> Mapping[str, Value]:
    along, up = middle
    beside = anchor.side in {"above", "below"}
    off = along if beside else up
    return {
        "from": "box" if anchor.level is None else "baseline",
        "side": anchor.side,
        "distance": length(anchor.distance, units),
        "edge": "edge" if anchor.edge == anchors.PANEL else anchor.edge,
        "offset": length(abs(off), units) if abs(off) >= _LEAST_SAID_MM else None,
        "way": _way_along(along, shape) if beside else _way_up(up),
    }


def _way_along(along: float, shape: PanelShape) -> str:
    ways = ("right", "left") if shape.face == "heel" else ("toe", "away")
    return ways[along < 0.0]


def _way_up(up: float) -> str:
    return "down" if up < 0.0 else "up"
