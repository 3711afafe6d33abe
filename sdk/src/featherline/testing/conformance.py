"""The laws of plug-ins as tests, for the authors of plug-ins to subclass and pytest to run.

::

    from featherline.testing import PricePolicyTests
    from saltmarsh_rules import ClubPrice


    class TestClubPrice(PricePolicyTests):
        make = ClubPrice

The arguments are recorded, such as the costs of many kinds of work. A subclass may override them, or add tests of its
own.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any, ClassVar, Final, TypeVar

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from featherline import laws
from featherline.plugins import (
    ArtworkError,
    ArtworkReader,
    Check,
    Drawing,
    Findings,
    Lot,
    PricePolicy,
    RecordSource,
    Sale,
    SalePrice,
    Shelves,
    Supplied,
)
from featherline.testing import recordings
from featherline.testing.recordings import Recording
from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import Cost, CostAnswer, Measured, Order, OrderWork
from featherline.wire.money import Money
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.rosters import Roster, RosterAnswer
from featherline.wire.verdicts import Reason

_Frozen = TypeVar("_Frozen", bound=Struct)

_DAMAGED_COPIES: Final = 200  # of every sample of an artwork reader


class PricePolicyTests:
    """The laws of a price policy. `make` makes it: the class itself, or a function without parameters."""

    make: ClassVar[Callable[[], PricePolicy]]

    def sales(self) -> Iterable[Sale]:
        """Return the sales to price: recorded ones, in three currencies, in a rush and not."""
        return tuple(_sales())

    def test_it_is_a_price_policy(self) -> None:
        """It has the method of the protocol."""
        assert isinstance(type(self).make(), PricePolicy)  # noqa: S101 - a test

    def test_every_sale_has_a_lawful_price(self) -> None:
        """Types, currency and minor units are right; prices add up to the total, as do the steps."""
        policy = type(self).make()
        for sale in self.sales():
            _assert_none(laws.of_price(sale, policy.price(sale)), sale)

    def test_the_same_sale_has_the_same_price(self) -> None:
        """The price depends on the sale alone: not on the object, the order of calls, or the identity of the sale."""
        policy, other = type(self).make(), type(self).make()
        sales = tuple(self.sales())
        first: list[SalePrice] = [policy.price(sale) for sale in sales]
        _assert_same(first, [policy.price(_copy(sale)) for sale in sales])
        _assert_same(first, [other.price(sale) for sale in reversed(sales)][::-1])


class CheckTests:
    """The laws of a check. `make` makes it, and `name` is that of its entry point."""

    make: ClassVar[Callable[[], Check]]
    name: ClassVar[str]

    def cases(self) -> Iterable[tuple[Order, Findings]]:
        """Return the arguments of the calls: recorded orders and their findings."""
        return tuple(_cases())

    def test_it_is_a_check(self) -> None:
        """It has the method of the protocol."""
        assert isinstance(type(self).make(), Check)  # noqa: S101 - a test

    def test_every_reason_is_lawful(self) -> None:
        """Types are right, the code begins with the check's name, and the subject is in the order."""
        check = type(self).make()
        for order, findings in self.cases():
            _assert_none(laws.of_reasons(self.name, order, tuple(check.check(order, findings))), order)

    def test_the_same_order_has_the_same_reasons(self) -> None:
        """The reasons depend on the order and its findings alone: not on the object, or on the order of calls."""
        check, other = type(self).make(), type(self).make()
        cases = tuple(self.cases())
        first: list[tuple[Reason, ...]] = [tuple(check.check(*case)) for case in cases]
        _assert_same(first, [tuple(check.check(_copy(order), _copy(findings))) for order, findings in cases])
        _assert_same(first, [tuple(other.check(*case)) for case in reversed(cases)][::-1])


class RecordSourceTests:
    """The laws of a record source. `make` makes it.

    The service also checks the records with the whole book: references, citations of every number, currencies.
    """

    make: ClassVar[Callable[[], RecordSource]]

    def book(self) -> Shelves:
        """Return the book for the calls: the films, shoes, rates, policies and sources of the demo book."""
        return recordings.shelves()

    def test_it_is_a_record_source(self) -> None:
        """It has the method of the protocol."""
        assert isinstance(type(self).make(), RecordSource)  # noqa: S101 - a test

    def test_its_records_are_lawful(self) -> None:
        """Types and ranges are right, and every record occurs once and cites the source."""
        _assert_none(laws.of_supplied(type(self).make().supply(self.book())), "the demo book")

    def test_it_supplies_the_same_each_time(self) -> None:
        """The records and their order depend on the book alone: not on the object, or on earlier calls."""
        source = type(self).make()
        first: Supplied = source.supply(self.book())
        _assert_same([first], [source.supply(self.book())])
        _assert_same([first], [type(self).make().supply(self.book())])


class ArtworkReaderTests:
    """The laws of an artwork reader. `make` makes it; `samples` are files that it reads, by their media types."""

    make: ClassVar[Callable[[], ArtworkReader]]
    samples: ClassVar[Mapping[str, Sequence[bytes]]]

    def test_it_is_an_artwork_reader(self) -> None:
        """It has the members of the protocol, its media types are well formed, and there is a sample of each."""
        reader = type(self).make()
        assert isinstance(reader, ArtworkReader)  # noqa: S101 - a test
        _assert_none(laws.of_media_types(reader.media_types), "`media_types`")
        unmatched = set(reader.media_types) ^ {name for name, files in self.samples.items() if files}
        _assert_none(
            (f"{name}: give samples of what it reads, and of nothing else" for name in sorted(unmatched)), "`samples`"
        )

    def test_every_sample_has_lawful_outlines(self) -> None:
        """Types are right, and subpaths are closed and within bounds."""
        reader = type(self).make()
        for media_type, content in self._files():
            _assert_none(laws.of_drawing(reader.read(content, media_type)), content)

    def test_the_same_file_has_the_same_outlines(self) -> None:
        """The outlines depend on the bytes and the media type alone: not on the object, or on earlier calls."""
        reader, other = type(self).make(), type(self).make()
        files = tuple(self._files())
        first: list[Drawing] = [reader.read(content, media_type) for media_type, content in files]
        _assert_same(first, [reader.read(bytes(content), media_type) for media_type, content in files])
        _assert_same(first, [other.read(content, media_type) for media_type, content in reversed(files)][::-1])

    def test_a_damaged_file_is_refused_or_read(self) -> None:
        """A truncated, altered or empty file raises an `ArtworkError` with a sentence, or has lawful outlines."""
        reader = type(self).make()
        for media_type, content in self._files():
            for damaged in _damage(content):
                try:
                    drawing = reader.read(damaged, media_type)
                except ArtworkError as error:
                    _assert_none(() if str(error) else ("The ArtworkError has no message",), damaged)
                else:
                    _assert_none(laws.of_drawing(drawing), damaged)

    def _files(self) -> Iterator[tuple[str, bytes]]:
        for media_type, files in self.samples.items():
            for content in files:
                yield media_type, content


def _assert_none(faults: Iterable[str], argument: object) -> None:
    """Raise an `AssertionError` with the faults of a call and its argument, unless there are none."""
    listed = "\n".join(f"  - {fault}" for fault in faults)
    if listed:
        raise AssertionError(f"Against the laws of its kind:\n{listed}\ncalled with: {str(argument)[:2000]}")


def _assert_same(first: Sequence[object], second: Sequence[object]) -> None:
    for before, after in zip(first, second, strict=True):
        if before != after:
            raise AssertionError(
                f"With the same arguments, it returned\n  {str(before)[:1000]}\nand then\n  {str(after)[:1000]}"
            )


def _copy(value: _Frozen) -> _Frozen:
    """Return an equal value that shares no object with the first."""
    return msgspec.json.decode(msgspec.json.encode(value), type=type(value))


def _damage(content: bytes) -> Iterator[bytes]:
    """Yield truncated and altered copies of a file: always the same, for the same length."""
    dice = random.Random(len(content))  # noqa: S311 - no secret
    yield b""
    for _ in range(_DAMAGED_COPIES // 2 if content else 0):
        yield content[: dice.randrange(len(content) + 1)]
        altered = bytearray(content)
        for _ in range(dice.randint(1, 4)):
            altered[dice.randrange(len(altered))] = dice.randrange(256)
        yield bytes(altered)


def _cases() -> Iterator[tuple[Order, Findings]]:
    """Yield the recorded orders and their findings."""
    for recording in recordings.examples():
        if isinstance(recording.answer, QuoteAnswer):
            quote = recording.answer
            yield (
                recording.request,
                Findings(
                    verdict=quote.verdict,
                    reasons=quote.reasons,
                    placements=quote.placements,
                    pressings=quote.pressings,
                ),
            )


def _sales() -> Iterator[Sale]:
    """Yield the recorded sales, and the same in currencies with other minor units; each also in a rush."""
    recorded = [sale for recording in recordings.examples() for sale in _recorded_sales(recording)]
    abroad = [_in_currency(sale, currency, shift) for sale in recorded for currency, shift in (("JPY", 2), ("KWD", -1))]
    for sale in (*recorded, *abroad):
        yield sale
        yield replace(sale, rush=True)


def _recorded_sales(recording: Recording) -> Iterator[Sale]:
    """Yield the sale of a recorded answer, if it has a cost."""
    request, answer = recording.request, recording.answer
    cost = getattr(answer, "cost", None)
    if not isinstance(cost, Cost):
        return
    lots: tuple[Lot, ...]
    match answer:
        case QuoteAnswer():
            lots = (_lot_of_order(request, cost),)
        case CostAnswer() if isinstance(request, OrderWork):
            lots = (_lot_of_order(request.order, cost),)
        case CostAnswer():
            lots = (_lot_of_measures(request, cost),)
        case _:
            lots = tuple(_lots_of_roster(request, answer))
    yield Sale(currency=cost.total.currency, cost=cost, lots=lots, rush=False)


def _lot_of_order(order: Order, cost: Cost) -> Lot:
    artworks = [placement.artwork for placement in order.placements]
    texts = [artwork.text if isinstance(artwork, TextArtwork) else "" for artwork in artworks]
    return _lot(order, order.pairs, texts, cost.total)


def _lots_of_roster(roster: Roster, answer: RosterAnswer) -> Iterator[Lot]:
    for row in answer.rows:
        if row.cost is not None:
            yield _lot(roster.order, row.pairs, [placement.text or "" for placement in row.placements], row.cost)


def _lot(order: Order, pairs: int, texts: Sequence[str], cost: Money) -> Lot:
    """Return the lot of some pairs of an order, with a text for each placement."""
    shoes = [2 if placement.sides == "both" else 1 for placement in order.placements]
    letters = [sum(not letter.isspace() for letter in text) for text in texts]
    return Lot(
        pairs=pairs,
        cost=cost,
        placements=pairs * sum(shoes),
        characters=pairs * sum(count * length for count, length in zip(shoes, letters, strict=True)),
    )


def _lot_of_measures(work: Measured, cost: Cost) -> Lot:
    placements = work.pairs * sum(piece.per_pair for piece in work.pieces)
    return Lot(pairs=work.pairs, cost=cost.total, placements=placements, characters=0)


def _in_currency(sale: Sale, currency: str, shift: int) -> Sale:
    """Return a sale with every amount in another currency, in as many minor units, so that they still add up."""

    def converted(value: Any) -> Any:  # noqa: ANN401 - JSON data
        match value:
            case {"amount": str(amount), "currency": _}:
                return {"amount": f"{Decimal(amount).scaleb(shift):f}", "currency": currency}
            case dict():
                return {name: converted(item) for name, item in value.items()}
            case list() | tuple():
                return [converted(item) for item in value]
            case _:
                return value

    return msgspec.convert(converted(msgspec.to_builtins(replace(sale, currency=currency))), Sale)
