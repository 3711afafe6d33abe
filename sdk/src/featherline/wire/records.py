"""The records of a shop book: what the shop knows before anybody asks.

Numbers are in the unit that ends their name. Spreads are relative: a value with spread `s` lies between
`value / (1 + s)` and `value * (1 + s)` with 95 % probability. Every physical value is covered by a citation; `sources`
holds each source once.
"""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.money import Charge, Currency, UnsignedDecimals
from featherline.wire.shoes import Face, KeepOutKind, Label, SizeSystem, Surface
from featherline.wire.texts import Hex, Identifier, Name, PathData, Sentence
from featherline.wire.verdicts import Evidence

Positive = Annotated[float, Meta(gt=0, le=1e9)]
Unsigned = Annotated[float, Meta(ge=0, le=1e9)]
Celsius = Annotated[float, Meta(ge=-50, le=400)]
Share = Annotated[float, Meta(ge=0, le=1)]
Count = Annotated[int, Meta(ge=1, le=100_000)]

PressureLevel = Literal["light", "medium", "firm"]
PeelWhen = Literal["hot", "warm", "cold"]
Role = Literal["platen", "cover", "carrier", "film", "upper", "pad", "lower-platen"]


class Citation(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where some values of a record come from: their field names, a source record, and the place in it."""

    values: Annotated[tuple[str, ...], Meta(min_length=1)]
    source: Identifier
    at: str = ""


class Source(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A source that records cite: something published, common practice, memory, or our own invention."""

    id: Identifier
    name: Name
    kind: Literal["published", "practice", "memory", "invented"]
    reference: Sentence


class Exposure(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How long a material stands a temperature, and how fast that shortens as it gets hotter (Arrhenius)."""

    temperature_c: Celsius
    longest_s: Positive
    activation_kj_mol: Positive


class HeatLimit(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The hottest that a material may get in a pressing of about half a minute, and how well that is known."""

    peak_c: Celsius
    spread_k: Unsigned
    evidence: Evidence
    harm: Annotated[str, Meta(description="What happens above it, as the end of a sentence: 'it shrinks'.")]
    exposure: Exposure | None = None


class Material(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A solid, foam or fabric: its thermal properties and the heat that it stands."""

    id: Identifier
    name: Name
    conductivity_w_mk: Positive
    conductivity_spread: Unsigned
    density_kg_m3: Positive
    heat_capacity_j_kgk: Positive
    capacity_spread: Unsigned
    limit: HeatLimit
    vinyl: bool = False
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


class Upper(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The stack of a shoe's upper, from the face that is marked inwards."""

    id: Identifier
    name: Name
    label: Label
    surface: Surface
    layers: Annotated[tuple[Layer, ...], Meta(min_length=1, max_length=8)]
    cites: tuple[Citation, ...]
    note: str = ""


class LabelledUppers(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The uppers that a tongue label may stand for; a walk-in shoe is taken as the worst of them."""

    id: Label
    name: Name
    uppers: Annotated[tuple[Identifier, ...], Meta(min_length=1, max_length=8)]


class Carrier(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The liner that a film comes on and is pressed through."""

    material: Identifier
    thickness_mm: Positive
    thickness_spread: Unsigned = 0.1
    sticky: bool


class FilmSetting(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The maker's published setting: temperature range, dwell range at it, pressure; on cotton, no cover sheet."""

    coolest_c: Celsius
    hottest_c: Celsius
    shortest_s: Positive
    longest_s: Positive
    pressure: PressureLevel
    also: Annotated[
        tuple[PressureLevel, ...], Meta(max_length=2, description="Other levels of pressure that the maker allows.")
    ] = ()


class Adhesive(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a film's adhesive bonds: where it softens, and the activation energy of its flow with its band."""

    onset_c: Celsius
    activation_kj_mol: Positive
    activation_low_kj_mol: Positive
    activation_high_kj_mol: Positive


class Peel(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """When the carrier comes off: the bond line between `coolest_c` and `hottest_c`."""

    when: PeelWhen
    coolest_c: Celsius
    hottest_c: Celsius


class Finest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The finest detail that a film can be cut and weeded to."""

    stroke_mm: Positive
    gap_mm: Positive
    island_mm2: Positive


class Colour(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A colour that a film is stocked in. `effect` names what an sRGB value does not show."""

    id: Identifier
    name: Name
    hex: Hex
    effect: Literal["none", "metallic", "reflective", "fluorescent", "flake", "glow"] = "none"


class Roll(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a film is bought."""

    width_mm: Positive
    length_m: Positive
    price: Charge


class Cutting(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a film is cut and weeded."""

    border_mm: Annotated[float, Meta(ge=0, le=50, description="Weed border around each piece.")]
    gap_mm: Annotated[float, Meta(ge=0, le=50, description="Distance between pieces on the roll.")]
    passes: Annotated[int, Meta(ge=1, le=4)]
    force_g: Positive
    blade: Name
    weeding_ease: Annotated[
        Positive, Meta(description="Weeding time against the rates': 1 as smooth film, 2 twice as long.")
    ]


class Film(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A class of heat-applied film. `cutting` is null for a printed transfer, which is neither cut nor weeded."""

    id: Identifier
    name: Name
    family: Literal["smooth", "stretch", "flock", "metallic", "reflective", "flake", "glow", "printed"]
    layers: Annotated[
        tuple[Layer, ...], Meta(min_length=1, max_length=4, description="From the face down to the bond line.")
    ]
    carrier: Carrier
    setting: FilmSetting
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


class Cover(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A cover sheet, laid over everything before the press closes."""

    id: Identifier
    name: Name
    layers: Annotated[tuple[Layer, ...], Meta(min_length=1, max_length=3)]
    price: Charge
    lasts_presses: Count
    cites: tuple[Citation, ...]


class Compression(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A point of a pad's compression curve: the share of its thickness lost at a pressure."""

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


class Platen(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An interchangeable lower platen and the pad on it: a common form, or one cut to order.

    Its pad is a rectangle, or has an `outline`, with the shoe's toe to the right, in millimetres. Artwork lies on it at
    least `rim_mm` inside its edge, which is round and presses less, and so far from the featherline too: nearer, the
    pad would reach under the sole's edge. It takes shoes from an inside length on, and `shoes_at_once` side by side.
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
    """What a press's light, medium and firm mean at the platen."""

    light_kpa: Positive
    medium_kpa: Positive
    firm_kpa: Positive


class Press(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A heat press: what it can be set to, and which lower platens it takes, those first that serve it best.

    `opening_mm` is the height between the pad and the middle of the opened upper platen; null: that is drawn or swung
    away, and any shoe goes under it.
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
    pressures: Pressures
    platens: Annotated[tuple[Identifier, ...], Meta(min_length=1)]
    on_stand: bool
    cites: tuple[Citation, ...]


class Cutter(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A cutter: its speed along a line, its acceleration, and the time to load a piece of film."""

    id: Identifier
    name: Name
    speed_mm_s: Positive
    acceleration_mm_s2: Positive
    width_mm: Positive
    load_s: Unsigned
    cites: tuple[Citation, ...]


class Font(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An open font: a file in an installed package, or beside the book when `package` is null."""

    id: Identifier
    name: Name
    package: str | None = None
    file: str
    licence: str


class KeepOut(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A part of a panel that must not be marked: SVG path data in the panel's drawing."""

    what: KeepOutKind
    d: PathData


class Panel(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A panel of a shoe, drawn flat in millimetres at the reference size, y downwards.

    Drawn as seen on the right shoe with its toe to the right (an inner panel: on the left shoe); the other shoe is its
    mirror image. A null radius is flat. `centre_mm` is where a centred artwork goes; null: the centroid of the free
    area.
    """

    id: Identifier
    name: Name
    face: Face
    upper: Identifier
    colour: Hex
    outline: PathData
    keep_outs: tuple[KeepOut, ...] = ()
    radius_along_mm: Positive | None = None
    radius_across_mm: Positive | None = None
    centre_mm: tuple[float, float] | None = None


class SizeRange(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The sizes that a shoe is made in."""

    system: SizeSystem
    smallest: Positive
    largest: Positive


class ShoeModel(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A shoe that the shop knows: its panels at a reference foot length, and what a spoilt pair costs."""

    id: Identifier
    name: Name
    wearer: Literal["adult", "child"]
    protective: bool
    heel_collapses: bool
    sizes: SizeRange
    reference_foot_mm: Positive
    reference_girth_mm: Annotated[Positive, Meta(description="Girth at the joint at the reference foot length.")]
    inside_allowance_mm: Annotated[float, Meta(ge=0, le=40, description="Inside length less foot length.")]
    width_mm: Annotated[Positive, Meta(description="Across the sole at its widest, at the reference foot length.")]
    height_mm: Annotated[Positive, Meta(description="From the ground to its top, at the reference foot length.")]
    panels: Annotated[tuple[Panel, ...], Meta(min_length=1, max_length=12)]
    pair_value: Charge
    cites: tuple[Citation, ...]


class Offcut(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A piece of film that was kept: the largest rectangle in it, or the box around its `outline` in millimetres."""

    id: Identifier
    film: Identifier
    colour: Identifier
    width_mm: Positive
    height_mm: Positive
    outline: PathData | None = None


class Handling(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Seconds of hand work, each for the thing that its name says."""

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
    """Chance of spoiling a shoe.

    `handling` is the chance of a slip however safe the recipe. `weak_published`, `weak_practice` and `weak_guess` add
    to it by the evidence for the limit that binds. The heat's own chance is the normal tail beyond the margin to it.
    """

    handling: Share
    weak_published: Share
    weak_practice: Share
    weak_guess: Share
    customer_pair_value: Charge
    apology: Annotated[Charge, Meta(description="Goodwill added when the spoilt pair was the customer's own.")]


class Rates(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What time, machines and consumables cost the shop."""

    id: Identifier
    name: Name
    currency: Currency
    labour_per_hour: Charge
    press_per_hour: Charge
    cutter_per_hour: Charge
    tape_per_placement: Charge
    packing_per_pair: Charge
    overhead: Annotated[UnsignedDecimals, Meta(description="Share of labour and machine cost, such as '0.15'.")]
    offcut_share: Annotated[UnsignedDecimals, Meta(description="Price of offcut film as a share of roll film's.")]
    handling: Handling
    spoilage: Spoilage
    cites: tuple[Citation, ...]


class QuantityBreak(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """From so many pairs on, so much off the unit price."""

    pairs: Count
    off: Annotated[UnsignedDecimals, Meta(description="Share taken off, such as '0.10'.")]


class Ending(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Prices are raised to the next multiple of `step`, less `less`: step 1, less 0.10 gives 9.90 and 10.90."""

    step: Charge
    less: Charge


class Policy(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a price is made from a cost: markup or margin, or a list; breaks, set-up, floor, rush, ending. No tax.

    A `list` starts from nothing instead of the cost. To any method come `per_placement`, for each artwork on each shoe,
    and `per_character`, for each of its letters and signs, on each shoe. A quantity break never makes a larger order
    cheaper in total than a smaller one, unless `larger_may_be_cheaper`. The rows of a roster are priced `alike` for all
    but those charges, or each `by-cost`.
    """

    id: Identifier
    name: Name
    currency: Currency
    method: Literal["markup", "margin", "list"]
    share: Annotated[UnsignedDecimals, Meta(description="Of the cost, or of the price. A list has none.")] = "0"
    per_placement: Charge | None = None
    per_character: Charge | None = None
    setup: Charge
    rush: Annotated[
        UnsignedDecimals | None, Meta(description="Share added to an order that goes before others; null: none does.")
    ] = None
    floor_per_pair: Charge
    breaks: tuple[QuantityBreak, ...] = ()
    larger_may_be_cheaper: bool = False
    rows: Literal["alike", "by-cost"] = "alike"
    ending: Ending | None = None
    cites: tuple[Citation, ...]


class Bench(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The shop's bench: what holds when a request does not say, and what films' published settings refer to."""

    id: Identifier
    name: Name
    invented: bool
    room_c: Celsius
    reference_upper: Identifier
    reference_pad: Identifier
    reference_pressures: Pressures
    room_air_w_m2k: Annotated[Positive, Meta(description="Convection and radiation to the room from an opened stack.")]
    lower_platen_w_m2k: Annotated[Positive, Meta(description="From the pad's underside to the lower platen and room.")]
    clearance_mm: Unsigned
    cover: Annotated[
        Identifier | None, Meta(description="The cover sheet in use on footwear, taken where it serves as well as any.")
    ] = None
    press: Identifier
    cutter: Identifier
    rates: Identifier
    policy: Identifier
    cites: tuple[Citation, ...]


Record = (
    Source | Material | Contact | Upper | LabelledUppers | Film | Cover | Pad | Platen | Press | Cutter | Font
    | ShoeModel | Offcut | Rates | Policy | Bench
)  # fmt: skip
Kind = Literal[
    "sources", "materials", "contacts", "uppers", "labels", "films", "covers", "pads", "platens", "presses", "cutters",
    "fonts", "shoes", "offcuts", "rates", "policies", "benches",
]  # fmt: skip
