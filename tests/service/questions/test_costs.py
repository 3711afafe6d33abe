from __future__ import annotations

import os
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from random import Random

import msgspec
import pytest
from measured_work import PIECE, PRESSING, WORK
from msgspec.structs import replace

from featherline.wire.costs import (
    CostAnswer,
    CostLine,
    CutPiece,
    KnownPressing,
    Measured,
    Order,
    OrderWork,
)
from featherline.wire.money import Charge
from featherline.wire.records import Ending, Handling, QuantityBreak
from featherline_service.book.shop_book import Book
from featherline_service.cost.money import minor_digits
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.costs import estimate
from featherline_service.questions.quote.quotes import compose

EACH = 50 if os.environ.get("CI") else 6
"""Works drawn for each of fifty books in each of four currencies: 10,000 in all where CI runs, an eighth else."""

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"


def in_currency(book: Book, currency: str, random: Random) -> Book:
    """Return the book with every sum in another currency, and drawn anew in its whole minor units or finer."""
    digits = minor_digits(currency)

    def whole(most: int, least: int = 0) -> Charge:
        drawn = Fraction(random.randint(least, most * 10**digits), 10**digits)
        return Charge(amount=f"{float(drawn):.{digits}f}", currency=currency)

    def fine(most: float) -> Charge:
        return Charge(amount=f"{random.uniform(0, most):.5f}", currency=currency)

    rates, spoilage = book.rates["bench"], book.rates["bench"].spoilage
    return replace(
        book,
        rates={
            "bench": replace(
                rates,
                currency=currency,
                labour_per_hour=fine(4000),
                press_per_hour=fine(100),
                cutter_per_hour=fine(100),
                tape_per_placement=fine(1),
                packing_per_pair=fine(2),
                overhead=f"{random.uniform(0, 1):.4f}",
                spoilage=replace(spoilage, customer_pair_value=whole(200), apology=whole(20)),
            )
        },
        films={name: replace(film, roll=replace(film.roll, price=fine(500))) for name, film in book.films.items()},
        covers={name: replace(cover, price=fine(30)) for name, cover in book.covers.items()},
        policies={
            "counter": replace(
                book.policies["counter"],
                currency=currency,
                method=random.choice(["markup", "margin", "list"]),
                share=f"{random.uniform(0, 0.9):.3f}",
                per_placement=random.choice([None, whole(9)]),
                rush=f"{random.uniform(0, 1):.2f}",
                setup=whole(30),
                floor_per_pair=whole(15),
                breaks=(QuantityBreak(pairs=3, off="0.05"), QuantityBreak(pairs=5, off="0.125")),
                ending=random.choice([None, Ending(step=whole(5, 1), less=whole(1))]),
            )
        },
    )


SHAPES = [("54 mm", "24 mm"), ("2.75 in", "22 mm"), ("31.7 mm", "31.7 mm"), ("118 mm", "9 mm"), ("17 mm", "40 mm")]
"""Few shapes, so that the nests of a few are found again and again: it is the sums that are tried here."""


def drawn(book: Book, random: Random) -> Measured:
    """Return work drawn at random."""
    films = [random.choice(list(book.films.values())) for _ in range(random.randint(1, 3))]
    shapes = [random.choice(SHAPES) for _ in films]
    return Measured(
        pieces=tuple(
            CutPiece(
                film=film.id,
                colour=film.colours[0].id,
                width=width,
                height=height,
                cut_length=f"{random.uniform(20, 3000):.1f} mm",
                corners=random.randint(0, 200),
                waste_pieces=random.randint(0, 40),
                per_pair=random.randint(1, 2),
            )
            for film, (width, height) in zip(films, shapes, strict=True)
        ),
        pressings=tuple(
            KnownPressing(
                dwell=f"{random.randint(5, 60)} s",
                wait=random.choice([None, "40 s"]),
                cover=random.choice([None, *book.covers]),
                per_pair=random.randint(1, 4),
            )
            for _ in range(random.randint(1, 2))
        ),
        owner=random.choice(["customer", "shop"]),
        pairs=random.choice([1, 2, 3, 4, 6]),
        rush=random.choice([False, True]),
    )


def adds_up(answer: CostAnswer) -> bool:
    """Return whether every line, the totals and the price can be redone in exact fractions from what is written."""
    cost, price = answer.cost, answer.price
    assert cost is not None
    assert price is not None
    scale = 10 ** minor_digits(cost.total.currency)

    def redone(line: CostLine) -> Fraction:
        return Fraction(round(Fraction(line.quantity) * Fraction(line.rate) * scale), scale)

    material = {"film", "offcut", "cover", "tape"}
    return (
        all(redone(line) == Fraction(line.amount.amount) for line in cost.lines)
        and {line.amount.currency for line in cost.lines} == {cost.total.currency, price.total.currency}
        and sum(map(redone, cost.lines)) == Fraction(cost.total.amount)
        and sum(redone(line) for line in cost.lines if line.what in material) == Fraction(cost.material.amount)
        and price.why[-1].amount == price.total
        and price.margin
        == pytest.approx(
            float(1 - Fraction(cost.total.amount) / Fraction(price.total.amount)) if float(price.total.amount) else 0.0
        )
    )


@pytest.mark.parametrize("currency", ["JPY", "EUR", "USD", "KWD"])
def test_the_breakdown_adds_up_exactly(book: Book, currency: str) -> None:
    """For thousands of random works in each currency, under rates and policies drawn anew for every fifty."""
    random = Random(currency)  # noqa: S311 - nothing secret
    for _ in range(50):
        other = in_currency(book, currency, random)
        for _ in range(EACH):
            work = drawn(other, random)
            answer = estimate(other, work)
            assert adds_up(answer), work
            assert answer.price is not None
            assert answer.price.set_up is not None
            assert Fraction(answer.price.each.amount) * work.pairs + Fraction(answer.price.set_up.amount) == Fraction(
                answer.price.total.amount
            )


def plain(book: Book) -> Book:
    """Return the book with rates that are easily reckoned with on paper, film at 0.001 a cm2, and no offcuts."""
    smooth = book.films["smooth"]
    assert smooth.cutting is not None
    film = replace(
        smooth,
        roll=replace(smooth.roll, width_mm=500.0, length_m=20.0, price=Charge(amount="100.00", currency="EUR")),
        cutting=replace(smooth.cutting, border_mm=3.0, gap_mm=2.0, passes=1, weeding_ease=1.0),
    )
    rates = replace(
        book.rates["bench"],
        labour_per_hour=Charge(amount="36.00", currency="EUR"),
        press_per_hour=Charge(amount="1.80", currency="EUR"),
        cutter_per_hour=Charge(amount="1.20", currency="EUR"),
        packing_per_pair=Charge(amount="0.35", currency="EUR"),
        overhead="0.15",
        offcut_share="0.50",
        handling=Handling(
            order_s=100,
            load_film_s=50,
            weed_piece_s=2.5,
            weed_metre_s=20,
            position_s=20,
            tape_s=6,
            load_shoe_s=10,
            peel_s=5,
            change_setting_s=60,
            pack_pair_s=30,
        ),
        spoilage=replace(
            book.rates["bench"].spoilage,
            handling=0.001,
            weak_guess=0.005,
            customer_pair_value=Charge(amount="70.00", currency="EUR"),
            apology=Charge(amount="10.00", currency="EUR"),
        ),
    )
    cover = replace(book.covers["silicone-thin"], price=Charge(amount="12.00", currency="EUR"), lasts_presses=1500)
    cutter = replace(
        book.cutters["bench-cutter"], speed_mm_s=300.0, acceleration_mm_s2=2000.0, load_s=25.0, width_mm=600.0
    )
    policy = replace(
        book.policies["counter"],
        method="markup",
        share="0.60",
        floor_per_pair=Charge(amount="9.90", currency="EUR"),
        ending=None,
    )
    return replace(
        book,
        films={**book.films, "smooth": film},
        rates={"bench": rates},
        covers={**book.covers, "silicone-thin": cover},
        cutters={"bench-cutter": cutter},
        policies={**book.policies, "counter": policy},
        offcuts={},
    )


def test_a_cost_worked_out_by_hand(book: Book) -> None:
    """One pair with two pieces of 60 x 30 mm with their border, one closing: every line as reckoned on paper.

    Knife path of a piece: 500 + 2 (60 + 30) = 680 mm with 30 + 4 + 4 stops, 17.9 mm apart: too short for full speed, so
    38 times 2 sqrt(17.895 / 2000) = 7.19 s. The press: 60 setting, 2 x 10 laying, 2 x 20 positioning, 30 + 12, 2 x 5.
    Spoilt: 1 - 0.994^2 of a pair. Overhead: 0.15 of 3.80 + 0.09 + 0.01 is 0.585, to the even cent.
    """
    answer = estimate(plain(book), WORK)
    assert answer.cost is not None
    assert answer.price is not None

    assert [
        ("film", "36.60", "0.001", "0.04"),  # 122 x 30 mm
        ("cover", "1", "0.008", "0.01"),
        ("packing", "1", "0.35", "0.35"),
        ("labour", "0.0278", "36.00", "1.00"),  # the order, 100 s
        ("labour", "0.0139", "36.00", "0.50"),  # film, 50 s
        ("labour", "0.0111", "36.00", "0.40"),  # weeding, 2 (4 x 2.5 + 0.5 x 20) s
        ("labour", "0.0167", "36.00", "0.60"),  # setting, 60 s
        ("labour", "0.0056", "36.00", "0.20"),  # laying, 20 s
        ("labour", "0.0111", "36.00", "0.40"),  # positioning, 40 s
        ("labour", "0.0083", "36.00", "0.30"),  # at the press, 30 s
        ("labour", "0.0028", "36.00", "0.10"),  # peeling, 10 s
        ("labour", "0.0083", "36.00", "0.30"),  # packing, 30 s
        ("press", "0.0478", "1.80", "0.09"),  # 172 s
        ("cutter", "0.0109", "1.20", "0.01"),  # 25 + 2 x 7.19 s
        ("spoilage", "0.011964", "80.00", "0.96"),
        ("overhead", "3.90", "0.15", "0.58"),
    ] == [(line.what, line.quantity, line.rate, line.amount.amount) for line in answer.cost.lines]
    assert ("5.84", "0.05") == (answer.cost.total.amount, answer.cost.material.amount)
    assert [("cost", "5.84"), ("markup", "9.34"), ("floor", "9.90")] == [
        (step.what, step.amount.amount) for step in answer.price.why
    ]
    assert answer.price.margin == pytest.approx((9.90 - 5.84) / 9.90)


def test_a_run_is_ready_when_its_hours_are_done(book: Book) -> None:
    """Two hundred pairs by hand: 100 + 50 s, 400 pieces cut and weeded, 200 rounds at the press, 200 packed.

    Cut: 400 x 7.19 s. Weeded: 400 x 20 s. At the press: 60 s, and 200 x (20 + 40 + 30 + 12 + 10) s. Packed: 200 x 30 s.
    Loading film takes the hands longer than the cutter. 39,486 s are 10.97 h: at 6 h a day two days, at 5 three.
    """
    days = []
    for hours in (6, 5, None):
        cost = estimate(plain(book), replace(WORK, pairs=200, hours_a_day=hours)).cost
        assert cost is not None
        days.append(cost.times.working_days)
        assert cost.times.elapsed_s == pytest.approx(150 + 400 * 7.189 + 8000 + 60 + 200 * 112 + 6000, abs=1)

    assert [2, 3, None] == days


def test_an_orders_cost_is_its_quotes(book: Book) -> None:
    """An order costs what its quote says, to the line."""
    order = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
    answer, quote = estimate(book, OrderWork(order=order)), compose(book, order)

    assert (quote.cost, quote.price, ()) == (answer.cost, answer.price, answer.declined)


def test_a_declined_order_says_why_it_has_no_cost(book: Book) -> None:
    """The sentences are those of the quote's reasons to decline."""
    clog = msgspec.json.decode((EXAMPLES / "clog.json").read_bytes(), type=Order)
    answer = estimate(book, OrderWork(order=clog))
    reasons = [reason.sentence for reason in compose(book, clog).reasons if reason.verdict == "decline"]

    assert (None, None, reasons) == (answer.cost, answer.price, list(answer.declined))
    assert reasons


def pointers(book: Book, work: Measured | OrderWork) -> list[str]:
    """Return where the faults of a request are."""
    with pytest.raises(RefusedError) as caught:
        estimate(book, work)
    return [fault.pointer for fault in caught.value.faults]


def test_faults_of_an_order_point_into_the_request(book: Book) -> None:
    """The order is a field of the request."""
    order = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)

    assert ["/order/policy"] == pointers(book, OrderWork(order=replace(order, policy="no-such")))


def test_all_faults_of_measured_work_come_together(book: Book) -> None:
    """Unknown records, each at its pointer."""
    work = replace(
        WORK,
        policy="no-such",
        pieces=(replace(PIECE, film="no-such"), PIECE, replace(PIECE, colour="no-such")),
        pressings=(PRESSING, replace(PRESSING, cover="no-such")),
    )

    assert ["/policy", "/pieces/0/film", "/pieces/2/colour", "/pressings/1/cover"] == pointers(book, work)


def test_a_piece_wider_than_film_or_cutter_is_refused(book: Book) -> None:
    """Half a metre goes on no roll of the book with its border, either way; a narrow cutter takes less."""
    wide = replace(PIECE, width="500 mm", height="600 mm")
    narrow = replace(book, cutters={"bench-cutter": replace(book.cutters["bench-cutter"], width_mm=29.0)})

    assert ["/pieces/1/width"] == pointers(book, replace(WORK, pieces=(PIECE, wide)))
    assert ["/pieces/0/width"] == pointers(replace(narrow, offcuts={}), WORK)


def test_film_with_a_nap_is_not_turned(book: Book) -> None:
    """A flock piece that would go on the roll only turned is refused; of smooth film it is not."""
    wide = replace(PIECE, width="510 mm", height="30 mm")

    assert ["/pieces/0/width"] == pointers(
        book, replace(WORK, pieces=(replace(wide, film="flock", colour=book.films["flock"].colours[0].id),))
    )
    assert estimate(book, replace(WORK, pieces=(wide,))).cost is not None


def test_a_printed_transfer_is_neither_cut_nor_weeded(book: Book) -> None:
    """No cutter, no weeding, no film loaded, no border. Common practice, no source."""
    printed = replace(PIECE, film="printed", colour=book.films["printed"].colours[0].id)
    cost = estimate(replace(book, offcuts={}), replace(WORK, pieces=(printed,))).cost
    assert cost is not None

    assert not [line for line in cost.lines if line.what == "cutter"]
    assert not [line for line in cost.lines if line.detail.startswith(("Weeding", "Loading film"))]
    assert cost.times.cutter_s == 0
    assert cost.film[0].piece_area_mm2 == pytest.approx(2 * 54 * 24)


def test_an_offcut_smaller_than_the_art_is_said_to_be(book: Book) -> None:
    """The roll is used, and its line says why."""
    small = {
        name: replace(offcut, width_mm=10.0, height_mm=10.0)
        for name, offcut in book.offcuts.items()
        if (offcut.film, offcut.colour) == ("smooth", "gorse")
    }
    assert small
    cost = estimate(replace(book, offcuts=small), WORK).cost
    assert cost is not None

    assert "film" == cost.lines[0].what
    assert "none of the offcuts takes a piece" in cost.lines[0].detail


def test_an_offcut_is_charged_at_its_share(book: Book) -> None:
    """Film from an offcut costs the share of the roll's price that the rates say."""
    kept = replace(next(iter(book.offcuts.values())), film="smooth", colour="gorse", width_mm=130.0, height_mm=40.0)
    cost = estimate(replace(plain(book), offcuts={kept.id: kept}), WORK).cost
    assert cost is not None

    assert ("offcut", "36.60", "0.0005", "0.02") == (
        cost.lines[0].what,
        cost.lines[0].quantity,
        cost.lines[0].rate,
        cost.lines[0].amount.amount,
    )
    assert (kept.id,) == cost.film[0].offcuts


def test_mixed_currencies_in_the_book_are_refused(book: Book) -> None:
    """A film in dollars among rates in euros is named."""
    smooth = book.films["smooth"]
    dollars = replace(smooth, roll=replace(smooth.roll, price=Charge(amount="180.00", currency="USD")))
    with pytest.raises(RefusedError, match="smooth is priced in USD"):
        estimate(replace(book, films={**book.films, "smooth": dollars}), WORK)


def test_a_currency_without_minor_units_is_refused(book: Book) -> None:
    """Nothing is priced in gold."""
    gold = in_currency(book, "EUR", Random(1))  # noqa: S311 - nothing secret
    with pytest.raises(RefusedError, match="XAU"):
        estimate(
            replace(
                gold,
                rates={"bench": replace(gold.rates["bench"], currency="XAU")},
                policies={"counter": replace(gold.policies["counter"], currency="XAU")},
            ),
            WORK,
        )


def test_amounts_beyond_the_wire_are_refused(book: Book) -> None:
    """The dearest rates that a book can hold, and the longest work, end in a sentence and not in a wrong sum."""
    dear = Charge(amount="999999999999999", currency="EUR")
    rates = replace(book.rates["bench"], labour_per_hour=dear, press_per_hour=dear)
    with pytest.raises(RefusedError, match="fifteen digits"):
        estimate(replace(book, rates={"bench": rates}), replace(WORK, pairs=10_000))


def test_a_rush_order_is_dearer_where_the_policy_takes_them(book: Book) -> None:
    """The counter adds half; the web shop takes none, and says which policies do."""
    prices = []
    for rush in (False, True):
        price = estimate(book, replace(WORK, rush=rush)).price
        assert price is not None
        prices.append(price)
    with pytest.raises(RefusedError, match="these do: club, counter") as caught:
        estimate(book, replace(WORK, rush=True, policy="web"))

    assert ["9.90", "14.90"] == [price.total.amount for price in prices]
    assert [("floor", "9.90"), ("rush", "14.85"), ("ending", "14.90")] == [
        (step.what, step.amount.amount) for step in prices[1].why[-3:]
    ]
    assert ["/rush"] == [fault.pointer for fault in caught.value.faults]


@pytest.mark.parametrize("field", ["labour_per_hour", "press_per_hour", "packing_per_pair"])
def test_dearer_rates_are_never_a_cheaper_price(book: Book, field: str) -> None:
    """When anything costs the shop more, the price does not fall."""
    prices = []
    for amount in ("0.00", "1.00", "5.00", "25.00", "125.00"):
        rates = replace(book.rates["bench"], **{field: Charge(amount=amount, currency="EUR")})
        price = estimate(replace(book, rates={"bench": rates}), WORK).price
        assert price is not None
        prices.append(Fraction(price.total.amount))

    assert prices == sorted(prices)
    assert prices[0] < prices[-1]


def test_a_dwell_in_other_units_is_the_same_setting(book: Book) -> None:
    """Half a minute after thirty seconds changes nothing at the press."""
    alike, other = (
        estimate(book, replace(WORK, pressings=(PRESSING, replace(PRESSING, dwell=dwell)))).cost
        for dwell in ("30 s", "0.5 min")
    )

    assert alike == other


def test_a_pair_of_the_book_is_worth_what_the_book_says(book: Book) -> None:
    """A customer's pair of a model in the book is worth that model, with an apology; unknown, what the rates say."""
    order = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
    worth = Decimal(book.shoes["regatta-deck"].pair_value.amount)
    spoilage = book.rates[book.bench.rates].spoilage
    known, unknown = estimate(book, OrderWork(order=order)), estimate(book, WORK)
    for answer, expected, origin in (
        (known, worth + Decimal(spoilage.apology.amount), "shoes/regatta-deck"),
        (unknown, Decimal(spoilage.customer_pair_value.amount) + Decimal(spoilage.apology.amount), "rates/bench"),
    ):
        assert answer.cost is not None
        line = next(line for line in answer.cost.lines if line.what == "spoilage")
        assert (expected, origin) == (Decimal(line.rate), line.origin)
