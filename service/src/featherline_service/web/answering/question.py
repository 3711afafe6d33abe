"""A kind of question as it is answered over HTTP, and what is kept of an answer beside its bytes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple, Protocol

from msgspec import Struct

from featherline.wire.costs import Order, Price
from featherline.wire.fits import FitAnswer
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import RecipeAnswer
from featherline.wire.rosters import Roster, RosterAnswer
from featherline.wire.trials import TrialAnswer
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.signatures import Sealable
from featherline_service.web.http.bodies import Body
from featherline_service.web.http.json_text import encode


class Computed(NamedTuple):
    """An answer as it was computed: its body without a seal, its verdict and reasons, and what a seal vouches for."""

    body: bytes
    verdict: str | None = None
    reasons: Sequence[Reason] = ()
    sealable: Sealable | None = None


class Sealer(Protocol):
    """Seals answers: a seal holds for a period, such as a minute."""

    def period(self) -> int:
        """Return the number of the present period."""
        ...

    def seal(self, request: Any, sealable: Sealable, period: int) -> bytes:  # noqa: ANN401 - an order or a roster
        """Return the seal of the answer to a request in a period."""
        ...

    def attach(self, body: bytes, seal: bytes) -> bytes:
        """Return an answer with its seal."""
        ...


class Question(Struct, frozen=True, eq=False):
    """A kind of question: its name, the reader of its body, the function that computes its answer, and its sealer.

    `slices` are parts of a long computation that are done beforehand, one at a time, so that other questions need not
    wait for all of it. `is_long` tells a request whose answer waits for a process of its own: it is not computed in the
    line of the others.
    """

    name: str
    body: Body[Any]
    compute: Callable[[Book, Any], Computed]
    sealer: Sealer | None = None
    slices: Callable[[Book, Any], Iterable[Callable[[], None]]] | None = None
    is_long: Callable[[Any], bool] | None = None

    def period(self) -> int | None:
        """Return the present period of the answer's seal; None when it has none."""
        return None if self.sealer is None else self.sealer.period()


def computed(request: Any, answer: Struct) -> Computed:  # noqa: ANN401 - of any question
    """Return an answer encoded as JSON, with what is kept beside its bytes."""
    body = encode(answer)
    match answer:
        case RecipeAnswer():
            return Computed(body, answer.recipe.verdict, answer.recipe.reasons)
        case FitAnswer():
            return Computed(body, answer.fit.verdict, answer.fit.reasons)
        case TrialAnswer():
            return Computed(body, answer.trial.verdict, answer.trial.reasons)
        case QuoteAnswer():
            return Computed(body, answer.verdict, answer.reasons, _sealable(request, answer))
        case RosterAnswer():
            reasons = [reason for row in answer.rows for reason in row.reasons]
            return Computed(body, answer.verdict, reasons, _sealable(request, answer))
        case _:
            return Computed(body)


def _sealable(request: Order | Roster, answer: QuoteAnswer | RosterAnswer) -> Sealable | None:
    """Return what a seal vouches for; None without a price, or for a roster with faults or whose seal is not asked."""
    if answer.price is None or (isinstance(request, Roster) and not request.seal):
        return None
    if isinstance(answer, RosterAnswer) and answer.counts.faulty:
        # The rows are mended and asked again: two totals of one list would be in force.
        return None
    return Sealable(
        verdict=answer.verdict,
        policy=answer.price.policy,
        each=answer.price.each if isinstance(answer, QuoteAnswer) else None,
        total=answer.price.total,
        book=answer.book,
        engine=answer.engine,
        quantities=answer.price.quantities if isinstance(answer.price, Price) else (),
        tax=answer.price.tax,
    )
