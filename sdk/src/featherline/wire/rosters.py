"""The question "which rows of this list can be done, and for how much?", and its answer."""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Meta, Struct

from featherline.wire.costs import Cost, Order, Owner, Pairs, PriceStep, PriceTax, Taxed
from featherline.wire.measures import Mends
from featherline.wire.money import Money
from featherline.wire.problems import Fault
from featherline.wire.quotes import Pressing
from featherline.wire.seals import Seal
from featherline.wire.shoes import Shoe, Size
from featherline.wire.texts import BookUntil, Engine, Identifier, Reference, Revision, Sentence
from featherline.wire.verdicts import Message, MessageId, Parameter, Reason, SentenceLanguage, Verdict

FieldName = Annotated[
    str,
    Meta(
        pattern=r"^[a-z][a-z0-9_]*$(?!\n)",
        max_length=32,
        description="The name of a field: lower-case letters, digits and underscores, a letter first.",
        examples=["name"],
    ),
]
FieldText = Annotated[str, Meta(max_length=200, description="The text of a field; braces have no meaning in it.")]
RowId = Annotated[str, Meta(min_length=1, max_length=128, description="The caller's own name for a row.")]


class RosterRow(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One wearer of a roster. The order's values stand in for those that are left out.

    `fields` fill the templates. `size` is a size of the order's shoe of the book; `shoe` is another shoe with its size.
    `faults` are what the caller could not read of the row, such as a cell of a file: a row with any is answered with
    them, and is neither checked nor priced.
    """

    id: RowId | None = None
    fields: Annotated[
        dict[FieldName, FieldText], Meta(max_length=12, examples=[{"name": "MARLOW", "number": "7"}])
    ] = {}
    size: Size | None = None
    shoe: Shoe | None = None
    pairs: Pairs | None = None
    owner: Owner | None = None
    faults: Annotated[
        tuple[Sentence, ...], Meta(max_length=40, examples=[["The size 'huge' cannot be read; write it as EU 42."]])
    ] = ()

    def __post_init__(self) -> None:
        """Refuse a row with two sizes."""
        if self.size is not None and self.shoe is not None:
            raise ValueError("Give a row one of `size` and `shoe`: a shoe brings its own size")


class Roster(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An order for every row of a list. Its texts are templates, such as ``"{name}"`` over ``"{number}"``.

    A name in braces is replaced by that field of the row; ``{{`` and ``}}`` are braces. The film is nested, and the
    price calculated, for all rows together.
    """

    order: Order
    rows: Annotated[tuple[RosterRow, ...], Meta(min_length=1, max_length=500)]
    seal: Annotated[bool, Meta(description="Whether to seal the total. It is not sealed while a row has faults.")] = (
        False
    )


class RowPlacement(Struct, frozen=True, kw_only=True):
    """A placement of the order for one row: its text, null for a drawing, and how it fits."""

    text: str | None
    verdict: Verdict
    width_mm: float
    height_mm: float
    letter_height_mm: float | None
    clearance_mm: float
    mends: Mends = ()


class RowPrice(Struct, frozen=True, kw_only=True):
    """The price of a row: `each` times its pairs is `total`. `tax` is null unless the policy states it by line."""

    each: Money
    total: Money
    tax: Taxed | None = None


class RowAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a row: its verdict or, for a row with faults, null and the faults.

    `row` is the row's index in the request, from 0. Only a row that is `ready` or `trial` has a cost and a price.
    `plan` is the index in `plans` of its pressings. The pointers of faults and the subjects of reasons are JSON
    Pointers into the request. `warnings` are what to look at in a row that is answered all the same.
    """

    row: int
    id: RowId | None
    verdict: Verdict | None
    faults: tuple[Fault, ...]
    reasons: tuple[Reason, ...]
    pairs: int
    placements: tuple[RowPlacement, ...]
    plan: int | None
    cost: Annotated[Money | None, Meta(description="The row's share of the cost; the shares add up to it exactly.")]
    price: RowPrice | None
    warnings: tuple[Sentence, ...] = ()
    warnings_messages: tuple[Message, ...] = ()


class PressingPlan(Struct, frozen=True, kw_only=True):
    """The pressings of some rows, for each pair, in the order of the work at the bench."""

    rows: Annotated[tuple[int, ...], Meta(description="Indices into the request's rows, from 0.")]
    pairs: int
    pressings: tuple[Pressing, ...]


class RosterSpacing(Struct, frozen=True, kw_only=True):
    """The letter spacing of a placement with `fit_letters` "space", the same for all rows, in capital heights.

    It is the largest that a row needs, and `row` that row's index, from 0; null where no row needs more than is asked.
    `letter_spacing_mm` is null where the letters of the rows differ in height.
    """

    placement: Annotated[int, Meta(description="Index into the order's placements, from 0.")]
    letter_spacing: float
    letter_spacing_mm: float | None
    row: int | None


class LargestLetters(Struct, frozen=True, kw_only=True):
    """The largest letter height of a placement at which no row is declined for its size or its detail.

    It is null if a row fits at no height, or if a text is too fine for its film at the largest height at which all
    rows fit: `too_fine` is then the index of the first such row, otherwise null. `row` is the index of the row that
    sets the limit to the size. Indices are from 0.
    """

    placement: Annotated[int, Meta(description="Index into the order's placements, from 0.")]
    letter_height_mm: float | None
    row: int
    too_fine: int | None = None


class Purchase(Struct, frozen=True, kw_only=True):
    """A material that the roster uses up, and how much of it to buy.

    `packs` is the number of whole packs (rolls or the lengths that film is sold in, sheets) that are enough; offcuts
    count as stock, nothing else does. A film's `quantity` has the lead-in and trim that every load loses.
    `record` is the material's record, as ``kind/id``; `price` is the price of one pack, null if the book has none.
    """

    what: Annotated[
        str, Meta(max_length=32, description="The material: film, cover, tape. More may come.", examples=["film"])
    ]
    record: str
    colour: Identifier | None
    quantity: float
    unit: str
    packs: int | None
    price: Money | None
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class RosterBand(Struct, frozen=True, kw_only=True):
    """The lowest and the highest price of a pair in rosters from so many pairs on."""

    from_pairs: int
    lowest: Money
    highest: Money


class RosterPrice(Struct, frozen=True, kw_only=True):
    """The price of a roster: the sum of its rows, `set_up` and `to_minimum`; before tax unless `tax` says otherwise.

    `margin` is the share of it without tax that is not cost. Quantity breaks count the pairs of all rows together. When
    a row that is there is repeated, the total never falls and no price rises; not so with a plug-in's policy.
    `price_list` has the prices up to the pairs that there are. `leaves_out` are the rows that are not in it, as they
    have faults or are declined.
    """

    policy: Identifier
    set_up: Annotated[Money | None, Meta(description="Charged once; null for a plug-in's policy.")] = None
    to_minimum: Annotated[
        Money | None, Meta(description="Added to reach the policy's minimum order; null where nothing is.")
    ] = None
    total: Money
    tax: Annotated[PriceTax | None, Meta(description="Null where the policy states no tax.")] = None
    margin: float
    why: tuple[PriceStep, ...]
    warnings: tuple[Sentence, ...]
    warnings_messages: tuple[Message, ...] = ()
    price_list: tuple[RosterBand, ...] = ()
    leaves_out: Annotated[tuple[int, ...], Meta(description="Indices into the request's rows, from 0.")] = ()


class RosterCounts(Struct, frozen=True, kw_only=True):
    """The number of rows with each verdict, and of those with faults."""

    ready: int
    trial: int
    declined: int
    faulty: int


class RosterAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a `Roster`. Cost, price and purchases are for the rows that are `ready` or `trial`.

    `verdict` is the worst of those rows, and `decline` if there are none.
    """

    reference: Annotated[Reference | None, Meta(description="The order's `reference`.")] = None
    verdict: Verdict
    counts: RosterCounts
    pairs: int
    rows: tuple[RowAnswer, ...]
    plans: tuple[PressingPlan, ...]
    largest_letters: tuple[LargestLetters, ...]
    letter_spacings: tuple[RosterSpacing, ...] = ()
    unused_fields: Annotated[
        tuple[FieldName, ...], Meta(description="Fields of rows that no template of the order has.")
    ]
    cost: Cost | None
    price: RosterPrice | None
    buy: tuple[Purchase, ...]
    book: Revision
    book_until: BookUntil = None
    engine: Engine
    seal: Annotated[
        Seal | None,
        Meta(description="Guarantees the total; null unless asked for, without a price, and while a row has faults."),
    ]
