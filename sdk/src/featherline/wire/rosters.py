"""The question "what of this team's list can be done, and for how much?", and its answer."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from featherline.wire.costs import Cost, Order, Owner, Pairs, PriceStep
from featherline.wire.money import Money
from featherline.wire.problems import Fault
from featherline.wire.quotes import Pressing
from featherline.wire.seals import Seal
from featherline.wire.shoes import Shoe, Size
from featherline.wire.texts import Engine, Identifier, Revision, Sentence
from featherline.wire.verdicts import Reason, Verdict

FieldName = Annotated[
    str,
    Meta(
        pattern=r"^[a-z][a-z0-9_]*$(?!\n)",
        max_length=32,
        description="The name of a field: lower-case letters, digits and underscores, a letter first.",
        examples=["name"],
    ),
]
FieldText = Annotated[str, Meta(max_length=200, description="What stands in a field: any text, braces too.")]
RowId = Annotated[str, Meta(min_length=1, max_length=128, description="The caller's own name for a row.")]


class RosterRow(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One wearer of a roster. What is not said is the order's.

    `fields` fill the template. `size` is of the order's shoe of the book; `shoe` is another shoe, which brings its own.
    """

    id: RowId | None = None
    fields: Annotated[
        dict[FieldName, FieldText], Meta(max_length=12, examples=[{"name": "MARLOW", "number": "7"}])
    ] = {}
    size: Size | None = None
    shoe: Shoe | None = None
    pairs: Pairs | None = None
    owner: Owner | None = None

    def __post_init__(self) -> None:
        """Refuse a row that says its size twice."""
        if self.size is not None and self.shoe is not None:
            raise ValueError("Give a row one of `size` and `shoe`: a shoe brings its own size")


class Roster(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An order for every row of a list: its texts are templates, such as ``"{name}"`` over ``"{number}"``.

    A name in braces stands for that field of the row; ``{{`` and ``}}`` stand for braces. `pairs` of the order is what
    a row has that does not say. The film is nested, and the price made, for all rows together.
    """

    order: Order
    rows: Annotated[tuple[RosterRow, ...], Meta(min_length=1, max_length=500)]
    seal: Annotated[bool, Meta(description="Whether to seal the total.")] = False


class RowPlacement(Struct, frozen=True, kw_only=True):
    """A placement of the order as a row has it: the text, and how it fits. Without a text, it is a drawing."""

    text: str | None
    verdict: Verdict
    width_mm: float
    height_mm: float
    letter_height_mm: float | None
    clearance_mm: float


class RowPrice(Struct, frozen=True, kw_only=True):
    """What to charge for a row: `each` times its pairs is `total`."""

    each: Money
    total: Money


class RowAnswer(Struct, frozen=True, kw_only=True):
    """What becomes of a row: done, to be tried first, declined; or, with faults, not understood.

    `row` is its place in the request, from 0. Only what is ready or to be tried has a cost and a price. `plan` is the
    place in `plans` of the pressings that it takes. Pointers of faults and subjects of reasons lead into the request.
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


class PressingPlan(Struct, frozen=True, kw_only=True):
    """The pressings that some rows take, pair by pair, in the order of the bench."""

    rows: Annotated[tuple[int, ...], Meta(description="Places in the request's rows, from 0.")]
    pairs: int
    pressings: tuple[Pressing, ...]


class LargestLetters(Struct, frozen=True, kw_only=True):
    """How high the letters of a placement may be for the texts of all rows to fit; null where of one row none do.

    `row` is the row that says so, from 0. Whether the film can be cut so fine is another matter.
    """

    placement: Annotated[int, Meta(description="Place in the order's placements, from 0.")]
    letter_height_mm: float | None
    row: int


class Purchase(Struct, frozen=True, kw_only=True):
    """What the roster uses up of one thing, and how much of it is bought at a time.

    `packs` is how many of those that is at the most: whole rolls, whole sheets. What is in the shop is not looked at,
    but for the offcuts. `record` is the thing's, as ``kind/id``; `price` is that of one pack, null where the book has
    none.
    """

    what: Annotated[
        str, Meta(max_length=32, description="What it is: film, cover, tape. More may come.", examples=["film"])
    ]
    record: str
    colour: Identifier | None
    quantity: float
    unit: str
    packs: int | None
    price: Money | None
    sentence: Sentence


class RosterPrice(Struct, frozen=True, kw_only=True):
    """What to charge for the roster, before tax: the sum of its rows. `margin` is the share that is not cost.

    Quantity breaks are for the pairs of all rows together; set-up is charged once, spread over the pairs.
    """

    policy: Identifier
    total: Money
    margin: float
    why: tuple[PriceStep, ...]
    warnings: tuple[Sentence, ...]


class RosterCounts(Struct, frozen=True, kw_only=True):
    """How many rows there are of each kind."""

    ready: int
    trial: int
    declined: int
    faulty: int


class RosterAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a `Roster`. Cost, price and purchases are those of the rows that are ready or to be tried.

    `verdict` is the worst of those rows; `decline` where there is none.
    """

    verdict: Verdict
    counts: RosterCounts
    pairs: int
    rows: tuple[RowAnswer, ...]
    plans: tuple[PressingPlan, ...]
    largest_letters: tuple[LargestLetters, ...]
    unused_fields: Annotated[
        tuple[FieldName, ...], Meta(description="Fields that rows give and no template of the order asks for.")
    ]
    cost: Cost | None
    price: RosterPrice | None
    buy: tuple[Purchase, ...]
    book: Revision
    engine: Engine
    seal: Annotated[Seal | None, Meta(description="Vouches for the total; null where none was asked, or no price is.")]
