from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any, Literal

import pytest
from msgspec.structs import replace
from plain_work import CLOSING, HANDLING, part

from featherline.wire.costs import CostLine
from featherline.wire.money import Charge
from featherline.wire.records import OrderCosts, Workplace
from featherline_service.book.shop_book import Book
from featherline_service.cost.spoilage import chance_of_any
from featherline_service.cost.times import Closing, Run, pressing_s, total_cutting_s
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.pricing import cost_lines
from featherline_service.questions.pricing.cost_lines import (
    Part,
    Work,
    WorkCost,
    cost_work,
    films_of_runs,
    order_cost,
    run_cost,
)
from featherline_service.questions.pricing.film_lots import FilmPieces, cuts, lots_of_runs
from featherline_service.questions.pricing.terms import CostTerms, Terms
from featherline_service.questions.pricing.trial_costs import TrialWork


def euros(amount: str) -> Charge:
    """Return an amount of euros."""
    return Charge(amount=amount, currency="EUR")


@pytest.fixture
def book(book: Book) -> Book:
    """Return the demo book with plain rates: hands at 36, press at 18, cutter at 7.2 EUR an hour; no overhead."""
    rates, sheet = book.rates[book.bench.rates], book.covers["silicone-thin"]
    spoilage = replace(rates.spoilage, customer_pair_value=euros("70"), apology=euros("10"))
    plain = replace(
        rates,
        labour_per_hour=euros("36"),
        press_per_hour=euros("18"),
        cutter_per_hour=euros("7.2"),
        tape_per_placement=euros("0.05"),
        packing_per_pair=euros("0.40"),
        overhead="0",
        handling=HANDLING,
        spoilage=spoilage,
    )
    covers = {**book.covers, sheet.id: replace(sheet, price=euros("9"), lasts_presses=300)}
    return replace(book, rates={rates.id: plain}, covers=covers, bench=replace(book.bench, workplace=None), offcuts={})


def sure(made: Part) -> Part:
    """Return a part that nothing spoils."""
    work = tuple(replace(one, shoe_chance=0.0, weak_chance=0.0) for one in made.presswork)
    return replace(made, presswork=work)


def chances(made: Part, shoe: float, weak: float) -> Part:
    """Return a part with chances to be spoilt and to be weak."""
    work = tuple(replace(one, shoe_chance=shoe, weak_chance=weak) for one in made.presswork)
    return replace(made, presswork=work)


def worked(book: Book, *parts: Part, hours_a_day: float | None = None) -> WorkCost:
    """Return what work costs."""
    return cost_work(book, parts, CostTerms(offcuts={}, hours_a_day=hours_a_day), Checks())


def lines(cost: WorkCost, what: str) -> list[CostLine]:
    """Return the lines of one kind."""
    return [line for line in cost.cost.lines if line.what == what]


def sums(cost: WorkCost) -> list[tuple[str, str, str, str]]:
    """Return kind, quantity, rate and amount of every line."""
    return [(line.what, line.quantity, line.rate, line.amount.amount) for line in cost.cost.lines]


def pieces(book: Book, count: int = 2, pointer: str = "/placements/0/artwork") -> FilmPieces:
    """Return pieces of 20 by 10 mm."""
    return FilmPieces(
        film=book.films["smooth"],
        colour="gorse",
        width_mm=20.0,
        height_mm=10.0,
        cut_length_mm=60.0,
        corners=4,
        outlines=1,
        waste_pieces=1,
        per_pair=count,
        pointer=pointer,
    )


def test_a_part_is_all_its_pairs(book: Book) -> None:
    """Its pieces by their number, and its chances over every shoe and closing."""
    made = replace(
        chances(part(book, CLOSING, replace(CLOSING, shoes=1), pairs=3), 0.1, 0.2), pieces=(pieces(book, 2),)
    )

    assert [(made.pieces[0], 6)] == made.wanted
    assert (CLOSING, replace(CLOSING, shoes=1)) == made.closings
    assert pytest.approx(1.0 - 0.9**3) == made.spoilt
    assert pytest.approx(1.0 - 0.8**2) == made.redone
    terms = Terms(
        policy=book.policies["counter"], offcuts={}, rush=False, outlines_s=0, hours_a_day=None, units="metric"
    )
    assert 5 == Work(parts=(made, part(book, pairs=2)), terms=terms).pairs


def test_a_plain_order_is_counted_line_by_line(book: Book) -> None:
    """Three pairs, each two closings of 10 s with 4 s to cool: hands, press, sheet, tape and packing, at the rates."""
    cost = worked(book, sure(part(book, replace(CLOSING, taped=2), pairs=3)))
    hand = [line for line in sums(cost) if line[0] == "labour"]

    # Hands: order 100 s, setting 60 s, shoes 6 x 12 s, pieces 6 x 20 s, tape 6 x 6 s, attending 6 x 10 s, peel 6 x 5 s,
    # packing 3 x 30 s; the hour has 3600 s.
    assert ["0.0278", "0.0167", "0.0200", "0.0333", "0.0100", "0.0167", "0.0083", "0.0250"] == [
        quantity for _, quantity, _, _ in hand
    ]
    assert {"36.00"} == {rate for _, _, rate, _ in hand}
    assert [
        ("cover", "6", "0.03", "0.18"),
        ("tape", "6", "0.05", "0.30"),
        ("packing", "3", "0.40", "1.20"),
    ] == [line for line in sums(cost) if line[0] in {"cover", "tape", "packing"}]
    (press,) = lines(cost, "press")
    assert (f"{cost.cost.times.press_s / 3600.0:.4f}", "18.00", "h") == (press.quantity, press.rate, press.unit)
    assert "0.48" == cost.cost.material.amount
    assert sum(Fraction(line.amount.amount) for line in cost.cost.lines) == Fraction(cost.cost.total.amount)
    assert {"0.00"} == {line.amount.amount for line in lines(cost, "spoilage")}
    assert [] == lines(cost, "cutter") + lines(cost, "overhead")
    assert {"covers/silicone-thin", f"rates/{book.bench.rates}"} == {line.origin for line in cost.cost.lines}


def test_a_cutter_is_paid_where_film_is_cut(book: Book) -> None:
    """For its knife path and its loads; weeding is hand work."""
    made = sure(replace(part(book, pairs=2), pieces=(pieces(book),)))
    cost = worked(book, made)
    cutter = book.cutters[book.bench.cutter]
    cut_s = total_cutting_s(
        cuts(made.wanted, set()), speed_mm_s=cutter.speed_mm_s, acceleration_mm_s2=cutter.acceleration_mm_s2
    )
    (line,) = lines(cost, "cutter")

    assert pytest.approx(cut_s + cutter.load_s) == cost.cost.times.cutter_s
    assert (f"{cost.cost.times.cutter_s / 3600.0:.4f}", "7.20", "h") == (line.quantity, line.rate, line.unit)
    assert ["film"] == [one.what for one in cost.cost.lines if one.origin == "films/smooth"]
    assert (1, "gorse", 4) == (len(cost.lots), cost.lots[0].colour, cost.cost.film[0].pieces)


def test_overhead_is_a_share_of_labour_press_and_cutter(book: Book) -> None:
    """Neither of material nor of packing and spoilage; without a share there is no line."""
    own = replace(book, rates={name: replace(rates, overhead="0.25") for name, rates in book.rates.items()})
    cost = worked(own, sure(replace(part(own, pairs=2), pieces=(pieces(own),))))
    base = sum(
        (Fraction(line.amount.amount) for kind in ("labour", "press", "cutter") for line in lines(cost, kind)),
        Fraction(0),
    )
    (line,) = lines(cost, "overhead")

    assert (base, "0.25", "EUR") == (Fraction(line.quantity), line.rate, line.unit)
    assert abs(Fraction(line.amount.amount) - base / 4) <= Fraction(1, 200)
    assert line is cost.cost.lines[-1]


@pytest.mark.parametrize(
    ("owner", "shoe", "rate", "origin", "words"),
    [
        ("customer", None, "80.00", "rates/bench", "an unknown pair is taken to be worth, and an apology"),
        ("shop", None, "70.00", "rates/bench", "an unknown pair is taken to be worth"),
        ("customer", "regatta-deck", None, "shoes/regatta-deck", "the book says of the shoe, and an apology"),
        ("shop", "regatta-deck", None, "shoes/regatta-deck", "the book says of the shoe"),
    ],
)
def test_a_spoilt_pair_costs_what_it_is_worth(  # noqa: PLR0917 - a case has all of them
    book: Book, owner: str, shoe: str | None, rate: str | None, origin: str, words: str
) -> None:
    """A customer's with an apology; the shop's is replaced and marked again at the cost of a pair."""
    model = None if shoe is None else book.shoes[shoe]
    made = replace(chances(part(book, pairs=4), 0.02, 0.0), owner=owner, shoe=model)
    spoilt = lines(worked(book, made), "spoilage")
    before = Fraction(worked(book, sure(replace(made))).cost.total.amount)
    expected = f"{(1.0 - 0.98**2) * 4:.6f}"
    if model is not None:
        rate = f"{float(model.pair_value.amount) + 10.0 * (owner == 'customer'):.2f}"

    assert (expected, rate, origin, "pair") == (spoilt[0].quantity, spoilt[0].rate, spoilt[0].origin, spoilt[0].unit)
    assert spoilt[0].detail.endswith(words)
    assert (2 if owner == "shop" else 1) == len(spoilt)
    if owner == "shop":
        assert expected == spoilt[1].quantity
        assert pytest.approx(float(before / 4), abs=1e-9) == float(spoilt[1].rate)


def test_each_worth_has_a_line_of_its_own_pairs(book: Book) -> None:
    """A customer's and the shop's; only the shop's are replaced and marked again."""
    customer = replace(chances(part(book, pairs=2), 0.02, 0.0), owner="customer")
    shop = replace(chances(part(book, pairs=3, cover=None), 0.05, 0.0), owner="shop")
    theirs, own, again = lines(worked(book, customer, shop), "spoilage")

    assert (f"{2 * (1.0 - 0.98**2):.6f}", "80.00") == (theirs.quantity, theirs.rate)
    assert (f"{3 * (1.0 - 0.95**2):.6f}", "70.00") == (own.quantity, own.rate)
    assert own.quantity == again.quantity
    assert [] == lines(worked(book, shop), "cover")


def test_a_weak_bond_costs_marking_again(book: Book) -> None:
    """At the lines before it for one pair; a pair that is sure costs nothing more."""
    made = chances(part(book, CLOSING, CLOSING, pairs=4), 0.0, 0.1)
    cost, plain = worked(book, made), worked(book, sure(made))
    *_, again = lines(cost, "spoilage")

    assert f"{(1.0 - 0.9**2) * 4:.6f}" == again.quantity
    assert pytest.approx(float(Fraction(plain.cost.total.amount) / 4), abs=1e-9) == float(again.rate)
    assert "marked again as a film does not hold" in again.detail
    assert [] == [line for line in lines(plain, "spoilage") if "does not hold" in line.detail]


def test_chances_are_the_mean_of_all_pairs(book: Book) -> None:
    """A part with three times the pairs counts three times."""
    risky, steady = chances(part(book, pairs=1), 0.2, 0.1), chances(part(book, pairs=3), 0.0, 0.02)
    cost = worked(book, risky, steady).cost

    assert pytest.approx(chance_of_any([0.2, 0.2]) / 4.0) == cost.spoil_chance
    assert pytest.approx((0.1 + 3 * 0.02) / 4.0) == cost.redo_chance
    alone = worked(book, risky).cost
    assert (chance_of_any([0.2, 0.2]), chance_of_any([0.1])) == (alone.spoil_chance, alone.redo_chance)


def test_parts_share_what_each_of_them_causes(book: Book) -> None:
    """Cover sheets by closings, tape by pieces, pressing by its time, and the order by pairs; the shares add up."""
    light = sure(part(book, replace(CLOSING, closings=1, taped=1), pairs=1))
    heavy = sure(part(book, replace(CLOSING, closings=1, taped=0, dwell_s=40.0), pairs=3, cover="paper"))
    cost = worked(book, light, heavy)
    amounts = {line.detail: Fraction(line.amount.amount) for line in cost.cost.lines}
    seconds = [pressing_s(Run(closings=one.closings, pairs=one.pairs), HANDLING) for one in (light, heavy)]
    press_share = Fraction(seconds[0] / sum(seconds))
    by_press = {
        "Setting the press",
        "Laying shoes",
        "Positioning",
        "Taping",
        "Peeling",
        "Attending",
        "Standing",
        "The press",
    }
    expected = sum(
        (
            amount
            * (
                press_share
                if any(detail.startswith(one) for one in by_press)
                else Fraction(1 if "Thin flexible" in detail or detail.startswith("Tape,") else 0)
                if "wear" in detail or detail.startswith("Tape,")
                else Fraction(1, 4)
            )
            for detail, amount in amounts.items()
        ),
        Fraction(0),
    )

    assert pytest.approx(float(expected), abs=1e-6) == float(cost.shares[0])
    assert pytest.approx(float(sum(amounts.values())), abs=1e-6) == float(sum(cost.shares))
    assert (Fraction(worked(book, light).cost.total.amount),) == worked(book, light).shares


def test_film_is_shared_by_the_area_of_the_pieces(book: Book) -> None:
    """Of its own film and colour alone."""
    one = sure(replace(part(book, pairs=1), pieces=(pieces(book, 1),)))
    other = sure(replace(part(book, pairs=1), pieces=(replace(pieces(book, 2), colour="chalk"), pieces(book, 3))))
    cost = worked(book, one, other)
    border = book.films["smooth"].cutting
    assert border is not None
    box = (20.0 + 2.0 * border.border_mm) * (10.0 + 2.0 * border.border_mm)
    gorse = next(lot for lot in cost.lots if lot.colour == "gorse")

    assert pytest.approx((box, 3.0 * box)) == (
        cost_lines._area_mm2(one, gorse),
        cost_lines._area_mm2(other, gorse),
    )


def test_trials_are_paid_once_and_take_their_time(book: Book) -> None:
    """Equal ones of two parts once, shared by the pairs that need them; press, hands and the day are taken up."""
    trial = TrialWork(
        shoe="regatta-deck",
        panel="outer-quarter",
        film=book.films["smooth"],
        cover=None,
        dwells_s=(5.0, 9.0),
        test_marks=1,
    )
    seconds = trial.seconds(HANDLING)
    one, other = (sure(part(book, pairs=pairs, trials=(trial,))) for pairs in (1, 3))
    untried = sure(part(book, pairs=4))
    tried, plain = (
        worked(book, one, other, untried),
        worked(book, *(replace(it, trials=()) for it in (one, other, untried))),
    )
    times, before = tried.cost.times, plain.cost.times

    assert 183.0 == seconds
    assert 2 == len([line for line in tried.cost.lines if line.detail.startswith("Trial") and line.unit == "h"])
    assert pytest.approx([seconds] * 3) == [
        times.labour_s - before.labour_s,
        times.press_s - before.press_s,
        times.elapsed_s - before.elapsed_s,
    ]
    assert pytest.approx((before.idle_s, before.standing_s)) == (times.idle_s, times.standing_s)
    more = Fraction(tried.cost.total.amount) - Fraction(plain.cost.total.amount)
    assert pytest.approx([float(more) / 4, 3 * float(more) / 4, 0.0], abs=1e-6) == [
        float(after - early) for after, early in zip(tried.shares, plain.shares, strict=True)
    ]


def test_idle_hands_are_those_of_every_operator(book: Book) -> None:
    """The time of two from start to end, less what is paid."""
    own = replace(book, bench=replace(book.bench, workplace=Workplace(operators=2)))
    for books, operators in ((book, 1), (own, 2)):
        times = worked(books, sure(part(books, pairs=5))).cost.times
        assert pytest.approx(operators * times.elapsed_s - times.labour_s) == times.idle_s


def test_an_order_is_ready_on_its_working_day(book: Book) -> None:
    """By the hours of a day; without them no day is told."""
    made = sure(part(book, pairs=40))
    elapsed_s = worked(book, made).cost.times.elapsed_s
    day_h = elapsed_s / 3600.0

    assert worked(book, made).cost.times.working_days is None
    assert (1, 2, 3) == tuple(
        worked(book, made, hours_a_day=hours).cost.times.working_days
        for hours in (1.001 * day_h, 0.501 * day_h, 0.499 * day_h)
    )


def runs(*parts: tuple[tuple[Closing, ...], int]) -> list[tuple[tuple[float, ...], int]]:
    """Return the dwells and pairs of the runs of parts."""
    made = [
        Part(
            pieces=(),
            presswork=tuple(
                cost_lines.Presswork(closing=one, cover=None, shoe_chance=0.0, weak_chance=0.0) for one in closings
            ),
            owner="shop",
            shoe=None,
            pairs=pairs,
            characters=0,
        )
        for closings, pairs in parts
    ]
    return [(tuple(one.dwell_s for one in run.closings), run.pairs) for run in cost_lines._runs(made)]


def test_parts_with_the_same_closings_are_pressed_in_one_run() -> None:
    """Others follow by their work, whatever the order of the parts."""
    longer = replace(CLOSING, dwell_s=12.0)

    assert [((10.0,), 5), ((12.0,), 1)] == runs(((longer,), 1), ((CLOSING,), 2), ((CLOSING,), 3))
    assert [((10.0,), 5), ((12.0,), 1)] == runs(((CLOSING,), 3), ((longer,), 1), ((CLOSING,), 2))


def test_pairs_that_share_a_closing_are_pressed_apart() -> None:
    """Another part's pair would not be in reach; of equal work the fewer pairs come first."""
    shared = replace(CLOSING, pairs_at_once=2)

    assert [((10.0,), 2), ((10.0,), 3)] == runs(((shared,), 3), ((shared,), 2))
    assert [((10.0, 10.0), 5)] == runs(((CLOSING, CLOSING), 3), ((CLOSING, CLOSING), 2))
    assert [((10.0, 10.0), 2), ((10.0, 10.0), 3)] == runs(((CLOSING, shared), 3), ((CLOSING, shared), 2))


@pytest.mark.parametrize(
    "more",
    [
        {"loading": 2},
        {"dwell_s": 11.0},
        {"wait_s": 5.0},
        {"shoes": 3},
        {"placed": 3},
        {"taped": 1},
        {"pairs_at_once": 2},
        {"closings": 3},
    ],
)
def test_runs_are_in_the_order_of_their_work(more: dict[str, Any]) -> None:
    """By every measure of their closings, and not by the number of a setting."""
    other = replace(CLOSING, setting=0, **more)
    plain = replace(CLOSING, setting=9)

    assert cost_lines._by_work(Run(closings=(plain,), pairs=9)) < cost_lines._by_work(Run(closings=(other,), pairs=1))


def test_pieces_too_wide_for_the_roll_are_refused_at_their_place(book: Book) -> None:
    """By the request's pointer."""
    wide = replace(pieces(book, pointer="/placements/3/artwork"), width_mm=4000.0, height_mm=4000.0)

    with pytest.raises(RefusedError) as refused:
        worked(book, replace(part(book), pieces=(wide,)))
    assert ["/placements/3/artwork"] == [fault.pointer for fault in refused.value.faults]


@pytest.mark.parametrize("workplace", [None, Workplace(idle_paid=True)])
@pytest.mark.parametrize("owner", ["shop", "customer"])
@pytest.mark.parametrize("film", ["smooth", "printed"])
def test_a_run_costs_what_its_lines_add_up_to(
    book: Book, film: str, owner: Literal["shop", "customer"], workplace: Workplace | None
) -> None:
    """With trials, drawings, failed and test cuts, post and overhead, from 1 to 60 pairs; without the order's lines."""
    orders = OrderCosts(failed_cuts=0.02, test_cuts=2, artwork=euros("8"), post=euros("3"), post_per_pair=euros("1.1"))
    (rates,) = book.rates.values()
    own = replace(
        book,
        rates={rates.id: replace(rates, orders=orders, overhead="0.15")},
        bench=replace(book.bench, workplace=workplace),
    )
    record = own.films[film]
    trial = TrialWork(shoe="own", panel="tongue", film=record, cover=None, dwells_s=(5.0, 9.0), test_marks=2)
    one = replace(pieces(own), film=record, colour=record.colours[0].id)
    terms = CostTerms(offcuts={})
    for pairs in (1, 7, 60):
        made = chances(part(own, CLOSING, replace(CLOSING, setting=2, taped=2), pairs=pairs), 0.1, 0.2)
        made = replace(made, pieces=(one, replace(one, width_mm=31.0)), owner=owner, trials=(trial,), drawings=2)
        (lots,) = lots_of_runs(own, made.pieces, (pairs,), terms)
        whole = cost_work(own, (made,), terms, Checks())

        (run,) = films_of_runs(own, made.pieces, (pairs,), (), terms.largest_nest)

        assert lots == whole.lots
        assert Decimal(whole.cost.total.amount) == run_cost(own, made, run, terms) + order_cost(own, (made,))
