"""The records of the shop book.

The unit of a number ends its name. Spreads are relative: a value with spread `s` lies between `value / (1 + s)` and
`value * (1 + s)` with 95 % probability. Every physical value has a citation of a source record.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.money import Charge, Currency, UnsignedDecimals
from featherline.wire.shoes import Face, KeepOut, Label, SizeSystem, Surface
from featherline.wire.texts import Hex, Identifier, LanguageTag, Name, PathData, Sentence
from featherline.wire.verdicts import Evidence, MessageId

Positive = Annotated[float, Meta(gt=0, le=1e9)]
Unsigned = Annotated[float, Meta(ge=0, le=1e9)]
Celsius = Annotated[float, Meta(ge=-50, le=400)]
Share = Annotated[float, Meta(ge=0, le=1)]
Count = Annotated[int, Meta(ge=1, le=100_000)]

PressureLevel = Literal["light", "medium", "firm"]
PeelWhen = Literal["hot", "warm", "cold"]
BondOutcome = Annotated[
    Literal["holds", "edges-lift", "lifts"], Meta(description="Whether a film held once it was cold.")
]
UpperOutcome = Annotated[
    Literal["unchanged", "shiny", "marked", "deformed"],
    Meta(description="How an upper looked after a pressing, from the best to the worst."),
]
GaugeKind = Annotated[
    Literal["thermocouple-class-1", "thermocouple-class-2", "strip"],
    Meta(description="A thermocouple of tolerance class 1 or 2 (IEC 60584), or an irreversible temperature strip."),
]
Role = Literal["platen", "cover", "carrier", "film", "upper", "pad", "lower-platen"]


class LocalName(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The name of a record in a language."""

    language: LanguageTag
    name: Name


LocalNames = Annotated[
    tuple[LocalName, ...], Meta(max_length=32, description="Its name in other languages than the shop's.")
]


class ShopMessage(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A message of the shop's own, in the place of the service's: a pattern of ICU MessageFormat.

    For a language that the service lacks, or the message of a plug-in's reason, it is added.
    """

    language: LanguageTag
    message: MessageId
    pattern: Annotated[str, Meta(min_length=1, max_length=2000)]


class Citation(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The source of some values of a record: their field names, a source record, and the place in it."""

    values: Annotated[tuple[str, ...], Meta(min_length=1)]
    source: Identifier
    at: str = ""


class Source(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A source that records cite: a publication, common practice, memory, or our own invention."""

    id: Identifier
    name: Name
    kind: Literal["published", "practice", "memory", "invented"]
    reference: Sentence


class Exposure(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How long a material withstands a temperature, and the activation energy of its damage (Arrhenius)."""

    temperature_c: Celsius
    longest_s: Positive
    activation_kj_mol: Positive


class HeatLimit(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The highest temperature of a material in a pressing of about half a minute, and the evidence for it."""

    peak_c: Celsius
    spread_k: Unsigned
    evidence: Evidence
    harm: Annotated[str, Meta(description="What happens above it, as a clause: 'it shrinks'.")]
    exposure: Exposure | None = None


class Material(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A solid, foam or fabric: its thermal properties and its heat limit."""

    id: Identifier
    name: Name
    conductivity_w_mk: Positive
    conductivity_spread: Unsigned
    density_kg_m3: Positive
    heat_capacity_j_kgk: Positive
    capacity_spread: Unsigned
    limit: HeatLimit
    vinyl: bool = False
    solid_density_kg_m3: Annotated[
        Positive | None, Meta(description="Of what a fabric or foam is made of, without its pores.")
    ] = None
    dry: Annotated[
        Identifier | None, Meta(description="The same material dried in warm air; null where water matters little.")
    ] = None
    damp: Annotated[Identifier | None, Meta(description="The same material damp; null where water matters little.")] = (
        None
    )
    cites: tuple[Citation, ...]


class Layer(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A layer of a stack, named for people. A bonded layer has no contact resistance to the layer above it."""

    name: Name
    material: Identifier
    thickness_mm: Positive
    thickness_spread: Unsigned = 0.1
    bonded: bool = False


class Contact(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Contact conductance between two kinds of layer: `conductance * (pressure / reference) ** exponent`."""

    id: Identifier
    name: Name
    above: Role
    below: Role
    conductance_w_m2k: Positive
    reference_kpa: Positive
    exponent: Share
    spread: Unsigned
    cites: tuple[Citation, ...]


class Upper(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, cache_hash=True):
    """The layers of a shoe's upper, from the marked face inwards.

    `labels` are the tongue labels that it is sold under: a walk-in shoe so labelled may have it. `lasting_margin` is
    whether it is found only where a shoe is lasted, next to the sole.
    """

    id: Identifier
    name: Name
    labels: Annotated[tuple[Label, ...], Meta(min_length=1, max_length=4)]
    lasting_margin: bool = False
    surface: Surface
    layers: Annotated[tuple[Layer, ...], Meta(min_length=1, max_length=8)]
    cites: tuple[Citation, ...]
    note: str = ""


class TongueLabel(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A label of Directive 94/11/EC. The uppers that it may mean are those of the book that are sold under it."""

    id: Label
    name: Name


class Carrier(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The liner that a film is supplied on and pressed through."""

    material: Identifier
    thickness_mm: Positive
    thickness_spread: Unsigned = 0.1
    sticky: bool


class FilmSetting(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The maker's published setting: ranges of temperature and dwell, and the pressure, on cotton without a cover.

    The dwells say how the film is bonded there, in a range or as a single value; they do not limit how long it may be
    pressed on something else. A limit is stated as `Overpressing`.
    """

    coolest_c: Celsius
    hottest_c: Celsius
    shortest_s: Positive
    longest_s: Positive
    pressure: PressureLevel
    also: Annotated[
        tuple[PressureLevel, ...], Meta(max_length=2, description="Other pressure levels that the maker allows.")
    ] = ()


class Overpressing(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The harm that longer pressing does to a film, and the dwell of its published setting from which on it does so.

    `longest_s` is on cotton without a cover, at the middle of the setting's temperatures.
    """

    harm: Annotated[str, Meta(description="What happens beyond it, as a clause: 'its gloss fades'.")]
    longest_s: Positive
    evidence: Evidence


class Adhesive(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The adhesive of a film: its softening temperature, and the activation energy of its flow, with a band."""

    onset_c: Celsius
    onset_spread_k: Annotated[Unsigned | None, Meta(description="With 95 % probability; null: 5 K.")] = None
    activation_kj_mol: Positive
    activation_low_kj_mol: Positive
    activation_high_kj_mol: Positive


class NeededShare(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The share of the dose of a film's shortest published dwell that the film needs, with 95 % probability.

    A setting is published so that it bonds on every bench that follows it, so most films need less than it gives. The
    share is log-normal.
    """

    low: Positive
    high: Positive


class Peel(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """When to peel the carrier: while the bond line is between `coolest_c` and `hottest_c`.

    Without these, as soon as the press is open and the cover sheet is off.
    """

    when: PeelWhen
    coolest_c: Celsius | None = None
    hottest_c: Celsius | None = None


class Finest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The finest detail that a film can be cut and weeded to."""

    stroke_mm: Positive
    gap_mm: Positive
    island_mm2: Positive


class Colour(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A colour of a film. `effect` is what an sRGB value does not show."""

    id: Identifier
    name: Name
    names: LocalNames = ()
    hex: Hex
    effect: Literal["none", "metallic", "reflective", "fluorescent", "flake", "glow"] = "none"


class Roll(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A roll of film and its price."""

    width_mm: Positive
    length_m: Positive
    price: Charge
    sold_by_m: Annotated[
        Positive | None,
        Meta(description="The supplier cuts multiples of this length from the roll; null: it sells whole rolls."),
    ] = None


class Cutting(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The values for cutting and weeding a film."""

    border_mm: Annotated[float, Meta(ge=0, le=50, description="The weed border around each piece.")]
    gap_mm: Annotated[float, Meta(ge=0, le=50, description="The distance between pieces on the roll.")]
    passes: Annotated[int, Meta(ge=1, le=4)]
    force_g: Positive
    blade: Name
    weeding_ease: Annotated[
        Positive,
        Meta(description="Weeding time relative to that of the rates: 1 for smooth film, 2 for twice as long."),
    ]


class Practice(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A statement of the trade: the film is pressed on an upper at a setting, and what comes of it.

    It is pressed on the bench's reference pad, at its reference pressures. `dwell_spread` is how far the stated dwell
    may be off for this stack, `limit_spread_k` how far the temperature at which its upper would change. Statements of
    one `habit` have an error in common, by `habit_spread`: what shops call half a minute.
    """

    id: Identifier
    name: Name
    upper: Identifier
    cover: Identifier | None = None
    temperature_c: Celsius
    pressure: PressureLevel
    dwell_s: Positive
    dwell_spread: Unsigned
    bond: BondOutcome | None = None
    upper_looks: UpperOutcome | None = None
    limit_spread_k: Unsigned
    habit: Name | None = None
    habit_spread: Unsigned = 0.0


class Film(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, cache_hash=True):
    """A class of heat-applied film. `cutting` is null for a printed transfer, which is neither cut nor weeded."""

    id: Identifier
    name: Name
    names: LocalNames = ()
    family: Literal["smooth", "stretch", "flock", "metallic", "reflective", "flake", "glow", "printed"]
    layers: Annotated[
        tuple[Layer, ...], Meta(min_length=1, max_length=4, description="The layers from the face to the bond line.")
    ]
    carrier: Carrier
    setting: FilmSetting
    overpressing: Overpressing | None = None
    needed_share: Annotated[NeededShare | None, Meta(description="Null: 0.53 to 1.06.")] = None
    practices: Annotated[
        tuple[Practice, ...], Meta(max_length=50, description="What the trade does with it, as observations.")
    ] = ()
    adhesive: Adhesive
    peel: Peel
    finest: Finest
    bonds_to: Annotated[tuple[Surface, ...], Meta(min_length=1)]
    takes_film: Annotated[bool, Meta(description="Whether another film holds on its face.")] = False
    stretch: Share
    cut_mirrored: bool
    cutting: Cutting | None = None
    colours: Annotated[tuple[Colour, ...], Meta(min_length=1)]
    roll: Roll
    cites: tuple[Citation, ...]
    note: str = ""


class Cover(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, cache_hash=True):
    """A cover sheet, laid over the film and the shoe before the press closes."""

    id: Identifier
    name: Name
    layers: Annotated[tuple[Layer, ...], Meta(min_length=1, max_length=3)]
    price: Charge
    lasts_presses: Count
    cites: tuple[Citation, ...]


class Compression(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A point on the compression curve of a pad: the share of its thickness that it loses at a pressure."""

    pressure_kpa: Unsigned
    strain: Annotated[float, Meta(ge=0, lt=0.95)]


class Pad(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The resilient pad of a lower platen."""

    id: Identifier
    name: Name
    material: Identifier
    thickness_mm: Positive
    thickness_spread: Unsigned = 0.1
    compression: Annotated[tuple[Compression, ...], Meta(min_length=2, max_length=12)]
    cites: tuple[Citation, ...]


class Platen(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, cache_hash=True):
    """An interchangeable lower platen with its pad, in a common form or cut to order.

    The pad is a rectangle, or has an `outline` in millimetres with the shoe's toe to the right. Artwork must lie at
    least `rim_mm` inside its edge, which is rounded and presses less, and as far from the featherline, where the pad
    would reach under the edge of the sole. The platen takes shoes from an inside length on, `shoes_at_once` side by
    side.
    """

    id: Identifier
    name: Name
    pad: Identifier
    length_mm: Positive
    width_mm: Positive
    outline: PathData | None = None
    rim_mm: Unsigned
    smallest_inside_length_mm: Positive
    shoes_at_once: Annotated[int, Meta(ge=1, le=8)]
    faces: Annotated[tuple[Face, ...], Meta(min_length=1)]
    cites: tuple[Citation, ...]


class Pressures(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The pressures at the platen for the levels light, medium and firm."""

    light_kpa: Positive
    medium_kpa: Positive
    firm_kpa: Positive


class Press(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, cache_hash=True):
    """A heat press: its range of settings and its lower platens, the best first.

    `opening_mm` is the height between the pad and the middle of the open upper platen; null if the platen swings or
    slides away, so that a shoe of any height fits.
    """

    id: Identifier
    name: Name
    opening: Literal["clam", "swing-away", "self-opening"]
    opening_mm: Positive | None = None
    coolest_c: Celsius
    hottest_c: Celsius
    step_c: Positive
    step_f: Positive
    step_s: Positive
    platen_spread_k: Unsigned
    platen_offset_k: Annotated[
        Annotated[float, Meta(ge=-50, le=50)] | None,
        Meta(description="How much hotter the platen's face is than what it is set to; null: not measured, and zero."),
    ] = None
    pressures: Pressures
    platens: Annotated[tuple[Identifier, ...], Meta(min_length=1)]
    on_stand: bool
    cites: tuple[Citation, ...]


class RecordedReading(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a gauge read in the stack while the press was closed.

    `above` is the layer on whose upper face the gauge lay, or 'bond line'. A thermocouple read `value_c`; a strip had
    turned at `value_c` and not at its next step, `below_c`. Readings of one gauge share its error.
    """

    above: Name = "bond line"
    at_s: Annotated[Unsigned, Meta(description="From the closing of the press.")]
    value_c: Celsius
    below_c: Celsius | None = None
    kind: GaugeKind
    gauge: Identifier


class RecordedPressing(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A pressing of the shop's own, and what was read or seen of it: an observation for every recipe.

    It was pressed on an upper of the book, or on a scrap with other `layers`, over the press's first lower platen.
    Without a film the cover sheet lay on the upper itself. `bond` is whether the film held, `upper_looks` and
    `beside_looks` how the upper looked under the film and where the cover sheet lay on it.
    """

    id: Identifier
    name: Name
    date: Annotated[date, Meta(description="The day on which it was pressed.")]
    press: Identifier
    cover: Identifier | None = None
    film: Identifier | None = None
    upper: Identifier | None = None
    layers: Annotated[tuple[Layer, ...], Meta(max_length=8)] = ()
    temperature_c: Celsius
    pressure: PressureLevel = "medium"
    dwell_s: Annotated[float, Meta(gt=0, le=600)]
    bond: BondOutcome | None = None
    upper_looks: UpperOutcome | None = None
    beside_looks: UpperOutcome | None = None
    readings: Annotated[tuple[RecordedReading, ...], Meta(max_length=40)] = ()
    note: str = ""


class Cutter(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A cutter: its speed along a line, its acceleration, the time to load film, and the film that every load loses."""

    id: Identifier
    name: Name
    speed_mm_s: Positive
    acceleration_mm_s2: Positive
    width_mm: Positive
    load_s: Unsigned
    lead_in_mm: Annotated[
        Unsigned | None, Meta(description="The film fed before the first cut of a load of the roll; null: none.")
    ] = None
    trim_mm: Annotated[
        Unsigned | None, Meta(description="The film cut off behind the last cut of a load of the roll; null: none.")
    ] = None
    cites: tuple[Citation, ...]


class Font(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, cache_hash=True):
    """An open font: a file of an installed package or, if `package` is null, a file beside the book."""

    id: Identifier
    name: Name
    package: str | None = None
    file: str
    licence: str


Radius = Annotated[float, Meta(ge=-1e9, le=1e9, extra_json_schema={"not": {"const": 0}})]


class Panel(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A panel of a shoe, drawn flat in millimetres at the reference size, y downwards.

    The drawing shows the right shoe with its toe to the right, for an inner panel the left shoe; the other shoe is its
    mirror image. A null radius means flat, a negative one that the panel is hollow that way; with radii of opposite
    signs it is a saddle. `centre_mm` is the place of a centred artwork, if null the centroid of the free area. The tops
    of letters point to `up_deg`: to 180 on a tongue or the top of the toe, which are drawn with the toe to the right
    and read by whoever stands before the wearer (common practice, no source).
    """

    id: Identifier
    name: Name
    names: LocalNames = ()
    face: Face
    upper: Identifier
    colour: Hex
    outline: PathData
    keep_outs: tuple[KeepOut, ...] = ()
    radius_along_mm: Radius | None = None
    radius_across_mm: Radius | None = None
    centre_mm: tuple[float, float] | None = None
    up_deg: Annotated[
        float,
        Meta(
            ge=-180,
            le=180,
            description="The direction in the drawing that is up for whoever looks at the worn shoe, counter-clockwise "
            "from the right.",
        ),
    ] = 90.0

    def __post_init__(self) -> None:
        """Refuse a radius of zero."""
        if 0.0 in {self.radius_along_mm, self.radius_across_mm}:
            raise ValueError("A panel's radius is not zero: leave it out where the panel is flat")


Point = tuple[float, float]


class Join(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Two panels that are sewn edge to edge, each edge by its two ends in its panel's drawing, in millimetres.

    The first end meets the other's first, the second its second. Between them the edges count as straight. A mark that
    lies over the join is on both panels.
    """

    panel: Identifier
    ends_mm: tuple[Point, Point]
    other: Identifier
    other_ends_mm: tuple[Point, Point]


class PanelColour(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The colour of one panel."""

    panel: Identifier
    hex: Hex


class ShoeColour(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A colour in which a shoe is made: that of all its panels, but for those of another."""

    id: Identifier
    name: Name
    names: LocalNames = ()
    hex: Hex
    panels: Annotated[tuple[PanelColour, ...], Meta(max_length=12, description="The panels of another colour.")] = ()


Finish = Annotated[
    Literal["matt", "glossy", "glitter", "shadow"],
    Meta(description="How light falls on it; a shadow has no edge."),
]


class ViewPart(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A part of a view, filled or, with `line_mm`, a line of that width: SVG path data in the view's millimetres.

    It has the colour of the `panel`, or is of a `colour` that the shoe's does not change. `shade` makes it darker, down
    to black at -1, or lighter, up to white at 1.
    """

    d: PathData
    panel: Identifier | None = None
    colour: Hex | None = None
    shade: Annotated[float, Meta(ge=-1, le=1)] = 0.0
    line_mm: Positive | None = None
    dash_mm: Positive | None = None
    finish: Finish = "matt"

    def __post_init__(self) -> None:
        """Refuse a part without exactly one of a panel's colour and its own."""
        if (self.panel is None) == (self.colour is None):
            raise ValueError("A part of a view has the colour of a `panel`, or a `colour`")


class PanelPlace(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The place of a panel in a view: `x = a u + c v + e` and `y = b u + d v + f` for a point u, v of its drawing."""

    panel: Identifier
    matrix: Annotated[
        tuple[float, float, float, float, float, float],
        Meta(description="a, b, c, d, e and f, as of SVG's `matrix`; e and f in millimetres."),
    ]
    finish: Finish = "matt"


class View(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A picture of a shoe at the reference size, on a sheet in millimetres, y downwards, with its panels' places.

    As for a panel, it is of the right shoe with its toe to the right; of the left one for panels of the inner face.
    `parts` are painted in their order, then the panels' outlines, then the marks, then `over`, such as laces.
    """

    name: Name
    width_mm: Positive
    height_mm: Positive
    parts: Annotated[tuple[ViewPart, ...], Meta(min_length=1, max_length=60)]
    over: Annotated[tuple[ViewPart, ...], Meta(max_length=40)] = ()
    places: Annotated[tuple[PanelPlace, ...], Meta(min_length=1, max_length=12)]


class SizeRange(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The sizes in which a shoe is made."""

    system: SizeSystem
    smallest: Positive
    largest: Positive


class ShoeModel(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, cache_hash=True):
    """A shoe of the book: its panels at a reference foot length, and the cost of a spoilt pair."""

    id: Identifier
    name: Name
    names: LocalNames = ()
    wearer: Literal["adult", "child"]
    protective: bool
    heel_collapses: bool
    sizes: SizeRange
    reference_foot_mm: Positive
    reference_girth_mm: Annotated[Positive, Meta(description="Girth at the joint for the reference foot length.")]
    inside_allowance_mm: Annotated[float, Meta(ge=0, le=40, description="Inside length less foot length.")]
    width_mm: Annotated[Positive, Meta(description="Across the sole at its widest, for the reference foot length.")]
    height_mm: Annotated[Positive, Meta(description="From the ground to its top, for the reference foot length.")]
    panels: Annotated[tuple[Panel, ...], Meta(min_length=1, max_length=12)]
    joins: Annotated[tuple[Join, ...], Meta(max_length=12)] = ()
    colours: Annotated[
        tuple[ShoeColour, ...],
        Meta(max_length=24, description="The colours in which it is made; none: that of its panels alone."),
    ] = ()
    views: Annotated[
        tuple[View, ...], Meta(max_length=6, description="Pictures of it, for customers; none: its panels are shown.")
    ] = ()
    pair_value: Charge
    cites: tuple[Citation, ...]


class Offcut(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A piece of film in stock: the largest rectangle in it, or the box around its `outline`, in millimetres."""

    id: Identifier
    film: Identifier
    colour: Identifier
    width_mm: Positive
    height_mm: Positive
    outline: PathData | None = None


class Handling(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The seconds of hand work for each task."""

    order_s: Unsigned
    load_film_s: Unsigned
    weed_piece_s: Unsigned
    weed_metre_s: Unsigned
    position_s: Unsigned
    tape_s: Unsigned
    load_shoe_s: Unsigned
    peel_s: Unsigned
    change_setting_s: Unsigned
    pack_pair_s: Unsigned


class Spoilage(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The chance of spoiling a shoe.

    `handling` is the chance of a slip, however safe the recipe. One of `weak_published`, `weak_practice` and
    `weak_guess` is added, by the evidence for the limit that binds. The chance of harm by heat is the normal tail
    beyond the margin to that limit.
    """

    handling: Share
    weak_published: Share
    weak_practice: Share
    weak_guess: Share
    customer_pair_value: Annotated[Charge, Meta(description="The worth of a pair that is no model of the book.")]
    apology: Annotated[Charge, Meta(description="Goodwill that is added if the spoilt pair is the customer's own.")]


class OrderCosts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The costs of an order beside its work; what is left out is zero.

    A piece fails to be cut with the chance `failed_cuts`, and is cut again. `test_cuts` are made of every load of film,
    each a small square with its border; the hands' time for them is part of `load_film_s`. `artwork` is for every
    drawing that is to be prepared, `packing` and `post` for an order, `post_per_pair` for each of its pairs. A card
    takes `card_share` of what is paid, tax included, and `card_fixed`.
    """

    failed_cuts: Annotated[float, Meta(ge=0, lt=1)] = 0.0
    test_cuts: Annotated[int, Meta(ge=0, le=100)] = 0
    artwork: Charge | None = None
    packing: Charge | None = None
    post: Charge | None = None
    post_per_pair: Charge | None = None
    card_share: Annotated[UnsignedDecimals, Meta(description="A share below 1, such as '0.014'.")] = "0"
    card_fixed: Charge | None = None


class Rates(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, cache_hash=True):
    """The rates of the shop for time, machines and consumables."""

    id: Identifier
    name: Name
    currency: Currency
    labour_per_hour: Charge
    press_per_hour: Charge
    cutter_per_hour: Charge
    tape_per_placement: Charge
    packing_per_pair: Charge
    overhead: Annotated[
        UnsignedDecimals, Meta(description="A share of the cost of labour and machines, such as '0.15'.")
    ]
    offcut_share: Annotated[
        UnsignedDecimals, Meta(description="The price of offcuts as a share of that of film from the roll.")
    ]
    remnant_share: Annotated[
        UnsignedDecimals | None,
        Meta(
            description="The worth of the film kept beside a nest, by its next use, as a share of the roll's price; "
            "film too narrow to keep is worth nothing. Null: the film beside a nest is not charged at all."
        ),
    ] = None
    handling: Handling
    spoilage: Spoilage
    orders: Annotated[OrderCosts | None, Meta(description="Null: an order costs its work alone.")] = None
    cites: tuple[Citation, ...]


class QuantityBreak(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A discount on the price of a pair, from a number of pairs on."""

    pairs: Count
    off: Annotated[UnsignedDecimals, Meta(description="The share that is taken off, such as '0.10'.")]


class Ending(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Raises prices to the next multiple of `step`, minus `less`: a step of 1 and 0.10 less give 9.90 and 10.90."""

    step: Charge
    less: Charge


class Tax(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The tax on sales. All charges, floors and endings of the policy are as `shown`: without tax, or with it.

    By `line`, the tax of each line is rounded (the pairs, or each row of a roster, and the set-up); by `document`, the
    tax on their sum. Which rule applies is a question of local law: ask a tax adviser.
    """

    rate: Annotated[UnsignedDecimals, Meta(description="The share of the net price, such as '0.21'.")]
    shown: Literal["net", "gross"]
    level: Literal["line", "document"] = "document"
    rounding: Literal["half-up", "half-even", "down"] = "half-up"
    line_step: Annotated[
        Charge | None,
        Meta(description="What the tax of a line is rounded to; null: the minor unit. By line only."),
    ] = None


class Policy(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, cache_hash=True):
    """The way from a cost to a price: markup, margin or list, then breaks, floor, rush and ending; set-up beside it.

    A `list` starts from zero instead of the cost. Every method adds `per_placement` for each artwork on each shoe, and
    `per_character` for each of its letters and signs on each shoe. What the rates say that an order costs once is added
    to the set-up, by the same method. With more pairs the total never falls, and the price of a pair never rises. The
    rows of a roster have `alike` prices except for these charges, or prices `by-cost`.
    """

    id: Identifier
    name: Name
    currency: Currency
    method: Literal["markup", "margin", "list"]
    share: Annotated[
        UnsignedDecimals, Meta(description="The markup on the cost, or the margin of the price; '0' for a list.")
    ] = "0"
    per_placement: Charge | None = None
    per_character: Charge | None = None
    setup: Charge
    rush: Annotated[
        UnsignedDecimals | None,
        Meta(description="The share added for an order that goes before others; null: rush orders are refused."),
    ] = None
    floor_per_pair: Charge
    minimum_order: Annotated[
        Charge | None,
        Meta(description="The least total of an order or roster, as the policy shows prices; null: none."),
    ] = None
    breaks: tuple[QuantityBreak, ...] = ()
    rows: Literal["alike", "by-cost"] = "alike"
    ending: Ending | None = None
    tax: Tax | None = None
    cites: tuple[Citation, ...]


class HeatingRate(Struct, tag_field="kind", tag="rate", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The rates at which the upper platen heats and cools."""

    heating_k_s: Positive
    cooling_k_s: Positive


class HeatedMass(Struct, tag_field="kind", tag="mass", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The upper platen as a heated mass that loses heat to the room, `loss_w_k` for each kelvin above it."""

    mass_kg: Positive
    heat_capacity_j_kgk: Positive
    heater_w: Positive
    loss_w_k: Positive


class Workplace(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The hands, presses and places of a bench, and how it is worked.

    The wait before a peel is worked `elsewhere` (the shoes stay on the press, hands are free and not paid), stood
    through (`standing`: the shoes stay on the press, hands are paid beside it), or `overlapped` with the next load (the
    shoes lie on a cooling place). With `attended`, hands stay at the closed press. With `idle_paid`, hands are paid
    from start to end. On `tables` shoes are loaded off the press. Without `heating`, a change of setting takes hands
    alone.
    """

    operators: Annotated[int, Meta(ge=1, le=50)] = 1
    presses: Annotated[int, Meta(ge=1, le=50)] = 1
    tables: Annotated[int, Meta(ge=0, le=50)] = 0
    cooling_places: Annotated[int, Meta(ge=0, le=500)] = 0
    wait: Literal["elsewhere", "standing", "overlapped"] = "elsewhere"
    attended: bool = True
    weeds_while_cutting: bool = False
    idle_paid: bool = False
    heating: HeatingRate | HeatedMass | None = None


class Bench(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The shop's bench: the defaults of requests, and the reference for the published settings of films."""

    id: Identifier
    name: Name
    invented: bool
    room_c: Celsius
    reference_upper: Identifier
    reference_pad: Identifier
    reference_pressures: Pressures
    room_air_w_m2k: Annotated[Positive, Meta(description="Convection and radiation from the open stack to the room.")]
    lower_platen_w_m2k: Annotated[
        Positive, Meta(description="From the underside of the pad to the lower platen and the room.")
    ]
    clearance_mm: Unsigned
    cover: Annotated[
        Identifier | None,
        Meta(description="The cover sheet that is usual on footwear; it is used where no other is better."),
    ] = None
    press: Identifier
    cutter: Identifier
    rates: Identifier
    policy: Identifier
    workplace: Annotated[
        Workplace | None, Meta(description="Null: one operator at one press, who works elsewhere while film cools.")
    ] = None
    colour: Annotated[Hex | None, Meta(description="The shop's colour, for its pages; null: none is known.")] = None
    language: Annotated[
        LanguageTag, Meta(description="The language of the bench: that of its cards, whoever asks for them.")
    ] = "en"
    messages: Annotated[
        tuple[ShopMessage, ...], Meta(max_length=2000, description="Sentences in the shop's own words, by language.")
    ] = ()
    cites: tuple[Citation, ...]


Record = (
    Source | Material | Contact | Upper | TongueLabel | Film | Cover | Pad | Platen | Press | Cutter | Font
    | ShoeModel | Offcut | Rates | Policy | Bench | RecordedPressing
)  # fmt: skip
ShelfKind = Literal[
    "sources", "materials", "contacts", "uppers", "labels", "films", "covers", "pads", "platens",
    "presses", "cutters", "fonts", "shoes", "offcuts", "rates", "policies", "benches",
]  # fmt: skip
"""The kinds that a `Shelf` may be of: a closed set."""
Kind = Literal[ShelfKind, "observations"]
