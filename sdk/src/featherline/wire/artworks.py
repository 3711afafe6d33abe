"""Artworks, and their places on a panel."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from msgspec import Meta, Struct

from featherline.wire.quantities import Angle, Clearance, Height, LetterHeight, Offset, Turn
from featherline.wire.shoes import KeepOutKind
from featherline.wire.texts import TYPED, Identifier, PathData

TIGHTEST_ARC: Final = 1.0
LARGEST_LETTER_SPACING: Final = 2.0
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
    """Text in a font of the book; newlines divide its lines.

    Give one of `height`, of the whole artwork as cut, and `letter_height`, of a flat capital, so that all names of a
    roster have letters of one size. The other lengths are multiples of the capital height: `line_distance` from
    baseline to baseline; `letter_spacing`, added between letters; `border`, by which the letters grow on all sides (for
    an outline in another colour, place the same text with a border under it); and the radius of the `arc` along which
    the lines run, above its centre or, if negative, below it.

    With `letter_height` "largest" the letters are as large as fits at the place asked for, on a panel and in an order
    for one text: from `letters_from` to `letters_to`, where these are given. The answer says how large they are. A
    roster has letters of one size.

    With `fit_letters` "space", a text whose letters are too near one another for the film is set with the smallest
    spacing that mends it, if one does; the answer names it. A roster has one spacing for all its rows.
    """

    text: Annotated[str, Meta(min_length=1, max_length=200, examples=["MARLOW\n7"], extra={TYPED: "text"})]
    font: Identifier
    height: Height | None = None
    letter_height: LetterHeight | None = None
    letters_from: Height | None = None
    letters_to: Height | None = None
    align: Literal["left", "centre", "right"] = "centre"
    line_distance: Annotated[float, Meta(ge=1.0, le=3.0)] = 1.4
    letter_spacing: Annotated[float, Meta(ge=-0.2, le=LARGEST_LETTER_SPACING)] = 0.0
    border: Annotated[float, Meta(ge=0, le=1)] = (
        0.0  # written as `records.Share`, since `typing` takes equal ones for the same
    )
    arc: Annotated[float, Meta(ge=-1000.0, le=1000.0, extra_json_schema=_NOT_TIGHTER)] | None = None
    fit_letters: Literal["asked", "space"] = "asked"

    def __post_init__(self) -> None:
        """Refuse an artwork without exactly one height, and an arc that is too tight for letters."""
        if self.arc is not None and abs(self.arc) < TIGHTEST_ARC:
            raise ValueError(f"An arc's radius is at least {TIGHTEST_ARC:g} capital heights, above or below")
        if (self.height is None) == (self.letter_height is None):
            raise ValueError("Give the artwork one of `height` and `letter_height`, such as '22 mm'")


class PathArtwork(Struct, tag_field="kind", tag="path", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A drawing as SVG path data, scaled to `height`, in one colour of film.

    A `directional` drawing, such as an arrow to the toe, is drawn for the shoe whose panel has its toe to the
    right, and mirrored with the panel on the other one.
    """

    d: PathData
    height: Height
    fill_rule: Literal["nonzero", "evenodd"] = "nonzero"
    directional: bool = False


class SvgArtwork(Struct, tag_field="kind", tag="svg", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A drawing as an SVG document, scaled to `height`, in one colour of film.

    It may have filled `path`, `rect`, `circle`, `ellipse`, `polygon` and `polyline` elements in groups, with
    transforms, all with the same fill. Refused are strokes, text, images, references, style sheets, document types and
    scripts; a drawing inside another; more than one fill; what reaches outside the `viewBox`, or a
    `preserveAspectRatio` that would distort it; more than 2000 elements, or 32 levels of groups; and a drawing
    that encloses no area. `directional` is as for a path.
    """

    svg: Annotated[str, Meta(min_length=1, max_length=200_000)]
    height: Height
    directional: bool = False


class FileArtwork(Struct, tag_field="kind", tag="file", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A drawing as a file that a plug-in of the shop reads, scaled to `height`, in one colour of film.

    `directional` is as for a path.
    """

    media_type: MediaType
    base64: Annotated[
        str,
        Meta(
            pattern=r"^[A-Za-z0-9+/]+={0,2}$(?!\n)",
            min_length=4,
            max_length=400_000,
            description="The bytes of the file in Base64 (RFC 4648 section 4), at most 300,000.",
            extra_json_schema={"contentEncoding": "base64"},
        ),
    ]
    height: Height
    directional: bool = False


Artwork = TextArtwork | PathArtwork | SvgArtwork | FileArtwork


Rotation = Annotated[
    Angle | None,
    Meta(
        description="The rotation in the panel's drawing. Null: the artwork stands upright as the shoe is worn, as the "
        "panel says; a directional drawing, and a text placed by its baseline, are not turned."
    ),
]


class Centred(Struct, tag_field="kind", tag="centred", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The artwork's box, centred on the panel's centre."""

    rotation: Rotation = None


class At(Struct, tag_field="kind", tag="at", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The centre of the artwork's box at an offset from the panel's centre: `x` towards the toe, `y` up."""

    x: Offset
    y: Offset
    rotation: Rotation = None


class Searched(Struct, tag_field="kind", tag="searched", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The place where a search finds the largest copy, turned from `rotation` by at most `turn` in either direction."""

    rotation: Rotation = None
    turn: Turn = "0 deg"


Footprint = Annotated[
    Literal["exact", "filled", "hull"],
    Meta(
        description="The area of an artwork that must stay clear of edges and keep-outs. 'exact': the film alone, so "
        "that an eyelet may lie in a hole or between letters. 'filled': each part with its holes filled. 'hull': the "
        "convex hull of the whole, as if a taut string ran around it."
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
    """A distance above, below, behind or in front of an edge, as measured with a ruler.

    The distance is measured straight up or along the drawing, from the edge to the nearest side of the artwork's box
    or, with `line`, to the lowest baseline of a text. On a slanted or curved edge it is the smallest distance over the
    length of the artwork. `along` is the distance of the middle of the box from the panel's centre along the edge:
    towards the toe, or up. The largest copy is at the same distance from the edge. For a turned artwork on both shoes,
    the box is that of the artwork and its mirror image together.
    """

    side: Side
    edge: Edge
    distance: Clearance
    line: Literal["box", "baseline"] = "box"
    along: Offset = "0 mm"
    rotation: Rotation = None

    def __post_init__(self) -> None:
        """Refuse a baseline in front of or behind an edge."""
        if self.line == "baseline" and self.side not in {"above", "below"}:
            raise ValueError("A baseline lies above or below an edge: measure from the `box` along the shoe")


Pose = Centred | At | Searched | Anchored
