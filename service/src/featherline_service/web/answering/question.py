"""A kind of question as it is answered over HTTP, and what is kept of an answer beside its bytes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple, Protocol

from msgspec import Struct

from featherline.wire.costs import Order
from featherline.wire.fits import FitAnswer
from featherline.wire.hand_prices import HandPriceAnswer
from featherline.wire.offers import FitOffer, Offer, OfferReason, RosterOffer
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import RecipeAnswer
from featherline.wire.rosters import Roster, RosterAnswer
from featherline.wire.trials import TrialAnswer
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.questions.record_ranges import Outside
from featherline_service.signatures import Sealable, sealable_by_hand, sealable_of
from featherline_service.web.http.json_text import encode


class Computed(NamedTuple):
    """An answer as it was computed: its body without a seal, its verdict and reasons, and what a seal vouches for.

    `outside` are the records of the book that it uses outside their range.
    """

    body: bytes
    verdict: str | None = None
    reasons: Sequence[Reason | OfferReason] = ()
    sealable: Sealable | None = None
    outside: Sequence[Outside] = ()


class Sealer(Protocol):
    """Seals answers: a seal holds for a period, such as a minute."""

    def period(self) -> int:
        """Return the number of the present period."""
        ...

    def seal(self, sealable: Sealable, period: int, audience: str | None) -> bytes:
        """Return the seal of an answer in a period, for the key with an id; None without keys."""
        ...

    def attach(self, body: bytes, seal: bytes) -> bytes:
        """Return an answer with its seal."""
        ...


class Reader(Protocol):
    """Reads a body, as `Body` does."""

    def decode(self, body: bytes) -> Any:  # noqa: ANN401 - of the question's type
        """Return the request that a body holds."""
        ...


class Question(Struct, frozen=True, eq=False):
    """A kind of question: its name, the reader of its body, the function that computes its answer, and its sealer.

    `compute` takes the language of the answer's sentences, too. `is_long` tells a request whose answer takes seconds,
    which is no line of bulk. An answer that is not `kept` is computed each time.
    """

    name: str
    body: Reader
    compute: Callable[[Book, Any, str], Computed]
    sealer: Sealer | None = None
    is_long: Callable[[Any], bool] = lambda _request: False
    kept: bool = True


def computed(request: Any, answer: Struct) -> Computed:  # noqa: ANN401 - of any question
    """Return an answer encoded as JSON, with what is kept beside its bytes."""
    body = encode(answer)
    match answer:
        case RecipeAnswer(recipe=part) | FitAnswer(fit=part) | TrialAnswer(trial=part):
            return Computed(body, part.verdict, part.reasons)
        case QuoteAnswer() | Offer() | FitOffer():
            sealable = None if isinstance(answer, FitOffer) else _sealable(request, answer)
            return Computed(body, answer.verdict, answer.reasons, sealable)
        case HandPriceAnswer():
            return Computed(body, answer.verdict, answer.reasons, sealable_by_hand(request, answer))
        case RosterAnswer() | RosterOffer():
            reasons = [reason for row in answer.rows for reason in row.reasons]
            return Computed(body, answer.verdict, reasons, _sealable(request, answer))
        case _:
            return Computed(body)


def _sealable(request: Order | Roster, answer: QuoteAnswer | RosterAnswer | Offer | RosterOffer) -> Sealable | None:
    """Return what a seal vouches for; None without a price, or for a roster with faults or whose seal is not asked."""
    if answer.price is None or (isinstance(request, Roster) and not request.seal):
        return None
    if isinstance(answer, RosterAnswer | RosterOffer) and answer.counts.faulty:
        # The rows are mended and asked again: two totals of one list would be in force.
        return None
    return sealable_of(request, answer, answer.price)
