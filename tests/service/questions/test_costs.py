from __future__ import annotations

import math
import os
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from random import Random

import msgspec
import pytest
from measured_work import PIECE, PRESSING, WORK
from msgspec.structs import replace

from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import (
    CostAnswer,
    CostLine,
    CutPiece,
    KnownPressing,
    Measured,
    Order,
    OrderWork,
    Times,
)
from featherline.wire.money import Charge
from featherline.wire.records import Ending, Handling, QuantityBreak, Workplace
from featherline_service.book.shop_book import Book
from featherline_service.cost.money import minor_digits
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.costs import estimate
from featherline_service.questions.quote.quotes import compose

WORKS = int(os.environ.get("COST_WORKS", "200"))
"""Works drawn for fifty books in each of four currencies, all in all; 10,000 in the full run."""

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
    """For hundreds of random works, by night thousands, under rates and policies drawn anew for every fifty."""
    random = Random(currency)  # noqa: S311 - nothing secret
    for _ in range(50):
        other = in_currency(book, currency, random)
        for _ in range(WORKS // 200):
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
        bench=replace(book.bench, workplace=None),
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


def at(book: Book, **workplace: object) -> Book:
    """Return the book with another workplace."""
    place = msgspec.convert(workplace, Workplace)
    return replace(book, bench=replace(book.bench, workplace=place))


def times(book: Book, work: Measured) -> Times:
    """Return the times of measured work, whose paid hours and labour lines are the same."""
    cost = estimate(book, work).cost
    assert cost is not None
    paid_h = sum(float(line.quantity) for line in cost.lines if line.what == "labour")
    assert cost.times.labour_s == pytest.approx(paid_h * 3600, abs=0.18 * len(cost.lines))
    return cost.times


LONG = replace(WORK, pairs=48, pressings=(replace(PRESSING, wait="180 s"),))
"""48 pairs with a cold peel: a wait of 180 s each, 8,640 s in all."""


def test_waits_are_paid_where_they_are_stood_through(book: Book) -> None:
    """Standing: 8,640 s more are paid. Elsewhere: the press is taken up as long, and what is not paid is named idle."""
    standing, elsewhere = (times(at(plain(book), wait=wait), LONG) for wait in ("standing", "elsewhere"))

    assert (48 * 180.0, 0.0) == (standing.standing_s, elsewhere.standing_s)
    assert 48 * 180.0 == pytest.approx(standing.labour_s - elsewhere.labour_s)
    assert standing.press_s == pytest.approx(elsewhere.press_s)
    # All but the last pair are packed, 30 s each, while the next one cools.
    assert 47 * 30.0 == pytest.approx(standing.elapsed_s - elsewhere.elapsed_s)


def test_a_wait_overlapped_leaves_the_press_and_is_not_paid(book: Book) -> None:
    """With places enough the press is set (60 s), and laid, filled and closed for 20 + 40 + 30 s a pair; hands bind."""
    found, elsewhere = (
        times(at(plain(book), wait=wait, cooling_places=4), LONG) for wait in ("overlapped", "elsewhere")
    )

    assert 60 + 48 * 90.0 == pytest.approx(found.press_s)
    assert elsewhere.labour_s == pytest.approx(found.labour_s)
    assert 48 * 180.0 <= found.cooling_s
    assert found.idle_s == pytest.approx(found.elapsed_s - found.labour_s)
    assert found.idle_s <= found.cutter_s + 180.0


def test_one_place_with_a_long_wait_binds_the_bench(book: Book) -> None:
    """Two more pairs take two more waits and peels of 2 x 5 s on the only place."""
    fifty, fortyeight = (
        times(at(plain(book), wait="overlapped", cooling_places=1), replace(LONG, pairs=pairs)) for pairs in (50, 48)
    )
    weeding_and_cutting = 2 * 2 * (20 + 7.189)

    assert 2 * (180.0 + 10.0) + weeding_and_cutting == pytest.approx(fifty.elapsed_s - fortyeight.elapsed_s, abs=0.1)


def test_every_second_of_a_long_order_is_paid_or_named(book: Book) -> None:
    """48 pairs in metallic film, peeled cold: paid and free hands are all of the operators' time, however worked.

    The order is one of the book's shoes, with its recipe and film. Overlapped, no wait is spent on the press.
    """
    order = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
    (placement,) = order.placements
    assert isinstance(placement.artwork, TextArtwork)
    placement = replace(
        placement,
        film="metallic",
        colour=book.films["metallic"].colours[0].id,
        artwork=replace(placement.artwork, text="I"),
    )
    for operators in (1, 2):
        spent = {}
        for wait in ("elsewhere", "standing", "overlapped"):
            place = at(book, wait=wait, cooling_places=2, operators=operators)
            quote = compose(place, replace(order, placements=(placement,), pairs=48))
            assert quote.cost is not None
            spent[wait] = found = quote.cost.times
            paid_h = sum(float(line.quantity) for line in quote.cost.lines if line.what == "labour")

            assert operators * found.elapsed_s == pytest.approx(found.labour_s + found.idle_s)
            assert found.labour_s == pytest.approx(paid_h * 3600, abs=0.18 * len(quote.cost.lines))
            assert found.idle_s >= 0
            assert 5 == len({found.labour_s, found.press_s, found.cutter_s, found.elapsed_s, found.idle_s})
        waits = sum(press.recipe.peel.wait_s for press in quote.pressings if press.recipe.peel is not None)

        assert waits > 0
        assert 48 * waits == pytest.approx(spent["standing"].standing_s, abs=0.1)
        assert 48 * waits == pytest.approx(spent["standing"].labour_s - spent["overlapped"].labour_s, abs=0.1)
        assert spent["elsewhere"].labour_s == pytest.approx(spent["overlapped"].labour_s)
        assert spent["overlapped"].cooling_s >= 48 * waits - 0.1
        assert spent["overlapped"].press_s < spent["elsewhere"].press_s


def two_films(book: Book) -> Order:
    """Return an order of stretch film on the outer quarter, pressed first, and of smooth film on the inner one."""
    order = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
    (smooth,) = order.placements
    assert isinstance(smooth.artwork, TextArtwork)
    smooth = replace(smooth, artwork=replace(smooth.artwork, text="I"), panel="inner-quarter")
    colour = book.films["stretch"].colours[0].id
    return replace(order, placements=(replace(smooth, film="stretch", colour=colour, panel="outer-quarter"), smooth))


def test_a_platen_that_heats_takes_its_time_between_settings(book: Book) -> None:
    """The kelvins between the two settings, over the rate of 0.1 K/s: elapsed and on the press, and no more hands."""
    cold, ramp = (
        compose(at(book, wait="standing", heating=heating), two_films(book))
        for heating in (None, {"kind": "rate", "heating_k_s": 0.1, "cooling_k_s": 0.05})
    )
    assert cold.cost is not None
    assert ramp.cost is not None
    first, second = (press.recipe.setting for press in ramp.pressings)
    assert first is not None
    assert second is not None
    change_s = (second.temperature_c - first.temperature_c) / 0.1

    assert change_s > 0
    assert cold.cost.times.labour_s == pytest.approx(ramp.cost.times.labour_s)
    assert change_s == pytest.approx(ramp.cost.times.elapsed_s - cold.cost.times.elapsed_s)
    assert change_s == pytest.approx(ramp.cost.times.press_s - cold.cost.times.press_s)


def test_a_platen_heats_by_its_mass_and_power(book: Book) -> None:
    """8 kg of 900 J/(kg K), 1200 W, 4 W/K, from a room at the book's temperature: m c / G ln((end - a) / (end - b))."""
    mass = {"kind": "mass", "mass_kg": 8.0, "heat_capacity_j_kgk": 900.0, "heater_w": 1200.0, "loss_w_k": 4.0}
    cold, heated = (compose(at(book, wait="standing", heating=heating), two_films(book)) for heating in (None, mass))
    assert cold.cost is not None
    assert heated.cost is not None
    first, second = (press.recipe.setting for press in heated.pressings)
    assert first is not None
    assert second is not None
    end_c = book.bench.room_c + 1200.0 / 4.0
    change_s = 8.0 * 900.0 / 4.0 * math.log((end_c - first.temperature_c) / (end_c - second.temperature_c))

    assert change_s > 0
    assert change_s == pytest.approx(heated.cost.times.elapsed_s - cold.cost.times.elapsed_s, abs=0.002)


def test_a_trial_takes_one_operator_and_idle_hands_are_paid_beside_it(book: Book) -> None:
    """Two operators who are paid from start to end are paid for the trial of a strange shoe too."""
    walk_in = msgspec.json.decode((EXAMPLES / "walk-in.json").read_bytes(), type=Order)
    cost = compose(at(book, operators=2, idle_paid=True), walk_in).cost
    assert cost is not None

    assert any(line.detail.startswith("Trial pressings") for line in cost.lines)
    assert 2 * cost.times.elapsed_s == pytest.approx(cost.times.labour_s)
    assert 0.0 == cost.times.idle_s


@pytest.mark.parametrize("wait", ["standing", "elsewhere", "overlapped"])
@pytest.mark.parametrize(("operators", "presses"), [(1, 1), (1, 3), (2, 1), (3, 2)])
def test_no_order_is_ready_before_its_resources_allow(book: Book, wait: str, operators: int, presses: int) -> None:
    """Hands, presses, places and cutter each bound the elapsed time; paid and idle time are all of the hands' time."""
    found = times(at(plain(book), wait=wait, operators=operators, presses=presses, cooling_places=3), LONG)

    assert found.elapsed_s >= found.labour_s / operators - 0.01
    assert found.elapsed_s >= found.cutter_s + found.press_s / presses - 50.01  # film is loaded by hands meanwhile
    assert found.elapsed_s >= found.cutter_s + found.cooling_s / 3 - 50.01
    assert operators * found.elapsed_s == pytest.approx(found.labour_s + found.idle_s)


def test_idle_hands_are_paid_where_the_bench_pays_them(book: Book) -> None:
    """Then all hours from start to end are on the bill, and none is free for other work."""
    found = times(at(plain(book), operators=2, idle_paid=True), LONG)

    assert 2 * found.elapsed_s == pytest.approx(found.labour_s)
    assert 0.0 == pytest.approx(found.idle_s, abs=1e-6)


def test_a_platen_that_never_reaches_a_setting_is_refused(book: Book) -> None:
    """A heater of 100 W with a loss of 4 W/K ends 25 K above the room; the sentence says what to mend."""
    weak = {"kind": "mass", "mass_kg": 8.0, "heat_capacity_j_kgk": 900.0, "heater_w": 100.0, "loss_w_k": 4.0}
    with pytest.raises(RefusedError, match="mend the workplace"):
        compose(at(book, heating=weak), two_films(book))


def test_a_run_is_ready_when_its_hours_are_done(book: Book) -> None:
    """Two hundred pairs by hand, waits stood through: 150 s, 400 pieces cut and weeded, 200 pairs pressed and packed.

    Cut: 400 x 7.19 s. Weeded: 400 x 20 s. At the press: 60 s, and 200 x (20 + 40 + 30 + 12 + 10) s. Packed: 200 x 30 s.
    Loading film takes the hands longer than the cutter. 39,486 s are 10.97 h: at 6 h a day two days, at 5 three.
    """
    days = []
    standing = at(plain(book), wait="standing")
    for hours in (6, 5, None):
        cost = estimate(standing, replace(WORK, pairs=200, hours_a_day=hours)).cost
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
