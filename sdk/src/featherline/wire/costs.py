"""The question "what does it cost, and what do we charge?", and its answer."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.artworks import Artwork, Centred, Footprint, Pose
from featherline.wire.money import Charge, Decimals, Money, UnsignedDecimals
from featherline.wire.quantities import Clearance, Duration, Length
from featherline.wire.recipes import OldMarks, Units
from featherline.wire.shoes import Rectangle, Shoe, Traced
from featherline.wire.texts import Engine, Identifier, Revision, Sentence

Owner = Annotated[
    Literal["customer", "shop"], Meta(description="Whose pair it is: it decides what a spoilt pair costs.")
]
Pairs = Annotated[int, Meta(ge=1, le=10_000)]


HoursADay = Annotated[
    float, Meta(ge=0.1, le=24, description="Hours a day that the bench has for the order, to say when it can be ready.")
]


Rush = Annotated[bool, Meta(description="Whether the order goes before others, at what the price policy adds for it.")]


class OfferedOffcut(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A piece of film that lies ready, by a ruler or traced in millimetres: it is used before the book's and the roll.

    `id` is the caller's name for it, of which the answer speaks.
    """

    id: Identifier
    film: Identifier
    colour: Identifier
    shape: Rectangle | Traced


Outlines = Annotated[
    Duration,
    Meta(
        description="How long to search, from 1 s to 10 s, for a nest of the artworks' outlines that takes less of the "
        "roll than their boxes. It pays for odd shapes in runs, hardly for letters; a search by the clock may find a "
        "little more or less each time, so the film and its cost may differ from one asking to the next.",
        examples=["4 s"],
    ),
]
Offcuts = Annotated[tuple[OfferedOffcut, ...], Meta(max_length=24)]


class Placement(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One artwork on one panel, in one colour of one film, on one shoe of the pair or on both."""

    panel: Identifier
    sides: Literal["both", "left", "right"] = "both"
    film: Identifier
    colour: Identifier
    artwork: Artwork
    pose: Pose = Centred()
    footprint: Footprint = "exact"
    clearance: Clearance | None = None
    old_marks: OldMarks = ()


class Order(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One order line: a shoe, what goes on it, and how many pairs. What is not said is the bench's."""

    shoe: Shoe
    owner: Owner = "customer"
    pairs: Pairs = 1
    placements: Annotated[tuple[Placement, ...], Meta(min_length=1, max_length=12)]
    press: Identifier | None = None
    policy: Identifier | None = None
    rush: Rush = False
    offcuts: Offcuts = ()
    outlines: Outlines | None = None
    hours_a_day: HoursADay | None = None
    units: Units = "metric"


class CutPiece(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A piece of film by its measures: its box, its knife path, what is weeded, and how many a pair needs."""

    film: Identifier
    colour: Identifier
    width: Length
    height: Length
    cut_length: Length
    corners: Annotated[int, Meta(ge=0, le=100_000)]
    waste_pieces: Annotated[int, Meta(ge=0, le=10_000)]
    per_pair: Annotated[int, Meta(ge=1, le=24)]


class KnownPressing(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A pressing whose setting is known: dwell, wait before the peel, cover sheet, and how many a pair needs."""

    dwell: Duration
    wait: Duration | None = None
    cover: Identifier | None = None
    per_pair: Annotated[int, Meta(ge=1, le=24)]


class WhatIf(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a shop owner asks of a price. Give at least one.

    `outlay`: how many pairs pay it back? `at_price`: what is left of a pair at this price? `for_margin`: at which price
    is this share of it margin?
    """

    outlay: Charge | None = None
    at_price: Charge | None = None
    for_margin: Annotated[UnsignedDecimals, Meta(examples=["0.40"])] | None = None

    def __post_init__(self) -> None:
        """Refuse a question that asks nothing."""
        if self.outlay is None and self.at_price is None and self.for_margin is None:
            raise ValueError("Ask for one of `outlay`, `at_price` and `for_margin` at least")


class Measured(Struct, tag_field="kind", tag="measures", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Work known by its measures alone, priced without asking whether it fits or bonds."""

    pieces: Annotated[tuple[CutPiece, ...], Meta(min_length=1, max_length=50)]
    pressings: Annotated[tuple[KnownPressing, ...], Meta(min_length=1, max_length=12)]
    owner: Owner = "customer"
    pairs: Pairs = 1
    policy: Identifier | None = None
    rush: Rush = False
    offcuts: Offcuts = ()
    hours_a_day: HoursADay | None = None
    units: Units = "metric"
    what_if: WhatIf | None = None


class OrderWork(Struct, tag_field="kind", tag="order", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Work given as an order: its measures and pressings follow from its fits and recipes."""

    order: Order
    what_if: WhatIf | None = None


CostRequest = OrderWork | Measured


class CostLine(Struct, frozen=True, kw_only=True):
    """One line of the breakdown: `amount` is `quantity` times `rate`, rounded half-even to the currency's minor unit.

    `origin` is the record that the rate is from, as ``kind/id``.
    """

    what: Annotated[
        str,
        Meta(
            max_length=32,
            description="What is paid for: film, offcut, cover, tape, packing, labour, press, cutter, spoilage, "
            "overhead. More may come.",
            examples=["film"],
        ),
    ]
    detail: Sentence
    quantity: Decimals
    unit: str
    rate: Decimals
    amount: Money
    origin: str


class LeftOver(Struct, frozen=True, kw_only=True):
    """A rectangle of film that stays whole and is worth keeping: of the roll, or of an offcut."""

    of: Annotated[str, Meta(description="`roll`, or the id of the offcut.")]
    width_mm: float
    height_mm: float


class UnusedOffcut(Struct, frozen=True, kw_only=True):
    """An offcut of the film that nothing was taken from, and why."""

    offcut: Identifier
    sentence: Sentence


class FilmUse(Struct, frozen=True, kw_only=True):
    """Film taken for the order: pieces with their weed border, as nested on the roll or in offcuts."""

    film: Identifier
    colour: Identifier
    pieces: int
    piece_area_mm2: float
    roll_width_mm: float
    roll_length_mm: float
    film_mm2: Annotated[
        float, Meta(description="Film taken: roll length times the share of the width in use, plus offcuts.")
    ]
    waste_mm2: Annotated[float, Meta(description="Of the film taken, what lies between the pieces.")]
    offcuts: tuple[Identifier, ...]
    unused: tuple[UnusedOffcut, ...]
    left_over: tuple[LeftOver, ...]
    nested: Annotated[
        Literal["rectangles", "outlines"], Meta(description="What is laid on the roll a gap apart: boxes, or outlines.")
    ]


class Times(Struct, frozen=True, kw_only=True):
    """How long the order takes, in seconds of hands, of the press, and of the cutter; and from its start to its end.

    From start to end, one person does one thing after another and waits for cutter and press: a promise that holds.
    """

    labour_s: float
    press_s: float
    cutter_s: float
    elapsed_s: float
    working_days: Annotated[
        int | None, Meta(description="On which working day it is ready, the first being 1; null without `hours_a_day`.")
    ]


class Cost(Struct, frozen=True, kw_only=True):
    """What an order costs the shop. The lines add up to the total exactly."""

    lines: tuple[CostLine, ...]
    total: Money
    material: Annotated[Money, Meta(description="Of the total: film, offcuts, covers and tape.")]
    film: tuple[FilmUse, ...]
    times: Times
    spoil_chance: Annotated[
        float,
        Meta(ge=0, le=1, description="Chance that a given pair is spoilt: of several kinds of pairs, their mean."),
    ]
    redo_chance: Annotated[
        float, Meta(ge=0, le=1, description="Chance that a pair has to be marked again, because a film does not hold.")
    ]


class PriceStep(Struct, frozen=True, kw_only=True):
    """One step of the price policy and what the price for all pairs is after it."""

    what: Annotated[
        str,
        Meta(
            max_length=32,
            description="What the policy did: cost, markup, margin, list, placements, characters, break, setup, floor, "
            "rush, hold, ending. More may come, and a shop's own.",
            examples=["markup"],
        ),
    ]
    sentence: Sentence
    amount: Money


class Price(Struct, frozen=True, kw_only=True):
    """What to charge, before tax: `each` times pairs is `total`. `margin` is the total's share that is not cost."""

    policy: Identifier
    each: Money
    total: Money
    margin: float
    why: tuple[PriceStep, ...]
    warnings: Annotated[
        tuple[Sentence, ...],
        Meta(description="What the policy allows and may surprise, such as a cheaper larger order."),
    ] = ()


class BreakEven(Struct, frozen=True, kw_only=True):
    """How many pairs pay an outlay back, at this price and cost of a pair; null: none ever do.

    `contribution` is what a pair leaves when all its costs are paid. `own_hours` counts the labour as unpaid: how soon
    an owner who does the work has the money back. What the outlay buys may be in the rates already: the press's hours.
    """

    outlay: Money
    contribution: Money
    pairs: int | None
    own_hours_contribution: Money
    own_hours_pairs: int | None
    sentence: Sentence


class AtPrice(Struct, frozen=True, kw_only=True):
    """What is left of a pair at a price; below zero: it is sold at a loss. The cost stays what it is."""

    each: Money
    profit: Money
    margin: float
    sentence: Sentence


class ForMargin(Struct, frozen=True, kw_only=True):
    """The lowest price of a pair, in whole minor units, of which at least the share asked for is margin."""

    each: Money
    total: Money
    margin: float
    sentence: Sentence


class WhatIfAnswer(Struct, frozen=True, kw_only=True):
    """The answers to a `WhatIf`, null where nothing was asked."""

    break_even: BreakEven | None
    at_price: AtPrice | None
    for_margin: ForMargin | None


class CostAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a question of cost. An order that must be declined has no cost and no price, and says why."""

    cost: Cost | None
    price: Price | None
    what_if: WhatIfAnswer | None
    declined: tuple[Sentence, ...]
    book: Revision
    engine: Engine
