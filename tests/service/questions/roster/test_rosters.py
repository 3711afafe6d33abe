from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Literal

import msgspec
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from single_questions import fit_request

from featherline.wire.artworks import PathArtwork, TextArtwork
from featherline.wire.costs import Order, Placement
from featherline.wire.money import Charge
from featherline.wire.recipes import Observation, ShoePanel
from featherline.wire.records import QuantityBreak
from featherline.wire.rosters import Roster, RosterAnswer, RosterRow, RowAnswer
from featherline.wire.shoes import BookShoe, MeasuredPanel, MeasuredShoe, Rectangle, Size
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.fit import fits
from featherline_service.questions.quote import quotes
from featherline_service.questions.roster.rosters import compose

EXAMPLE = Path(__file__).parents[4] / "openapi" / "examples" / "roster-request.json"
NAMES = ["MARLOW", "TIDEWAY", "EDDY", "CREW", "SHOAL", "BARBEL"]


@pytest.fixture(scope="module")
def book() -> Book:
    """The demo book without offcuts, so that film is of the roll."""
    return replace(load(), offcuts={})


@pytest.fixture(scope="module")
def roster() -> Roster:
    """Six names and numbers in three sizes of a court trainer."""
    example = msgspec.json.decode(EXAMPLE.read_bytes(), type=Roster)
    rows = tuple(
        RosterRow(fields={"name": name, "number": number}, size=Size(system="EU", value=str(41 + at % 3)))
        for at, (name, number) in enumerate(zip(NAMES, "123457", strict=True))
    )
    return Roster(order=example.order, rows=rows)


def with_row(roster: Roster, row: RosterRow, at: int = 1) -> Roster:
    """Return a roster with one row exchanged."""
    return replace(roster, rows=(*roster.rows[:at], row, *roster.rows[at + 1 :]))


def with_text(roster: Roster, text: str) -> Roster:
    """Return a roster with another text in its first placement."""
    first, *others = roster.order.placements
    assert isinstance(first.artwork, TextArtwork)
    first = replace(first, artwork=replace(first.artwork, text=text))
    return replace(roster, order=replace(roster.order, placements=(first, *others)))


def order_of(roster: Roster, row: int) -> Order:
    """Return the order that a row of these tests is, written out by hand."""
    asked = roster.rows[row]
    placements = []
    for placement in roster.order.placements:
        assert isinstance(placement.artwork, TextArtwork)
        text = placement.artwork.text.replace("{name}", asked.fields["name"]).replace(
            "{number}", asked.fields["number"]
        )
        placements.append(replace(placement, artwork=replace(placement.artwork, text=text)))
    shoe = roster.order.shoe
    if asked.size is not None:
        assert isinstance(shoe, BookShoe)
        shoe = replace(shoe, size=asked.size)
    return replace(roster.order, shoe=shoe, placements=tuple(placements))


def pointers(book: Book, roster: Roster) -> list[str]:
    """Return where the faults of a roster are that is refused."""
    with pytest.raises(RefusedError) as caught:
        compose(book, roster)
    return [fault.pointer for fault in caught.value.faults]


def cents(answer: RosterAnswer) -> list[Fraction]:
    """Return the prices of the rows that have one."""
    return [Fraction(row.price.total.amount) for row in answer.rows if row.price is not None]


def total(answer: RosterAnswer) -> Fraction:
    """Return the price of all rows."""
    assert answer.price is not None
    return Fraction(answer.price.total.amount)


def test_every_row_is_what_its_order_alone_would_be(book: Book, roster: Roster) -> None:
    """Verdict, reasons, measures and pressings of a row are those of a quote for it."""
    answer = compose(book, roster)
    for index, row in enumerate(answer.rows):
        quote = quotes.compose(book, order_of(roster, index))
        assert row.plan is not None
        assert (quote.verdict, ()) == (row.verdict, row.faults)
        assert [reason.sentence for reason in quote.reasons] == [reason.sentence for reason in row.reasons]
        assert quote.pressings == answer.plans[row.plan].pressings
        assert [
            (one.fit.artwork.width_mm, one.fit.artwork.height_mm, one.fit.clearance_mm) for one in quote.placements
        ] == [(one.width_mm, one.height_mm, one.clearance_mm) for one in row.placements]


def test_a_roster_of_one_row_costs_what_the_order_does(book: Book, roster: Roster) -> None:
    """To the line, and to the cent of its price."""
    one = replace(roster, rows=roster.rows[:1])
    answer, quote = compose(book, one), quotes.compose(book, order_of(roster, 0))
    assert quote.price is not None
    assert answer.price is not None

    assert quote.cost == answer.cost
    assert (quote.price.total, quote.price.why) == (answer.price.total, answer.price.why)
    assert [quote.price.each] == [row.price.each for row in answer.rows if row.price is not None]


def test_the_callers_reference_is_in_the_answer(book: Book, roster: Roster) -> None:
    """The order's reference is the roster's; each row has its own id."""
    answer = compose(book, replace(roster, order=replace(roster.order, reference="K-2041")))

    assert "K-2041" == answer.reference
    assert [row.id for row in roster.rows] == [row.id for row in answer.rows]


def test_rows_add_up_to_the_total_exactly(book: Book, roster: Roster) -> None:
    """Prices and shares of the cost, under every policy of the book."""
    for policy in book.policies:
        answer = compose(book, replace(roster, order=replace(roster.order, policy=policy)))
        assert answer.cost is not None

        assert answer.price is not None
        assert answer.price.set_up is not None
        assert sum(cents(answer)) + Fraction(answer.price.set_up.amount) == total(answer)
        assert sum(Fraction(row.cost.amount) for row in answer.rows if row.cost is not None) == Fraction(
            answer.cost.total.amount
        )
        assert all(
            Fraction(row.price.each.amount) * row.pairs == Fraction(row.price.total.amount)
            for row in answer.rows
            if row.price is not None
        )


def test_together_is_cheaper_to_make_than_apart(book: Book, roster: Roster) -> None:
    """One intake, one setting, film nested across the rows: less than the sum of six quotes."""
    answer = compose(book, roster)
    alone = [quotes.compose(book, order_of(roster, index)) for index in range(len(roster.rows))]
    assert answer.cost is not None

    assert Fraction(answer.cost.total.amount) < sum(
        Fraction(quote.cost.total.amount) for quote in alone if quote.cost is not None
    )
    assert 24 == sum(film.pieces for film in answer.cost.film)
    taken = sum(film.roll_length_mm for film in answer.cost.film)
    assert taken < sum(film.roll_length_mm for quote in alone if quote.cost is not None for film in quote.cost.film)


def test_quantity_breaks_are_for_the_whole_roster(book: Book, roster: Roster) -> None:
    """Six rows reach a break at six pairs, though no row does; and set-up is charged once."""
    club = replace(book.policies["club"], breaks=(QuantityBreak(pairs=6, off="0.20"),))
    answer = compose(replace(book, policies={**book.policies, "club": club}), roster)
    assert answer.price is not None

    assert ["break", "setup"] == [step.what for step in answer.price.why if step.what in {"break", "setup"}]


def test_a_break_never_makes_the_whole_cheaper_than_without_its_cheapest_row(book: Book, roster: Roster) -> None:
    """With half off from six pairs on, six cost no less than any five of them."""
    club = replace(book.policies["club"], breaks=(QuantityBreak(pairs=6, off="0.50"),), ending=None)
    other = replace(book, policies={**book.policies, "club": club})
    whole = compose(other, roster)
    parts = [compose(other, replace(roster, rows=roster.rows[:at] + roster.rows[at + 1 :])) for at in range(len(NAMES))]
    assert whole.price is not None

    assert "hold" in [step.what for step in whole.price.why]
    assert total(whole) >= max(map(total, parts)) - Fraction(5, 100)


def test_rows_are_charged_alike_or_by_cost_as_the_policy_says(book: Book, roster: Roster) -> None:
    """Alike, all rows cost what the dearest does by its cost; by cost, a long name costs more than a short one."""
    club = replace(book.policies["club"], ending=None)
    alike, by_cost = (
        compose(replace(book, policies={"club": replace(club, rows=rows)}), roster) for rows in ("alike", "by-cost")
    )
    longest, shortest = NAMES.index("TIDEWAY"), NAMES.index("EDDY")

    assert 1 == len(set(cents(alike)))
    assert cents(by_cost)[longest] > cents(by_cost)[shortest]
    assert cents(alike)[0] == max(cents(by_cost))


def test_letters_are_charged_to_the_row_that_has_them(book: Book, roster: Roster) -> None:
    """By the list TIDEWAY and a number cost 0.40 more than MARLOW and one, for each letter on each shoe."""
    answer = compose(book, replace(roster, order=replace(roster.order, policy="letters")))
    prices = cents(answer)

    assert Fraction("0.80") == prices[NAMES.index("TIDEWAY")] - prices[NAMES.index("MARLOW")]


def test_a_shops_own_pair_in_a_roster_of_customers(book: Book, roster: Roster) -> None:
    """What a spoilt pair costs is told apart: two lines, by whose pair it is."""
    answer = compose(book, with_row(roster, replace(roster.rows[1], owner="shop")))
    assert answer.cost is not None

    assert {"rates/bench", "shoes/court-trainer"} == {
        line.origin for line in answer.cost.lines if line.what == "spoilage"
    }


def test_one_recipe_is_for_all_rows_of_an_upper(book: Book, roster: Roster) -> None:
    """Sizes of a shoe share their pressings; another shoe has its own."""
    deck = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42"))
    mixed = compose(book, with_row(roster, replace(roster.rows[1], size=None, shoe=deck)))

    assert [(0, 1, 2, 3, 4, 5)] == [plan.rows for plan in compose(book, roster).plans]
    assert [((0, 2, 3, 4, 5), 5), ((1,), 1)] == [(plan.rows, plan.pairs) for plan in mixed.plans]


@pytest.mark.parametrize(
    ("fields", "pointer", "said"),
    [
        ({"name": "TIDEWAY"}, "/rows/1/fields", "'number'"),
        ({"name": "TIDEWAY", "number": ""}, "/rows/1/fields/number", "There is no text"),
        ({"name": " \n ", "number": "7"}, "/rows/1/fields/name", "There is no text"),
        ({"name": "日本", "number": "7"}, "/rows/1/fields/name", ""),
        ({"name": "X" * 199, "number": "7"}, "/rows/1/fields/name", ""),
    ],
)
def test_a_row_that_cannot_be_understood_spoils_no_other(
    book: Book, roster: Roster, fields: dict[str, str], pointer: str, said: str
) -> None:
    """A field missing or empty, a character that the font lacks, a name longer than any shoe: told at the row."""
    answer = compose(book, with_row(roster, replace(roster.rows[1], fields=fields)))
    row = answer.rows[1]
    without = compose(book, replace(roster, rows=roster.rows[:1] + roster.rows[2:]))

    assert (None, None, None, None) == (row.verdict, row.cost, row.price, row.plan)
    assert [pointer] == [fault.pointer for fault in row.faults]
    assert said in row.faults[0].detail
    assert without.price is not None
    left_out = "The total leaves out 1 row: 1 with faults, and cannot be sealed before the faults are mended."
    assert answer.price is not None
    assert ("roster.leaves-out", left_out) == (
        answer.price.warnings_messages[-1].message,
        answer.price.warnings_messages[-1].sentence,
    )
    price = replace(
        without.price,
        leaves_out=(1,),
        warnings=(*without.price.warnings, left_out),
        warnings_messages=answer.price.warnings_messages,
    )
    assert (without.cost, price, 5) == (answer.cost, answer.price, answer.pairs)
    assert (5, 1) == (answer.counts.ready, answer.counts.faulty)


def test_a_row_with_faults_of_the_caller_is_answered_with_them(book: Book, roster: Roster) -> None:
    """It is neither checked nor priced; the others have the answers and the price that they have without it."""
    stated = RosterRow(id="x", faults=("The size 'huge' cannot be read.", "The pairs 'two' cannot be read."))
    answer = compose(book, with_row(roster, stated))
    without = compose(book, replace(roster, rows=roster.rows[:1] + roster.rows[2:]))
    row = answer.rows[1]

    assert (None, None, None, ()) == (row.verdict, row.price, row.plan, row.placements)
    assert list(stated.faults) == [fault.detail for fault in row.faults]
    assert ["/rows/1/faults/0", "/rows/1/faults/1"] == [fault.pointer for fault in row.faults]
    assert without.cost == answer.cost
    others = [one for one in answer.rows if one.row != 1]
    for alone, among in zip(without.rows, others, strict=True):
        assert replace(alone, row=among.row) == among


def test_a_roster_of_faults_alone_is_answered(book: Book, roster: Roster) -> None:
    """No row gives a field, and that is no fault of the text."""
    answer = compose(book, replace(roster, rows=(RosterRow(faults=("No cell can be read.",)),)))

    assert ("decline", None, 1) == (answer.verdict, answer.price, answer.counts.faulty)


def test_the_total_says_which_rows_it_leaves_out(book: Book, roster: Roster) -> None:
    """Rows with faults and declined rows, counted apart."""
    faulty = with_row(roster, RosterRow(faults=("No cell can be read.",)), 4)
    declined = replace(roster.rows[1], fields={"name": "SANDPIPER-CORMORANT", "number": "7"})
    whole, part = compose(book, roster).price, compose(book, with_row(faulty, declined)).price
    assert whole is not None
    assert part is not None

    assert () == whole.leaves_out
    assert (1, 4) == part.leaves_out
    assert [] == [warning for warning in whole.warnings if "leaves out" in warning]
    assert any("leaves out 2 rows: 1 with faults and 1 declined" in warning for warning in part.warnings)


def test_repeated_ids_are_told_at_each_row_that_has_them(book: Book, roster: Roster) -> None:
    """The rows are answered and priced: only the caller knows whether a wearer is listed twice."""
    rows = tuple(replace(row, id=name) for row, name in zip(roster.rows, ["a", "b", "a", "c", "d", "e"], strict=True))
    answer = compose(book, replace(roster, rows=rows))

    told = "2 rows have the id 'a': look whether a wearer is listed twice."
    assert [(told,), (), (told,), (), (), ()] == [row.warnings for row in answer.rows]
    assert 6 == answer.counts.ready
    assert not any(row.warnings for row in compose(book, roster).rows)  # rows without an id repeat none


def test_a_size_among_the_fields_is_not_answered_with_the_orders_size(book: Book, roster: Roster) -> None:
    """The caller meant to say a size; one that is said beside the fields as well stays a field that is not used."""
    fields = {**roster.rows[1].fields, "size": "44"}
    misplaced = compose(book, with_row(roster, replace(roster.rows[1], fields=fields, size=None)))
    said = compose(book, with_row(roster, replace(roster.rows[1], fields=fields)))

    assert ["/rows/1/fields/size"] == [fault.pointer for fault in misplaced.rows[1].faults]
    assert (6, ("size",)) == (said.counts.ready, said.unused_fields)


def test_a_name_too_long_for_the_panel_is_declined_and_priced_without(book: Book, roster: Roster) -> None:
    """It is an answer: the row says by how much, and how large it may be."""
    answer = compose(
        book, with_row(roster, replace(roster.rows[1], fields={"name": "SANDPIPER-CORMORANT", "number": "7"}))
    )
    row = answer.rows[1]

    assert ("decline", None, None) == (row.verdict, row.cost, row.price)
    assert {"fit.outside"} <= {reason.code for reason in row.reasons}
    assert all(
        reason.subject.startswith("/rows/1/fields/name") for reason in row.reasons if reason.code == "fit.outside"
    )
    assert (5, 1, "ready") == (answer.counts.ready, answer.counts.declined, answer.verdict)


def test_where_no_row_can_be_done_nothing_is_priced(book: Book, roster: Roster) -> None:
    """An answer all the same."""
    rows = tuple(replace(row, fields={"name": "SANDPIPER-CORMORANT", "number": "7"}) for row in roster.rows)
    answer = compose(book, replace(roster, rows=rows))

    assert ("decline", None, None, (), 0, ()) == (
        answer.verdict,
        answer.cost,
        answer.price,
        answer.buy,
        answer.pairs,
        answer.plans,
    )


def test_a_field_that_no_row_gives_is_a_fault_of_the_template(book: Book, roster: Roster) -> None:
    """The whole request is refused, at the text that asks for it; with the template's other faults."""
    assert ["/order/placements/0/artwork/text"] == pointers(book, with_text(roster, "{name} {role}"))
    assert ["/order/placements/0/artwork/text"] == pointers(book, with_text(roster, "{name"))


def test_a_field_that_no_row_gives_is_told_with_the_name_most_like_it(book: Book, roster: Roster) -> None:
    """A misspelt field is found at a glance."""
    rows = tuple(replace(row, fields={"nmae": row.fields["name"], "number": "7"}) for row in roster.rows)
    with pytest.raises(RefusedError, match="did you mean 'nmae'"):
        compose(book, replace(roster, rows=rows))


def test_what_is_wrong_with_the_order_is_refused_once(book: Book, roster: Roster) -> None:
    """Not six times, and not as a row's."""
    first, second = roster.order.placements
    wrong = replace(
        roster,
        order=replace(
            roster.order,
            policy="no-such",
            placements=(replace(first, film="no-such"), replace(second, panel="no-such")),
        ),
    )
    assert ["/order/policy"] == pointers(book, wrong)
    assert {"/order/placements/0/film", "/order/placements/1/panel"} == set(
        pointers(book, replace(wrong, order=replace(wrong.order, policy=None)))
    )


def test_a_size_that_a_shoe_is_not_made_in_is_the_rows_fault(book: Book, roster: Roster) -> None:
    """And the order's, where the row gives none."""
    wrong = Size(system="EU", value="99")
    answer = compose(book, with_row(roster, replace(roster.rows[1], size=wrong)))
    assert isinstance(roster.order.shoe, BookShoe)
    huge = replace(roster, order=replace(roster.order, shoe=replace(roster.order.shoe, size=wrong)))

    assert ["/rows/1/size"] == [fault.pointer for fault in answer.rows[1].faults]
    assert 6 == compose(book, huge).counts.ready
    assert {"/order/shoe/size"} == set(pointers(book, with_row(huge, replace(roster.rows[1], size=None))))


def test_a_row_may_bring_its_own_shoe(book: Book, roster: Roster) -> None:
    """Of the book or measured; a panel that it lacks is the row's fault, and a measured shoe has no other size."""
    panel = MeasuredPanel(panel="outer-quarter", shape=Rectangle(width="110 mm", height="60 mm"), curvature="flat")
    inner = replace(panel, panel="inner-quarter", face="inner")
    measured = MeasuredShoe(label="leather", panels=(panel, inner), inside_length="270 mm")
    lacking = replace(measured, panels=(panel,))
    rows = [replace(roster.rows[1], size=None, shoe=shoe) for shoe in (measured, lacking)]
    brought, without = (compose(book, with_row(roster, row)).rows[1] for row in rows)
    sized = compose(
        book,
        replace(roster, order=replace(roster.order, shoe=measured), rows=(roster.rows[0], rows[0])),
    )

    assert brought.faults == ()
    assert brought.verdict in {"trial", "decline"}
    assert {"/rows/1/shoe"} == {fault.pointer for fault in without.faults}
    assert ["/rows/0/size"] == [fault.pointer for fault in sized.rows[0].faults]


def test_the_largest_letters_are_those_of_the_row_that_allows_least(book: Book, roster: Roster) -> None:
    """Asked for that height, every row fits; a tenth of a millimetre more, and the row that is named does not."""
    answer = compose(book, roster)
    largest = answer.largest_letters[0]
    assert largest.letter_height_mm is not None
    heights = [
        fits.check(book, fit_request(order, order.placements[0])).largest
        for order in (order_of(roster, index) for index in range(len(NAMES)))
    ]
    letters = [one.letter_height_mm for one in heights if one is not None]

    assert min(one for one in letters if one is not None) == pytest.approx(largest.letter_height_mm, abs=2e-3)
    assert letters.index(min(one for one in letters if one is not None)) == largest.row


@pytest.mark.parametrize(
    ("asked", "stroke_mm", "too_fine"),
    [("10 mm", 0.05, None), ("10 mm", 1.0, None), ("10 mm", 1.1, 5), ("16 mm", 1.1, 5), ("10 mm", 3.0, 0)],
)
def test_letters_of_the_height_that_is_advised_are_not_declined(
    book: Book, roster: Roster, asked: str, stroke_mm: float, too_fine: int | None
) -> None:
    """At the largest height that fits, rows are declined for fine detail only where no height is advised.

    The film takes all strokes, takes them in larger letters than 10 mm, does not take those of row 5 at the height
    that fits all rows, from above and below it, or takes none.
    """
    first, second = roster.order.placements
    smooth = book.films[first.film]

    def answered(letter_height: str, stroke_mm: float) -> RosterAnswer:
        finest = replace(smooth.finest, stroke_mm=stroke_mm, gap_mm=0.05, island_mm2=0.01)
        artwork = replace(first.artwork, letter_height=letter_height)
        placements = (replace(first, artwork=artwork), second)
        return compose(
            replace(book, films={**book.films, "smooth": replace(smooth, finest=finest)}),
            replace(roster, order=replace(roster.order, placements=placements)),
        )

    most = answered(asked, 0.05).largest_letters[0].letter_height_mm
    assert most is not None
    fine = [
        row.row
        for row in answered(f"{most} mm", stroke_mm).rows
        if any(reason.code == "fit.fine-stroke" and "fields/name" in reason.subject for reason in row.reasons)
    ]
    largest = answered(asked, stroke_mm).largest_letters[0]

    assert too_fine == min(fine, default=None) == largest.too_fine
    assert (most if too_fine is None else None) == largest.letter_height_mm


def test_what_to_buy_is_what_the_roll_and_the_press_take(book: Book, roster: Roster) -> None:
    """Film by the metre and the roll, sheets by their closings, tape where the carrier does not hold."""
    first, second = roster.order.placements
    many = replace(
        roster,
        order=replace(roster.order, pairs=300, placements=(first, replace(second, film="reflective", colour="pitch"))),
    )
    answer = compose(book, many)
    assert answer.cost is not None
    buy = {(one.what, one.record, one.colour): one for one in answer.buy}
    film = next(use for use in answer.cost.film if use.film == "smooth")
    bought = buy["film", "films/smooth", "pitch"]
    sheets = next(one for one in answer.buy if one.what == "cover")
    tape = next(one for one in answer.buy if one.what == "tape")

    assert film.roll_length_mm / 1000 == pytest.approx(bought.quantity)
    assert bought.packs == -(-bought.quantity // book.films["smooth"].roll.length_m)
    assert Fraction(bought.price.amount if bought.price else "0") == Fraction(book.films["smooth"].roll.price.amount)
    assert sheets.packs == -(-sheets.quantity // book.covers[sheets.record.removeprefix("covers/")].lasts_presses)
    assert (2 * 1800.0, None) == (tape.quantity, tape.packs)
    assert [line.quantity for line in answer.cost.lines if line.what == "tape"] == ["3600"]


def test_offcuts_serve_a_roster_before_the_roll(roster: Roster) -> None:
    """What the book's offcuts take is not bought."""
    demo = load()
    answer = compose(demo, roster)
    assert answer.cost is not None

    assert answer.cost.film[0].offcuts
    assert "film" not in {one.what for one in answer.buy} or answer.cost.film[0].roll_length_mm > 0


def test_a_schedule_is_for_the_whole_roster(book: Book, roster: Roster) -> None:
    """Bench and press hours of all rows, and the day on which they are ready."""
    many = replace(roster, order=replace(roster.order, pairs=100, hours_a_day=6))
    few, answer = compose(book, roster), compose(book, many)
    assert few.cost is not None
    assert answer.cost is not None
    assert few.cost.times.working_days is not None
    assert answer.cost.times.working_days is not None

    assert answer.cost.times.press_s > 50 * few.cost.times.press_s
    assert answer.cost.times.working_days > few.cost.times.working_days


def test_fields_that_no_template_asks_for_are_named(book: Book, roster: Roster) -> None:
    """A column of notes is no fault, but is not silently dropped."""
    row = replace(roster.rows[1], fields={**roster.rows[1].fields, "nmae": "TIDEWAY"})

    assert ("nmae",) == compose(book, with_row(roster, row)).unused_fields


def test_names_may_hold_braces(book: Book, roster: Roster) -> None:
    """What a row gives is no template; braces of the order's own are doubled."""
    braced = with_row(with_text(roster, "{{{name}}}"), replace(roster.rows[1], fields={"name": "A{B}", "number": "1"}))
    row = compose(book, braced).rows[1]

    assert row.placements == () or "{A{B}}" == row.placements[0].text


def test_more_pairs_than_an_order_may_have_are_refused(book: Book, roster: Roster) -> None:
    """Ten thousand in all, as for an order."""
    assert ["/rows"] == pointers(book, replace(roster, order=replace(roster.order, pairs=1667)))


@pytest.mark.parametrize(("rows", "length"), [(500, None), (501, "length <= 500"), (0, "length >= 1")])
def test_five_hundred_rows_are_the_most(rows: int, length: str | None) -> None:
    """One more is refused before anything is computed, and so is none at all."""
    text = msgspec.json.decode(EXAMPLE.read_bytes())
    text["rows"] = [text["rows"][0]] * rows
    if length is None:
        assert rows == len(msgspec.convert(text, Roster).rows)
    else:
        with pytest.raises(msgspec.ValidationError, match=length):
            msgspec.convert(text, Roster)


def test_a_row_says_its_size_once() -> None:
    """A shoe brings its own."""
    size = Size(system="EU", value="42")
    with pytest.raises(ValueError, match="one of `size` and `shoe`"):
        RosterRow(size=size, shoe=BookShoe(shoe="yard-boot", size=size))


def test_drawings_are_the_same_in_every_row(book: Book, roster: Roster) -> None:
    """A badge beside the names; its fault is the order's, too wide for the roll as well."""
    badge = Placement(
        panel="tongue", film="smooth", colour="pitch", artwork=PathArtwork(d="M0 0H10V10H0Z", height="9 mm")
    )
    answer = compose(book, replace(roster, order=replace(roster.order, placements=(*roster.order.placements, badge))))

    assert {None} == {row.placements[2].text for row in answer.rows}
    assert 2 == len(answer.largest_letters)


def test_a_declined_rows_alternatives_are_told_at_the_row(book: Book, roster: Roster) -> None:
    """Film that does not bond to the upper declines every row, and the reason points into the order."""
    foam = replace(book.shoes["court-trainer"].panels[0], upper="rubber")
    shoe = replace(book.shoes["court-trainer"], panels=(foam, *book.shoes["court-trainer"].panels[1:]))
    answer = compose(replace(book, shoes={**book.shoes, "court-trainer": shoe}), roster)

    assert {"decline"} == {row.verdict for row in answer.rows}
    assert {"/order/placements/0/film"} == {
        reason.subject for row in answer.rows for reason in row.reasons if reason.code == "surface.unsuited"
    }


def test_money_that_cannot_be_reckoned_is_the_orders_fault(book: Book, roster: Roster) -> None:
    """A film priced in another currency is refused, not left to a row."""
    dollars = replace(
        book.films["smooth"], roll=replace(book.films["smooth"].roll, price=Charge(amount="80.00", currency="USD"))
    )
    with pytest.raises(RefusedError, match="smooth is priced in USD"):
        compose(replace(book, films={**book.films, "smooth": dollars}), roster)


def test_an_answer_comes_back_from_the_wire_the_same(book: Book, roster: Roster) -> None:
    """Whatever was composed can cross it."""
    answer = compose(book, with_row(roster, RosterRow(fields={"name": "EDDY"})))

    assert answer == msgspec.json.decode(msgspec.json.encode(answer), type=RosterAnswer)
    assert isinstance(answer.rows[0], RowAnswer)


TEXTS = st.sampled_from(["MARLOW", "TIDEWAY", "EDDY", "I", "SANDPIPER-CORMORANT"])
ROWS = st.lists(
    st.builds(
        lambda name, size, pairs, owner: RosterRow(
            fields={"name": name, "number": "7"}, size=Size(system="EU", value=size), pairs=pairs, owner=owner
        ),
        TEXTS,
        st.sampled_from(["40", "42", "44"]),
        st.integers(1, 4),
        st.sampled_from(["customer", "shop"]),
    ),
    min_size=2,
    max_size=4,
)


@pytest.mark.slow
def test_a_row_is_its_order_whatever_the_other_rows_and_their_order(book: Book, roster: Roster) -> None:
    """Verdict, fit, pressings and unshared work of a row are those of its order alone, wherever it stands."""

    @settings(max_examples=drawn(25), deadline=None)
    @given(rows=ROWS, sides=st.sampled_from(["both", "left", "right"]), walk_in=st.booleans(), turn=st.integers(0, 3))
    def check(rows: list[RosterRow], sides: Literal["both", "left", "right"], walk_in: bool, turn: int) -> None:
        placements = tuple(replace(one, sides=sides) for one in roster.order.placements)
        order = replace(roster.order, placements=placements)
        if walk_in:
            panels = tuple(
                MeasuredPanel(
                    panel=one.panel,
                    face="outer" if at == 0 else "inner",
                    shape=Rectangle(width="90 mm", height="45 mm"),
                    curvature="flat",
                )
                for at, one in enumerate(placements)
            )
            shoe = MeasuredShoe(label="leather", panels=panels, inside_length="270 mm")
            order, rows = replace(order, shoe=shoe), [replace(row, size=None) for row in rows]
        several = replace(roster, order=order, rows=tuple(rows))
        turned = replace(several, rows=tuple(rows[turn % len(rows) :] + rows[: turn % len(rows)]))
        answer, other = compose(book, several), compose(book, turned)

        for index, row in enumerate(answer.rows):
            asked = rows[index]
            alone = replace(order_of(several, index), pairs=asked.pairs or 1, owner=asked.owner or "customer")
            quote = quotes.compose(book, alone)
            assert (quote.verdict, [reason.sentence for reason in quote.reasons]) == (
                row.verdict, [reason.sentence for reason in row.reasons],
            )  # fmt: skip
            assert [(one.fit.artwork.width_mm, one.fit.clearance_mm) for one in quote.placements] == [
                (one.width_mm, one.clearance_mm) for one in row.placements
            ]
            single = compose(book, replace(several, rows=(asked,)))
            assert quote.cost == single.cost
            assert (quote.price is None) == (row.plan is None)
            if row.plan is not None:
                assert quote.pressings == answer.plans[row.plan].pressings
            there = other.rows[(index - turn) % len(rows)]
            assert (row.verdict, row.placements) == (there.verdict, there.placements)
            assert [reason.sentence for reason in row.reasons] == [reason.sentence for reason in there.reasons]
        assert (answer.cost is None) == (other.cost is None)
        if answer.cost is not None and other.cost is not None:
            assert answer.cost.total == other.cost.total
            # Sums of the same seconds, added in another order.
            assert msgspec.structs.astuple(answer.cost.times) == pytest.approx(
                msgspec.structs.astuple(other.cost.times)
            )

    check()


def spaced(roster: Roster, **changes: object) -> Roster:
    """Return a roster whose names stand close in stretch film."""
    placements = tuple(
        replace(one, film="stretch", colour="chalk", artwork=replace(one.artwork, letter_height="14 mm", **changes))
        for one in roster.order.placements
    )
    return replace(roster, order=replace(roster.order, placements=placements))


def test_a_roster_keeps_one_letter_spacing_for_all_rows(book: Book, roster: Roster) -> None:
    """It is the largest that a row needs; every row is what its order alone is with it, in whatever order they come."""
    close = spaced(roster, letter_spacing=-0.1, fit_letters="space")
    needs = [
        quotes.compose(book, order_of(close, row)).placements[0].fit.artwork.letter_spacing or 0.0
        for row in range(len(close.rows))
    ]

    answer = compose(book, close)
    (spacing, *_) = answer.letter_spacings
    back = compose(book, replace(close, rows=close.rows[::-1]))

    assert len(set(needs)) > 1
    assert (0, max(needs), needs.index(max(needs))) == (spacing.placement, spacing.letter_spacing, spacing.row)
    assert [one.letter_spacing for one in answer.letter_spacings] == [
        one.letter_spacing for one in back.letter_spacings
    ]
    told = spaced(roster, letter_spacing=spacing.letter_spacing)
    for index, row in enumerate(answer.rows):
        quote = quotes.compose(book, order_of(told, index))
        assert quote.verdict == row.verdict == back.rows[len(answer.rows) - 1 - index].verdict
        assert [one.fit.artwork.width_mm for one in quote.placements] == [one.width_mm for one in row.placements]


def test_a_row_declined_for_fine_detail_has_mends_of_the_order(book: Book, roster: Roster) -> None:
    """Without leave to space letters, a row that needs it is declined, with where in the order the mend belongs."""
    answer = compose(book, spaced(roster, letter_spacing=-0.1))
    declined = [row for row in answer.rows if any(reason.code == "fit.fine-gap" for reason in row.reasons)]

    assert () == answer.letter_spacings
    assert declined
    for row in declined:
        subjects = {mend.subject for mend in row.placements[0].mends}
        assert "/order/placements/0/artwork/letter_spacing" in subjects


def test_what_the_order_observes_counts_for_every_row(book: Book, roster: Roster) -> None:
    """Rows press sooner where the film held sooner; what is wrong with an observation is the order's fault, once."""
    placement = roster.order.placements[0]
    onto = ShoePanel(shoe=roster.order.shoe, panel=placement.panel)
    held = Observation(
        film=placement.film, onto=onto, cover="silicone-thin", temperature="160 degC", dwell="18 s", bond="holds"
    )
    short = with_text(replace(roster, rows=roster.rows[:2]), "{number}")
    plain, observed = (
        compose(book, replace(short, order=replace(short.order, observations=seen))) for seen in ((), (held,))
    )
    before, after = (answer.plans[0].pressings[0].recipe.window for answer in (plain, observed))
    assert before is not None and before.shortest_s is not None  # noqa: PT018 - for the type
    assert after is not None and after.shortest_s is not None  # noqa: PT018 - for the type
    assert after.shortest_s < before.shortest_s

    wrong = replace(short, order=replace(short.order, observations=(replace(held, cover="tinfoil"),)))
    assert ["/order/observations/0/cover"] == pointers(book, wrong)
