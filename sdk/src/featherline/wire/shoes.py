"""Shoes: of the book, or known by a tongue label and a ruler."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.quantities import Angle, Curvature, Length, RiseText
from featherline.wire.texts import Hex, Identifier, PathData

SizeSystem = Annotated[
    Literal["mondopoint", "EU", "UK", "UK-child", "US-men", "US-women", "US-women-FIA", "US-child", "JP"],
    Meta(
        description="A shoe size system (ISO/TS 19407). Mondopoint is in millimetres, JP in centimetres. US women's "
        "sizes are marked by one of two scales: the common one, a size and a half from men's, or the FIA's, one size."
    ),
]
Face = Annotated[
    Literal["outer", "inner", "toe", "tongue", "heel"],
    Meta(description="The face of the shoe that lies under the upper platen. Each face has its own loading."),
]
Label = Annotated[
    Literal["leather", "coated-leather", "textile", "other"],
    Meta(description="The material of the upper on the tongue label (Directive 94/11/EC)."),
]
KeepOutKind = Literal["eyelets", "seam", "perforation", "old-mark", "featherline", "collar", "toe-cap"]
Surface = Annotated[
    Literal["leather", "suede", "coated", "glossy", "woven", "knit", "foam", "rubber"],
    Meta(description="The outermost face of an upper, which the film is pressed on."),
]

Conditioning = Annotated[
    Literal["dry", "room", "damp"],
    Meta(
        description="How much water the upper holds: dried in warm air for hours, as it lies in a room, or damp from "
        "rain, cleaning or wear. Damp leather takes longer to heat and stands less heat: let it dry first."
    ),
]


ColourWords = Annotated[
    str,
    Meta(
        pattern=r"^(#[0-9a-f]{6}|[a-z]{3,24})$(?!\n)",
        max_length=24,
        description="An sRGB colour as six lower-case hexadecimal digits, or a name of CSS Color 4, such as navy: that "
        "of all panels which do not say another.",
        examples=["navy"],
    ),
]


class Size(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The size that is marked on a shoe, such as EU 42, EU 42.5 or EU 42 2/3."""

    system: SizeSystem
    value: Annotated[
        str, Meta(pattern=r"^[0-9]{1,3}(\.[0-9]{1,2}| [12]/3)?$(?!\n)", max_length=7, examples=["42", "42 2/3"])
    ]


class BookShoe(Struct, tag_field="kind", tag="book", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A shoe of the shop book, and its size.

    Certified protective footwear is pressed only with its maker's written consent: `makers_consent` says that the shop
    has it. Without it answers have no steps.
    """

    shoe: Identifier
    size: Size
    makers_consent: bool = False
    conditioning: Conditioning = "room"
    colour: Annotated[
        Identifier | None,
        Meta(description="One of the shoe's colours, for pictures and contrast. Null: its panels' own."),
    ] = None


class Rectangle(Struct, tag_field="kind", tag="rectangle", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A panel measured as a rectangle: the largest that lies wholly on the panel."""

    width: Length
    height: Length


class Ellipse(Struct, tag_field="kind", tag="ellipse", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A panel measured as an ellipse: the largest that lies wholly on the panel."""

    width: Length
    height: Length


class KeepOut(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A part of a panel that must not be marked: SVG path data in the panel's drawing."""

    what: KeepOutKind
    d: PathData


class Traced(Struct, tag_field="kind", tag="traced", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A panel traced from the shoe: SVG path data in millimetres, y downwards, toe to the right.

    `keep_outs` are its eyelets and what else must not be marked, in the same drawing. Every line ends where it begins,
    or with `Z`; others are refused, for an edge may be missing. `/v1/tracings` returns all of it from a file.
    """

    d: PathData
    keep_outs: Annotated[tuple[KeepOut, ...], Meta(max_length=64)] = ()


class Rise(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a panel curves, by a straight edge such as a ruler or a strip of stiff paper, held against it."""

    rise: RiseText


class MeasuredPanel(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A panel of a walk-in shoe, measured with a ruler. An unknown curvature counts as tight.

    `curvature` counts both ways, along the shoe and across; where `curvature_across` is given, along it alone.

    A panel is measured clear of the sole, where the upper is lasted and glued; one that is not says so.
    """

    panel: Identifier
    face: Face = "outer"
    shape: Rectangle | Ellipse | Traced
    curvature: Curvature | Rise | None = None
    curvature_across: Annotated[
        Curvature | Rise | None,
        Meta(description="How it curves across the shoe, in the drawing up and down. Null: as `curvature` says."),
    ] = None
    up: Annotated[
        Angle | None,
        Meta(
            description="The direction in the drawing that is up for whoever looks at the worn shoe, counter-clockwise "
            "from the right. Null: '90 deg', but '180 deg' for a tongue or toe that is traced, its toe to the right."
        ),
    ] = None
    colour: Hex | None = None
    over_lasting_margin: Annotated[
        bool, Meta(description="Whether it reaches down to the sole, over the margin that is glued under the last.")
    ] = False


class ShoeTests(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What was seen when an unknown upper was tested without harm, each test at a place that does not show.

    An outcome rules out only uppers that cannot have it, and none makes a shoe better known than for a trial.
    """

    water_drop: Annotated[
        Literal["soaks-in", "beads"] | None,
        Meta(description="A drop of water on the bare face, away from seams and holes, after a minute."),
    ] = None
    fingernail: Annotated[
        Literal["dents", "none"] | None,
        Meta(description="A thumbnail pressed in for a second: whether a dent is still seen after another."),
    ] = None
    thread: Annotated[
        Literal["sinks", "floats"] | None,
        Meta(description="A thread teased from the face, in water with a drop of dish soap, its bubbles wiped off."),
    ] = None
    marking: Annotated[
        Literal["pvc-free", "pvc", "none"] | None,
        Meta(description="What the maker says of the whole shoe, on it or on its sheet. A sole's mark is of the sole."),
    ] = None


class MeasuredShoe(Struct, tag_field="kind", tag="measured", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A walk-in shoe, known by its tongue label and a ruler.

    Unknown properties count as the worst that the label allows, and the verdict is never better than `trial`. `surface`
    is the surface that the upper shows: only the label's uppers with that surface are considered. `tests` are harmless
    tests of the upper: only the uppers that can have those outcomes are considered. `upper` is the upper that a trial
    or the maker has named: it replaces the label, and the verdict is that of the upper.
    """

    label: Label
    surface: Surface | None = None
    tests: ShoeTests | None = None
    upper: Identifier | None = None
    panels: Annotated[tuple[MeasuredPanel, ...], Meta(min_length=1, max_length=12)]
    inside_length: Length | None = None
    width: Annotated[Length | None, Meta(description="Across the sole at its widest.")] = None
    height: Annotated[Length | None, Meta(description="From the ground to the top.")] = None
    heel_collapses: bool | None = None
    conditioning: Conditioning = "room"
    colour: ColourWords | None = None


Shoe = BookShoe | MeasuredShoe
