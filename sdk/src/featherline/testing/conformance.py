"""The laws of plug-ins as tests: a plug-in's author subclasses a class, says how the plug-in is made, and runs pytest.

::

    from featherline.testing import PricePolicyTests
    from saltmarsh_rules import ClubPrice


    class TestClubPrice(PricePolicyTests):
        make = ClubPrice

It is asked what is recorded, such as the costs of many kinds of work. A subclass may override what it is asked, or add
tests of its own.
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
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.rosters import Roster, RosterAnswer
from featherline.wire.verdicts import Reason

_Frozen = TypeVar("_Frozen", bound=Struct)

_SPOILT: Final = 200
"""How many spoilt copies of every sample an artwork reader is given."""


class PricePolicyTests:
    """The laws of a price policy. `make` makes it: the class itself, or a function without parameters."""

    make: ClassVar[Callable[[], PricePolicy]]

    def sales(self) -> Iterable[Sale]:
        """Return what it is asked to price: recorded sales, in three currencies, in a rush and not."""
        return tuple(_sales())

    def test_it_is_a_price_policy(self) -> None:
        """It has the method of the protocol."""
        assert isinstance(type(self).make(), PricePolicy)  # noqa: S101 - a test

    def test_every_sale_has_a_lawful_price(self) -> None:
        """Types, currency, minor units; each price times its pairs adds up to the total, as the steps do."""
        policy = type(self).make()
        for sale in self.sales():
            _hold(laws.of_price(sale, policy.price(sale)), sale)

    def test_the_same_sale_has_the_same_price(self) -> None:
        """It is a function of the sale alone: asked again, made anew, in another order, or with an equal sale."""
        policy, other = type(self).make(), type(self).make()
        sales = tuple(self.sales())
        first: list[SalePrice] = [policy.price(sale) for sale in sales]
        _same(first, [policy.price(_copied(sale)) for sale in sales])
        _same(first, [other.price(sale) for sale in reversed(sales)][::-1])


class CheckTests:
    """The laws of a check. `make` makes it, and `name` is that of its entry point."""

    make: ClassVar[Callable[[], Check]]
    name: ClassVar[str]

    def cases(self) -> Iterable[tuple[Order, Findings]]:
        """Return what it is asked: recorded orders, and what was found of them."""
        return tuple(_cases())

    def test_it_is_a_check(self) -> None:
        """It has the method of the protocol."""
        assert isinstance(type(self).make(), Check)  # noqa: S101 - a test

    def test_every_reason_is_lawful(self) -> None:
        """Types, a code of its own, a subject in the order, and a verdict: reasons are added, so none gets better."""
        check = type(self).make()
        for order, found in self.cases():
            _hold(laws.of_reasons(self.name, order, tuple(check.check(order, found))), order)

    def test_the_same_order_has_the_same_reasons(self) -> None:
        """It is a function of the order and what was found: asked again, made anew, or with equal ones."""
        check, other = type(self).make(), type(self).make()
        cases = tuple(self.cases())
        first: list[tuple[Reason, ...]] = [tuple(check.check(*case)) for case in cases]
        _same(first, [tuple(check.check(_copied(order), _copied(found))) for order, found in cases])
        _same(first, [tuple(other.check(*case)) for case in reversed(cases)][::-1])


class RecordSourceTests:
    """The laws of a record source. `make` makes it.

    The service checks the records with the whole book besides: references, citations of every number, currencies.
    """

    make: ClassVar[Callable[[], RecordSource]]

    def book(self) -> Shelves:
        """Return the book that it is given: the films, shoes, rates, policies and sources of the demo book."""
        return recordings.shelves()

    def test_it_is_a_record_source(self) -> None:
        """It has the method of the protocol."""
        assert isinstance(type(self).make(), RecordSource)  # noqa: S101 - a test

    def test_its_records_are_lawful(self) -> None:
        """Types and ranges; every record once, and citing the source."""
        _hold(laws.of_supplied(type(self).make().supply(self.book())), "the demo book")

    def test_it_supplies_the_same_each_time(self) -> None:
        """It is a function of the book: asked again, or made anew, the records are the same, in the same order."""
        source = type(self).make()
        first: Supplied = source.supply(self.book())
        _same([first], [source.supply(self.book())])
        _same([first], [type(self).make().supply(self.book())])


class ArtworkReaderTests:
    """The laws of an artwork reader. `make` makes it; `samples` are files that it reads, by their media types."""

    make: ClassVar[Callable[[], ArtworkReader]]
    samples: ClassVar[Mapping[str, Sequence[bytes]]]

    def test_it_is_an_artwork_reader(self) -> None:
        """It has what the protocol has, its media types are well formed, and there is a sample of each."""
        reader = type(self).make()
        assert isinstance(reader, ArtworkReader)  # noqa: S101 - a test
        _hold(laws.of_media_types(reader.media_types), "`media_types`")
        unread = set(reader.media_types) ^ {name for name, files in self.samples.items() if files}
        _hold((f"{name}: give samples of what it reads, and of nothing else" for name in sorted(unread)), "`samples`")

    def test_every_sample_has_lawful_outlines(self) -> None:
        """Types; closed subpaths, within bounds."""
        reader = type(self).make()
        for media_type, content in self._files():
            _hold(laws.of_drawing(reader.read(content, media_type)), content)

    def test_the_same_file_has_the_same_outlines(self) -> None:
        """It is a function of the bytes and the media type: asked again, or made anew."""
        reader, other = type(self).make(), type(self).make()
        files = tuple(self._files())
        first: list[Drawing] = [reader.read(content, media_type) for media_type, content in files]
        _same(first, [reader.read(bytes(content), media_type) for media_type, content in files])
        _same(first, [other.read(content, media_type) for media_type, content in reversed(files)][::-1])

    def test_a_spoilt_file_is_refused_or_read(self) -> None:
        """Cut short, with other bytes, or empty: an `ArtworkError` with a sentence, or lawful outlines."""
        reader = type(self).make()
        for media_type, content in self._files():
            for spoilt in _spoilt(content):
                try:
                    drawing = reader.read(spoilt, media_type)
                except ArtworkError as error:
                    _hold(() if str(error) else ("The ArtworkError says nothing",), spoilt)
                else:
                    _hold(laws.of_drawing(drawing), spoilt)

    def _files(self) -> Iterator[tuple[str, bytes]]:
        for media_type, files in self.samples.items():
            for content in files:
                yield media_type, content


def _hold(faults: Iterable[str], asked: object) -> None:
    """Raise what is wrong, and what was asked."""
    found = "\n".join(f"  - {fault}" for fault in faults)
    if found:
        raise AssertionError(f"Against the laws of its kind:\n{found}\nwhen asked: {str(asked)[:2000]}")


def _same(first: Sequence[object], again: Sequence[object]) -> None:
    for one, other in zip(first, again, strict=True):
        if one != other:
            raise AssertionError(f"Asked the same, it answered\n  {str(one)[:1000]}\nand then\n  {str(other)[:1000]}")


def _copied(value: _Frozen) -> _Frozen:
    """Return an equal value that shares nothing with the first."""
    return msgspec.json.decode(msgspec.json.encode(value), type=type(value))


def _spoilt(content: bytes) -> Iterator[bytes]:
    """Yield copies of a file that are cut short or have other bytes: the same ones each time."""
    dice = random.Random(len(content))  # noqa: S311 - no secret
    yield b""
    for _ in range(_SPOILT // 2 if content else 0):
        yield content[: dice.randrange(len(content) + 1)]
        changed = bytearray(content)
        for _ in range(dice.randint(1, 4)):
            changed[dice.randrange(len(changed))] = dice.randrange(256)
        yield bytes(changed)


def _cases() -> Iterator[tuple[Order, Findings]]:
    """Yield the recorded orders, and what was found of them."""
    for each in recordings.examples():
        if isinstance(each.answer, QuoteAnswer):
            quote = each.answer
            yield (
                each.request,
                Findings(
                    verdict=quote.verdict,
                    reasons=quote.reasons,
                    placements=quote.placements,
                    pressings=quote.pressings,
                ),
            )


def _sales() -> Iterator[Sale]:
    """Yield the recorded sales; then the same in currencies of other minor units; then all of them in a rush."""
    recorded = [sale for each in recordings.examples() for sale in _sale(each)]
    abroad = [_exchanged(sale, currency, shift) for sale in recorded for currency, shift in (("JPY", 2), ("KWD", -1))]
    for sale in (*recorded, *abroad):
        yield sale
        yield replace(sale, rush=True)


def _sale(each: Recording) -> Iterator[Sale]:
    answered, cost = each.answer, getattr(each.answer, "cost", None)
    if not isinstance(cost, Cost):
        return
    lots: tuple[Lot, ...]
    match answered:
        case QuoteAnswer():
            lots = (_lot(each.request, cost),)
        case CostAnswer() if isinstance(each.request, OrderWork):
            lots = (_lot(each.request.order, cost),)
        case CostAnswer():
            lots = (_measured(each.request, cost),)
        case _:
            lots = tuple(_rows(each.request, answered))
    yield Sale(currency=cost.total.currency, cost=cost, lots=lots, rush=False)


def _lot(order: Order, cost: Cost) -> Lot:
    copies = [2 if placement.sides == "both" else 1 for placement in order.placements]
    texts = [
        placement.artwork.text if isinstance(placement.artwork, TextArtwork) else "" for placement in order.placements
    ]
    return Lot(
        pairs=order.pairs,
        cost=cost.total,
        placements=order.pairs * sum(copies),
        characters=order.pairs * sum(count * _letters(text) for count, text in zip(copies, texts, strict=True)),
    )


def _measured(work: Measured, cost: Cost) -> Lot:
    placements = work.pairs * sum(piece.per_pair for piece in work.pieces)
    return Lot(pairs=work.pairs, cost=cost.total, placements=placements, characters=0)


def _rows(roster: Roster, answered: RosterAnswer) -> Iterator[Lot]:
    copies = [2 if placement.sides == "both" else 1 for placement in roster.order.placements]
    for row in answered.rows:
        if row.cost is not None:
            letters = [_letters(placement.text or "") for placement in row.placements]
            yield Lot(
                pairs=row.pairs,
                cost=row.cost,
                placements=row.pairs * sum(copies),
                characters=row.pairs * sum(count * own for count, own in zip(copies, letters, strict=True)),
            )


def _letters(text: str) -> int:
    return sum(not letter.isspace() for letter in text)


def _exchanged(sale: Sale, currency: str, shift: int) -> Sale:
    """Return a sale in another currency, its sums the same number of minor units: they add up as before."""

    def exchanged(value: Any) -> Any:  # noqa: ANN401 - JSON data
        match value:
            case {"amount": str(amount), "currency": _}:
                return {"amount": f"{Decimal(amount).scaleb(shift):f}", "currency": currency}
            case dict():
                return {name: exchanged(each) for name, each in value.items()}
            case list() | tuple():
                return [exchanged(each) for each in value]
            case _:
                return value

    return msgspec.convert(exchanged(msgspec.to_builtins(replace(sale, currency=currency))), Sale)
