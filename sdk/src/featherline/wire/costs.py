"""The question "what does it cost, and what do we charge?", with its answer, and orders."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct

from featherline.wire.artworks import Artwork, Centred, Footprint, Pose
from featherline.wire.money import Charge, Decimals, Money, UnsignedDecimals
from featherline.wire.quantities import Clearance, Duration, Length
from featherline.wire.recipes import Observations, OldMarks, Units
from featherline.wire.shoes import Rectangle, Shoe, Traced
from featherline.wire.texts import TYPED, BookUntil, Engine, Identifier, Reference, Revision, Sentence
from featherline.wire.verdicts import Message, MessageId, Parameter, SentenceLanguage, Verdict

Owner = Annotated[
    Literal["customer", "shop"], Meta(description="Whose pair it is: it decides what a spoilt pair costs.")
]
Pairs = Annotated[int, Meta(ge=1, le=10_000, extra={TYPED: "pairs"})]
HoursADay = Annotated[
    float,
    Meta(ge=0.1, le=24, description="Hours a day that the bench works on the order, for the day on which it is ready."),
]
Quantities = Annotated[
    tuple[Pairs, ...],
    Meta(max_length=24, description="Numbers of pairs to be priced as well, for a table in the answer."),
]
Rush = Annotated[bool, Meta(description="Whether the order goes before others, for the surcharge of the price policy.")]


class OfferedOffcut(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A piece of film at hand, measured with a ruler or traced in millimetres.

    It is used before the offcuts of the book and before the roll. `id` is the caller's name for it in the answer.
    """

    id: Identifier
    film: Identifier
    colour: Identifier
    shape: Rectangle | Traced


Outlines = Annotated[
    Duration,
    Meta(
        description="The time, from 1 s to 10 s, to search for a layout of the artworks' outlines that takes less of "
        "the roll than their boxes do. It saves film for irregular shapes in quantity, and hardly any for letters. A "
        "search by the clock may end with another layout each time, so the film and its cost may differ between two "
        "equal requests.",
        examples=["4 s"],
    ),
]
Offcuts = Annotated[tuple[OfferedOffcut, ...], Meta(max_length=24)]


class Backing(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The same artwork, grown by a border on all sides, in a second film below it.

    It is a mark of its own: cut and pressed first, and held against the panel's edges and other marks.
    """

    film: Identifier
    colour: Identifier
    border: Annotated[Length, Meta(description="By how much it reaches beyond the artwork on all sides.")]


class Placement(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One artwork on one panel, in one colour of one film, on one shoe of the pair or on both.

    Marks on one panel keep the clearance from each other, the larger of both, unless one lies on the other on purpose:
    `onto` is the index of the placement whose film it is pressed on, wholly within it. A `backing` is an outline of the
    same artwork in a second film below it; with `onto`, the backing lies on that mark.
    """

    panel: Identifier
    sides: Literal["both", "left", "right"] = "both"
    film: Identifier
    colour: Identifier
    artwork: Artwork
    pose: Pose = Centred()
    footprint: Footprint = "exact"
    clearance: Clearance | None = None
    old_marks: OldMarks = ()
    onto: Annotated[
        Annotated[int, Meta(ge=0, le=11)] | None,
        Meta(description="The index, from 0, of the placement of this order that it lies on; null for the panel."),
    ] = None
    backing: Backing | None = None


class Propose(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What to propose instead of an order that is declined: the nearest changes with which it would be done.

    Smaller heights, wider letters, other lettering and a break into two lines are tried, and other `films` if they are
    named here.
    """

    films: Annotated[
        tuple[Identifier, ...], Meta(max_length=8, description="Films that may be proposed instead; none: none.")
    ] = ()
    at_most: Annotated[int, Meta(ge=1, le=6)] = 3


class Order(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of an order: a shoe, its placements, and the number of pairs.

    Without `press` or `policy`, the bench's is used. An observation that leaves out `film` or `onto` is of the film or
    the panel of the order, which then has only one.
    """

    shoe: Shoe
    owner: Owner = "customer"
    pairs: Pairs = 1
    quantities: Quantities = ()
    placements: Annotated[tuple[Placement, ...], Meta(min_length=1, max_length=12)]
    prepared: Annotated[
        bool, Meta(description="Whether its drawings were prepared for an earlier order, and are not charged again.")
    ] = False
    press: Identifier | None = None
    policy: Identifier | None = None
    rush: Rush = False
    offcuts: Offcuts = ()
    outlines: Outlines | None = None
    hours_a_day: HoursADay | None = None
    reference: Reference | None = None
    units: Units = "metric"
    observations: Observations = ()
    propose: Annotated[
        Propose | None,
        Meta(description="What to propose if the order is declined, for a quote or offer; null: nothing."),
    ] = None


class CutPiece(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A piece of film by its measures: its box, its knife path, the waste to weed, and how many a pair needs."""

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
    """The questions of a shop owner about a price. Give at least one.

    `outlay`: how many pairs pay it back? `at_price`: what is the profit of a pair at this price? `for_margin`: at which
    price of a pair is the margin this share of it?
    """

    outlay: Charge | None = None
    at_price: Charge | None = None
    for_margin: Annotated[UnsignedDecimals, Meta(examples=["0.40"])] | None = None

    def __post_init__(self) -> None:
        """Refuse a `WhatIf` without a question."""
        if self.outlay is None and self.at_price is None and self.for_margin is None:
            raise ValueError("Ask for one of `outlay`, `at_price` and `for_margin` at least")


class Measured(Struct, tag_field="kind", tag="measures", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Work known by its measures alone; whether it fits or bonds is not checked."""

    pieces: Annotated[tuple[CutPiece, ...], Meta(min_length=1, max_length=50)]
    pressings: Annotated[tuple[KnownPressing, ...], Meta(min_length=1, max_length=12)]
    owner: Owner = "customer"
    pairs: Pairs = 1
    quantities: Quantities = ()
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

    `origin` is the record of the rate, as ``kind/id``.
    """

    what: Annotated[
        str,
        Meta(
            max_length=32,
            description="What the line pays for: film, offcut, cover, tape, packing, labour, press, cutter, "
            "failed-cuts, test-cuts, spoilage, overhead, artwork, post, card. More may come.",
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
    """A rectangle of film that is left over and worth keeping, of the roll or of an offcut."""

    of: Annotated[str, Meta(description="`roll`, or the id of the offcut.")]
    width_mm: float
    height_mm: float


class UnusedOffcut(Struct, frozen=True, kw_only=True):
    """An offcut of the film that was not used, and why."""

    offcut: Identifier
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class FilmPurchase(Struct, frozen=True, kw_only=True):
    """The roll film that has to be bought where none is in stock: `packs` of `pack_m`, as its supplier sells it.

    `unrolled_m` is the length taken up, with the lead-in and trim that every load loses.
    """

    unrolled_m: float
    packs: int
    pack_m: float
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class FilmUse(Struct, frozen=True, kw_only=True):
    """The film for an order: its pieces with their weed borders, nested on the roll or in offcuts."""

    film: Identifier
    colour: Identifier
    pieces: int
    piece_area_mm2: float
    roll_width_mm: float
    roll_length_mm: float
    film_mm2: Annotated[
        float, Meta(description="Film used: roll length times the share of the width in use, plus offcuts.")
    ]
    waste_mm2: Annotated[float, Meta(description="The part of the film used that lies between the pieces.")]
    charged_mm2: Annotated[
        float,
        Meta(
            description="The roll film charged at the roll's price: the film used, lead-in and trim, and what the film "
            "beside it loses in worth; for several pairs or rows no more than one by one."
        ),
    ]
    buy: Annotated[FilmPurchase | None, Meta(description="Null where nothing is cut from the roll.")]
    offcuts: tuple[Identifier, ...]
    unused: tuple[UnusedOffcut, ...]
    left_over: tuple[LeftOver, ...]
    nested: Annotated[
        Literal["rectangles", "outlines"],
        Meta(description="Whether the pieces are laid out by their boxes or by their outlines, a gap apart."),
    ]


class Times(Struct, frozen=True, kw_only=True):
    """The times for an order: hand work, press and cutter, and the time from its start to its end.

    `elapsed_s` follows from a simulation of the book's bench: operators, presses and cooling places that wait for one
    another after all film is cut. The operators' time from start to end is `labour_s`, which is paid, and `idle_s`, in
    which they are free for other work; `standing_s` is the part of `labour_s` spent beside shoes that cool. `press_s`
    and `cooling_s` sum over the presses and cooling places taken up.
    """

    labour_s: float
    press_s: float
    cutter_s: float
    elapsed_s: float
    idle_s: float = 0.0
    standing_s: float = 0.0
    cooling_s: float = 0.0
    working_days: Annotated[
        int | None,
        Meta(description="The working day on which the order is ready, from 1; null without `hours_a_day`."),
    ]


class Cost(Struct, frozen=True, kw_only=True):
    """The cost of an order to the shop. The lines add up to the total exactly."""

    lines: tuple[CostLine, ...]
    total: Money
    material: Annotated[Money, Meta(description="The part of the total for film, offcuts, test cuts, covers and tape.")]
    film: tuple[FilmUse, ...]
    times: Times
    spoil_chance: Annotated[
        float,
        Meta(ge=0, le=1, description="The chance that a pair is spoilt; where pairs differ, their mean."),
    ]
    redo_chance: Annotated[
        float,
        Meta(ge=0, le=1, description="The chance that a pair has to be marked again because a film does not hold."),
    ]


class PriceStep(Struct, frozen=True, kw_only=True):
    """One step of the price policy, and the price of all pairs after it."""

    what: Annotated[
        str,
        Meta(
            max_length=32,
            description="What the policy did: cost, markup, margin, list, tax, placements, characters, break, floor, "
            "rush, ending, hold, band, setup, minimum. More may come, and a shop's own.",
            examples=["markup"],
        ),
    ]
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET
    amount: Money


class PriceBand(Struct, frozen=True, kw_only=True):
    """A line of a price list: the price of a pair in orders from so many pairs on, beside the set-up.

    `below_cost`: at `from_pairs` pairs the price, with the set-up, is less than the work costs the shop.
    """

    from_pairs: int
    each: Money
    below_cost: bool


class QuantityPrice(Struct, frozen=True, kw_only=True):
    """The price of a number of pairs: `each` times `pairs`, and the set-up once, is `total`, or the minimum order is.

    `next_break` is the number of pairs from which a pair is cheaper; null if there is none, or it is not known.
    """

    pairs: int
    each: Money
    total: Money
    verdict: Verdict
    next_break: int | None


class Taxed(Struct, frozen=True, kw_only=True):
    """A total without and with tax: `net` and `tax` add up to `gross`."""

    net: Money
    tax: Money
    gross: Money


class PriceTax(Taxed, frozen=True, kw_only=True):
    """The tax of a price at a rate: `shown` says whether the prices of the answer are net or gross."""

    rate: Decimals
    shown: Literal["net", "gross"]


class Price(Struct, frozen=True, kw_only=True):
    """The price: `each` times pairs, `set_up` and `to_minimum` add up to `total`.

    It is before tax unless `tax` says otherwise. `margin` is the share of the total without tax that is not cost.
    `price_list` has the prices of all numbers of pairs; it is empty for a plug-in's policy. With more pairs its totals
    never fall and its prices never rise.
    """

    policy: Identifier
    each: Money
    set_up: Annotated[Money | None, Meta(description="Charged once for an order; null for a plug-in's policy.")] = None
    to_minimum: Annotated[
        Money | None, Meta(description="Added to reach the policy's minimum order; null where nothing is.")
    ] = None
    total: Money
    tax: Annotated[PriceTax | None, Meta(description="Null where the policy states no tax.")] = None
    margin: float
    why: tuple[PriceStep, ...]
    warnings: Annotated[
        tuple[Sentence, ...],
        Meta(
            description="What a shop should know of its policy, such as a price below cost or a break without effect."
        ),
    ] = ()
    warnings_messages: tuple[Message, ...] = ()
    price_list: tuple[PriceBand, ...] = ()
    quantities: Annotated[
        tuple[QuantityPrice, ...], Meta(description="The prices of the request's `quantities`, in their order.")
    ] = ()


class BreakEven(Struct, frozen=True, kw_only=True):
    """The number of pairs that pay back an outlay, at this price and cost of a pair; null if no number does.

    `contribution` is the price of a pair less all its costs. The `own_hours` fields leave out the cost of labour, for
    an owner who does the work. If the outlay buys a machine, its hourly rate may already be part of the cost.
    """

    outlay: Money
    contribution: Money
    pairs: int | None
    own_hours_contribution: Money
    own_hours_pairs: int | None
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class AtPrice(Struct, frozen=True, kw_only=True):
    """What a price of a pair set by hand leaves, set-up included; `each` is with tax where the policy's prices are.

    `profit` is without tax, negative for a loss, and `margin` its share of the price without tax. `discount` is the
    share of the policy's price that it gives away, negative where it is dearer; null where the policy's price is zero.
    The price changes no cost but the card fee.
    """

    each: Money
    profit: Money
    margin: float
    discount: float | None
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class ForMargin(Struct, frozen=True, kw_only=True):
    """The lowest price of a pair, in whole minor units, set-up included, with at least the margin asked for.

    `each` and `total` are with tax where the policy's prices are. `largest_discount` is the largest share of the
    policy's price that can be given away and leaves the margin; null where that price does not have it.
    """

    each: Money
    total: Money
    margin: float
    largest_discount: float | None
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class WhatIfAnswer(Struct, frozen=True, kw_only=True):
    """The answers to a `WhatIf`, null for questions that were not asked."""

    break_even: BreakEven | None
    at_price: AtPrice | None
    for_margin: ForMargin | None


class CostAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a `CostRequest`. A declined order has no cost and no price; `declined` says why."""

    cost: Cost | None
    price: Price | None
    what_if: WhatIfAnswer | None
    declined: tuple[Sentence, ...]
    declined_messages: tuple[Message, ...] = ()
    book: Revision
    book_until: BookUntil = None
    engine: Engine
