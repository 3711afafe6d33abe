"""What is to be marked, and where on the panel."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from msgspec import Meta, Struct

from featherline.wire.quantities import Angle, Clearance, Length, Offset, Turn
from featherline.wire.shoes import KeepOutKind
from featherline.wire.texts import Identifier, PathData

TIGHTEST_ARC: Final = 1.0
_NOT_TIGHTER: Final = {"not": {"exclusiveMinimum": -TIGHTEST_ARC, "exclusiveMaximum": TIGHTEST_ARC}}


MediaType = Annotated[
    str,
    Meta(
        pattern=r"^[a-z0-9][a-z0-9!#$&^_.+-]{0,62}/[a-z0-9][a-z0-9!#$&^_.+-]{0,62}$(?!\n)",
        max_length=127,
        description="A media type (RFC 6838) in lower case, without parameters.",
        examples=["image/x-outline"],
    ),
]


class TextArtwork(Struct, tag_field="kind", tag="text", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Lines of text in a font of the book, divided by newlines.

    Give one of `height`, the whole artwork as cut, and `letter_height`, a flat capital (so that the names of a roster
    match). Other lengths are in capital heights, so that they grow with the letters: `line_distance` from baseline to
    baseline, `letter_spacing` added between letters, a `border` that the letters are grown by (an outline beneath them
    in another colour is the same text with a border), and the radius of an `arc` that lines run along, above its centre
    or, when negative, below it.
    """

    text: Annotated[str, Meta(min_length=1, max_length=200, examples=["MARLOW\n7"])]
    font: Identifier
    height: Length | None = None
    letter_height: Length | None = None
    align: Literal["left", "centre", "right"] = "centre"
    line_distance: Annotated[float, Meta(ge=1.0, le=3.0)] = 1.4
    letter_spacing: Annotated[float, Meta(ge=-0.2, le=2.0)] = 0.0
    border: Annotated[float, Meta(ge=0, le=1)] = 0.0  # as `records.Share`: `typing` takes one for the other
    arc: Annotated[float, Meta(ge=-1000.0, le=1000.0, extra_json_schema=_NOT_TIGHTER)] | None = None

    def __post_init__(self) -> None:
        """Refuse an artwork with no height or with two, and an arc too tight for any letter."""
        if self.arc is not None and abs(self.arc) < TIGHTEST_ARC:
            raise ValueError(f"An arc's radius is at least {TIGHTEST_ARC:g} capital heights, above or below")
        if (self.height is None) == (self.letter_height is None):
            raise ValueError("Give the artwork one of `height` and `letter_height`, such as '22 mm'")


class PathArtwork(Struct, tag_field="kind", tag="path", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A drawing as SVG path data, brought to `height`, in one colour of film.

    A `directional` one, such as an arrow to the toe, is drawn for the right shoe and mirrored on the left.
    """

    d: PathData
    height: Length
    fill_rule: Literal["nonzero", "evenodd"] = "nonzero"
    directional: bool = False


class SvgArtwork(Struct, tag_field="kind", tag="svg", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A drawing as an SVG document, brought to `height`, in one colour of film.

    Filled `path`, `rect`, `circle`, `ellipse`, `polygon` and `polyline` in groups, with transforms, all of one fill.
    Strokes, text, images, references, style sheets, document types and scripts are refused. `directional` is as for a
    path.
    """

    svg: Annotated[str, Meta(min_length=1, max_length=200_000)]
    height: Length
    directional: bool = False


class FileArtwork(Struct, tag_field="kind", tag="file", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A drawing as a file of a kind that a plug-in of the shop reads, brought to `height`, in one colour of film.

    `directional` is as for a path.
    """

    media_type: MediaType
    base64: Annotated[
        str,
        Meta(
            pattern=r"^[A-Za-z0-9+/]+={0,2}$(?!\n)",
            min_length=4,
            max_length=400_000,
            description="The bytes of the file in Base64 (RFC 4648 section 4), up to 300,000 of them.",
            extra_json_schema={"contentEncoding": "base64"},
        ),
    ]
    height: Length
    directional: bool = False


Artwork = TextArtwork | PathArtwork | SvgArtwork | FileArtwork


class Centred(Struct, tag_field="kind", tag="centred", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The artwork's box centred on the panel's centre."""

    rotation: Angle = "0 deg"


class At(Struct, tag_field="kind", tag="at", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The centre of the artwork's box at an offset from the panel's centre: `x` towards the toe, `y` up."""

    x: Offset
    y: Offset
    rotation: Angle = "0 deg"


class Searched(Struct, tag_field="kind", tag="searched", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Wherever on the panel the largest copy was found to fit, turned by at most `turn` either way from `rotation`."""

    rotation: Angle = "0 deg"
    turn: Turn = "0 deg"


Footprint = Annotated[
    Literal["exact", "filled", "hull"],
    Meta(
        description="What of an artwork of several parts counts against edges and keep-outs: the film as it is, so "
        "that an eyelet may lie in a hole or between letters; each part with its holes filled; or all within a taut "
        "string around the whole (its convex hull)."
    ),
]
Side = Literal["above", "below", "behind", "in-front-of"]
Edge = Annotated[
    Literal["panel", KeepOutKind],
    Meta(
        description="The edge of the panel, or of a part of it that must not be marked. The featherline is the line "
        "where the upper meets the sole, not the strip along it."
    ),
]


class Anchored(Struct, tag_field="kind", tag="anchored", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """At a distance above, below, behind or in front of an edge of the panel, as with a ruler.

    The distance is from the edge to the nearest side of the artwork's box or, by `line`, to the lowest baseline of a
    text, and straight up or along the drawing. Where the edge runs aslant or in a curve, it counts where it comes
    nearest over the length that the artwork takes of it. `along` is how far the middle of the box lies from the panel's
    centre along the edge: towards the toe, or up. The largest copy is at the same distance from the edge. The box of a
    turned artwork that goes on both shoes is that of it and its mirror image.
    """

    side: Side
    edge: Edge
    distance: Clearance
    line: Literal["box", "baseline"] = "box"
    along: Offset = "0 mm"
    rotation: Angle = "0 deg"

    def __post_init__(self) -> None:
        """Refuse a baseline that is asked to be in front of an edge or behind it."""
        if self.line == "baseline" and self.side not in {"above", "below"}:
            raise ValueError("A baseline lies above or below an edge: measure from the `box` along the shoe")


Pose = Centred | At | Searched | Anchored
