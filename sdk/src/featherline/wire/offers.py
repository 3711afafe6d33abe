"""Answers for customers: verdict, reasons in words for them, price and seal, without a cost or a setting.

They are made of the answers for the shop, type by type: what has no field here is not sent. The requests are the same.
"""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct

from featherline.wire.costs import Order, PriceTax, QuantityPrice
from featherline.wire.fits import Largest
from featherline.wire.money import Money
from featherline.wire.problems import Fault
from featherline.wire.rosters import LargestLetters, RosterBand, RosterCounts, RowId, RowPrice
from featherline.wire.seals import Seal
from featherline.wire.shoes import Face
from featherline.wire.texts import BookUntil, Engine, Identifier, Reference, Revision, Sentence
from featherline.wire.verdicts import MessageId, Parameter, SentenceLanguage, Verdict


class OfferReason(Struct, frozen=True, kw_only=True):
    """A reason for a verdict, in words for the customer; a `ready` reason is a remark.

    `subject` is a JSON Pointer into the request. The code `shop.ask` stands for all reasons that are the shop's own
    business: the customer is to ask there.
    """

    code: Annotated[
        str,
        Meta(
            max_length=64,
            description="The kind of reason, as in the answers for the shop; or shop.ask. More may come.",
            examples=["fit.outside"],
        ),
    ]
    verdict: Verdict
    subject: str
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class OfferMend(Struct, frozen=True, kw_only=True):
    """A change of the request with which a film takes an artwork that is too fine for it, all else left as asked.

    `value` is for the field of the request at `subject`; `fits` is whether the artwork still fits the panel then.
    """

    kind: Annotated[str, Meta(max_length=32, description="spacing, height or font. More may come.", examples=["font"])]
    subject: str
    value: float | str
    verdict: Verdict
    fits: bool | None


OfferMends = Annotated[
    tuple[OfferMend, ...], Meta(description="For an artwork too fine for the film: changes with which it is taken.")
]


class OfferPlacement(Struct, frozen=True, kw_only=True):
    """A placement of the order as it would be: whether it fits there in that film, and how large it is."""

    panel: Identifier
    sides: Literal["both", "left", "right"]
    verdict: Verdict
    width_mm: float
    height_mm: float
    letter_height_mm: float | None
    mends: OfferMends = ()


class OfferBand(Struct, frozen=True, kw_only=True):
    """A line of the price list: the price of a pair in orders from so many pairs on, beside the set-up."""

    from_pairs: int
    each: Money


class OfferPrice(Struct, frozen=True, kw_only=True):
    """The price: `each` times pairs, `set_up` and `to_minimum` add up to `total`.

    It is before tax unless `tax` says otherwise. The customer pays `paid`: the total, with tax where the policy states
    it.
    """

    policy: Identifier
    each: Money
    set_up: Annotated[Money | None, Meta(description="Charged once for an order; null for a plug-in's policy.")]
    to_minimum: Annotated[
        Money | None, Meta(description="Added to reach the policy's minimum order; null where nothing is.")
    ]
    total: Money
    tax: Annotated[PriceTax | None, Meta(description="Null where the policy states no tax.")]
    paid: Money
    price_list: tuple[OfferBand, ...]
    quantities: Annotated[
        tuple[QuantityPrice, ...], Meta(description="The prices of the request's `quantities`, in their order.")
    ]


class OfferProposal(Struct, frozen=True, kw_only=True):
    """An order that would be done instead, ready to be sent, with its price; it is not sealed before it is.

    `changes` are what is different from the order that was asked for, with pointers into it.
    """

    changes: tuple[OfferReason, ...]
    verdict: Verdict
    total: Money
    order: Order


class Offer(Struct, frozen=True, kw_only=True):
    """The answer to an `Order` for the customer. A declined order has no price."""

    reference: Annotated[Reference | None, Meta(description="The order's `reference`.")]
    verdict: Verdict
    reasons: tuple[OfferReason, ...]
    placements: tuple[OfferPlacement, ...]
    price: OfferPrice | None
    proposals: Annotated[
        tuple[OfferProposal, ...],
        Meta(description="For a declined order that asks for them: the best verdicts first, then the nearest."),
    ] = ()
    book: Revision
    book_until: BookUntil
    engine: Engine
    seal: Annotated[Seal | None, Meta(description="Guarantees the price until it expires; null if there is no price.")]


class FitOffer(Struct, frozen=True, kw_only=True):
    """The answer to a `FitRequest` for the customer.

    `largest` is the largest copy at that place, null if none fits there.
    """

    verdict: Verdict
    reasons: tuple[OfferReason, ...]
    mends: OfferMends
    panel: Identifier
    face: Face
    width_mm: float
    height_mm: float
    letter_height_mm: float | None
    largest: Largest | None
    book: Revision
    book_until: BookUntil
    engine: Engine


class RowOfferPlacement(Struct, frozen=True, kw_only=True):
    """A placement of the order for one row: its text, null for a drawing, and how large it is."""

    text: str | None
    verdict: Verdict
    width_mm: float
    height_mm: float
    letter_height_mm: float | None
    mends: OfferMends = ()


class RowOffer(Struct, frozen=True, kw_only=True):
    """The answer to a row: its verdict or, for a row with faults, null and the faults.

    Only a row that is `ready` or `trial` has a price. Pointers are into the request, indices from 0.
    """

    row: int
    id: RowId | None
    verdict: Verdict | None
    faults: tuple[Fault, ...]
    reasons: tuple[OfferReason, ...]
    pairs: int
    placements: tuple[RowOfferPlacement, ...]
    price: RowPrice | None


class RosterOfferPrice(Struct, frozen=True, kw_only=True):
    """The price of a roster: the sum of its rows, `set_up` and `to_minimum`; before tax unless `tax` says otherwise.

    The customer pays `paid`: the total, with tax where the policy states it. `leaves_out` are the rows that are not in
    it, as they have faults or are declined.
    """

    policy: Identifier
    set_up: Annotated[Money | None, Meta(description="Charged once; null for a plug-in's policy.")]
    to_minimum: Annotated[
        Money | None, Meta(description="Added to reach the policy's minimum order; null where nothing is.")
    ]
    total: Money
    tax: Annotated[PriceTax | None, Meta(description="Null where the policy states no tax.")]
    paid: Money
    price_list: tuple[RosterBand, ...]
    leaves_out: Annotated[tuple[int, ...], Meta(description="Indices into the request's rows, from 0.")]


class RosterOffer(Struct, frozen=True, kw_only=True):
    """The answer to a `Roster` for the customer. The price is for the rows that are `ready` or `trial`.

    `verdict` is the worst of those rows, and `decline` if there are none.
    """

    reference: Annotated[Reference | None, Meta(description="The order's `reference`.")]
    verdict: Verdict
    counts: RosterCounts
    pairs: int
    rows: tuple[RowOffer, ...]
    largest_letters: tuple[LargestLetters, ...]
    price: RosterOfferPrice | None
    book: Revision
    book_until: BookUntil
    engine: Engine
    seal: Annotated[
        Seal | None,
        Meta(description="Guarantees the total; null unless asked for, without a price, and while a row has faults."),
    ]


class CandidateOffer(Struct, frozen=True, kw_only=True):
    """A candidate as answered: its verdict or, with faults, null and the faults; what the customer would pay for it."""

    candidate: int
    reference: Reference | None
    verdict: Verdict | None
    faults: tuple[Fault, ...]
    reasons: tuple[OfferReason, ...]
    each: Money | None
    paid: Money | None


class FromPriceOffer(Struct, frozen=True, kw_only=True):
    """The answer to a `FromPriceRequest` for the customer. Its price is not sealed: an offer of the order is."""

    cheapest: Annotated[int | None, Meta(description="Its index in the request, from 0; null: none is ready.")]
    price: Annotated[OfferPrice | None, Meta(description="The price of the cheapest.")]
    candidates: tuple[CandidateOffer, ...]
    book: Revision
    book_until: BookUntil
    engine: Engine
