"""Answers as text: cases that the examples do not have."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace

from featherline.command import main, text
from featherline.command.parser import SHOE_TESTS
from featherline.wire import (
    Band,
    BookAnswer,
    BookRevision,
    Fault,
    FitAnswer,
    Money,
    QuantityPrice,
    QuoteAnswer,
    Reason,
    RecipeAnswer,
    RosterAnswer,
    Shelf,
    Times,
)

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"
FIT = msgspec.json.decode((EXAMPLES / "fit-answer.json").read_bytes(), type=FitAnswer)
QUOTE = msgspec.json.decode((EXAMPLES / "quote-answer.json").read_bytes(), type=QuoteAnswer)
RECIPE = msgspec.json.decode((EXAMPLES / "recipe-answer.json").read_bytes(), type=RecipeAnswer)
ROSTER = msgspec.json.decode((EXAMPLES / "roster-answer.json").read_bytes(), type=RosterAnswer)


def test_a_fit_without_a_largest_copy() -> None:
    """The text says that no size fits, and has no lines for a missing contrast or size."""
    out = text.fit(replace(FIT, fit=replace(FIT.fit, largest=None, contrast=None, size=None)), "metric")
    assert "no size of it fits at this place" in out
    assert "contrast" not in out
    assert "foot" not in out


def test_a_shoes_foot_is_told_once_for_all_placements() -> None:
    """Two placements on the same shoe have one line; a shoe without a size has none."""
    placement = QUOTE.placements[0]
    assert placement.fit.size is not None
    both = text.quote(replace(QUOTE, placements=(placement, replace(placement, sides="left"))), "metric")
    without = replace(placement, fit=replace(placement.fit, size=None))

    line = f"the shoe is for a foot {placement.fit.size.foot_mm:.1f} mm long; {placement.fit.size.convention}"
    assert 1 == " ".join(both.split()).count(line)
    assert "for a foot" not in text.quote(replace(QUOTE, placements=(without,)), "metric")
    assert f"{line} " in " ".join(text.fit(replace(FIT, fit=placement.fit), "metric").split())


@pytest.mark.parametrize(
    ("shortest_s", "longest_s", "expected"),
    [
        (26.4, 48.9, "from 27 s to 48 s"),
        (26.0000000001, 47.9999999999, "from 26 s to 48 s"),
        (26.22, 26.58, "from 26.3 s to 26.5 s"),
        (50.0, 48.0, "without a window: bonds from 50 s, harms after 48 s"),
        (None, 48.0, "without a window: does not bond, harms after 48 s"),
        (26.0, None, "without a window: bonds from 26 s, harms at once"),
    ],
)
def test_a_missing_window(shortest_s: float | None, longest_s: float | None, expected: str) -> None:
    """The text says which end of the window is missing."""
    assert RECIPE.recipe.window is not None
    window = replace(RECIPE.recipe.window, worst_case=Band(shortest_s=shortest_s, longest_s=longest_s))
    out = text.recipe(replace(RECIPE, recipe=replace(RECIPE.recipe, window=window)), "metric")
    assert f"in the worst case of 95 % {expected}" in " ".join(out.split())


@pytest.mark.parametrize(
    ("clearance_mm", "metric", "us"),
    [
        (6.67, "6.6 mm clear of the nearest", "0.26 in clear of the nearest"),
        (-2.71, "2.8 mm over the nearest", "0.11 in over the nearest"),
        (6.7, "6.7 mm clear of the nearest", "0.26 in clear of the nearest"),
    ],
)
def test_a_clearance_promises_no_more_than_there_is(clearance_mm: float, metric: str, us: str) -> None:
    """Room is rounded down, what is over or needed up, as in the service's sentences."""
    fit = replace(FIT.fit, clearance_mm=clearance_mm, clearance_needed_mm=3.01)
    answer = replace(FIT, fit=fit)
    said = [" ".join(out.split()) for out in (text.fit(answer, "metric"), text.fit(answer, "us"))]

    assert metric in said[0]
    assert us in said[1]
    assert "3.1 mm clear needed" in said[0]
    assert "0.12 in clear needed" in said[1]


def test_a_roster_without_a_price() -> None:
    """The text has no charge and no time; it has the ids of rows, and letters that fit at no height."""
    letters = (replace(ROSTER.largest_letters[0], letter_height_mm=None, too_fine=None),)
    out = text.roster(replace(ROSTER, price=None, cost=None, largest_letters=letters), [2, 3, 4, 5, 6])
    assert "placement 1: the letters of one row fit at no height" in out
    assert "Charge" not in out
    assert "Time" not in out
    assert "- line 4 (3): decline. " in out


def test_a_roster_whose_letters_would_be_too_fine() -> None:
    """The text names the line that limits the height and the line that is then too fine, and advises no height."""
    letters = (replace(ROSTER.largest_letters[0], letter_height_mm=None, row=1, too_fine=3),)
    out = " ".join(text.roster(replace(ROSTER, largest_letters=letters), [2, 3, 4, 5, 6]).split())
    assert (
        "placement 1: no height suits every row: letters low enough for line 3 to fit make line 5 too fine for the film"
    ) in out
    assert "for every row to fit" not in out


def test_what_is_said_of_several_rows_is_told_once() -> None:
    """With their lines, also where other faults differ; a sentence that ends in a question has no full stop."""
    column, name, pairs = (
        Fault(pointer="/rows/0", detail=detail) for detail in ("did you mean 'full name'?", "no name", "no pairs")
    )
    faults = [(column,), (column, name), (column, pairs)]
    rows = [
        replace(row, id=None, verdict=None, reasons=(), warnings=(), faults=own)
        for row, own in zip(ROSTER.rows[:3], faults, strict=True)
    ]
    ready = replace(ROSTER.rows[0], verdict="ready", warnings=())
    told = text.roster(replace(ROSTER, rows=(*rows, ready)), [2, 3, 4, 5])
    assert (
        "Rows      - lines 2, 3, 4: fault. did you mean 'full name'?\n"
        "          - line 3: fault. no name.\n"
        "          - line 4: fault. no pairs.\n"
    ) in told
    assert "Rows      - every line: fault. did you mean 'full name'?\n" in text.roster(
        replace(ROSTER, rows=tuple(rows)), [2, 3, 4]
    )


def test_rows_with_the_same_reasons_are_told_together() -> None:
    """Rows of one verdict have their reasons in one paragraph, with all their lines and ids."""
    reasons = [
        Reason(code="fit.outside", verdict="decline", subject="", sentence=sentence) for sentence in ("One.", "Two.")
    ]
    row = replace(ROSTER.rows[0], id="a", verdict="decline", reasons=tuple(reasons), warnings=(), faults=())
    rows = (row, replace(row, id=None), replace(row, reasons=()), replace(row, verdict="ready", reasons=()))
    assert "Rows      - lines 2 (a), 3: decline. One. Two.\n          - line 4 (a): decline.\n" in text.roster(
        replace(ROSTER, rows=rows), [2, 3, 4, 5]
    )


def test_a_roster_raised_to_the_minimum_order() -> None:
    """The text says how much of the total is set-up, and how much reaches the minimum."""
    assert ROSTER.price is not None
    raised = replace(ROSTER.price, to_minimum=Money(amount="4.20", currency="EUR"))
    out = text.roster(replace(ROSTER, price=raised), [2, 3, 4, 5, 6])
    assert "4.20 EUR of it to the minimum order" in " ".join(out.split())


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        (
            {"idle_s": 120.0, "cutter_s": 0.0, "cooling_s": 360.0},
            "start to end 30.0 min: hands 28.0 min paid and 2.0 min free, press 20.0 min, cooling places 6.0 min",
        ),
        ({"cutter_s": 90.0}, "start to end 30.0 min: hands 28.0 min paid, press 20.0 min, cutter 1.5 min"),
    ],
)
def test_times_from_start_to_end(more: Mapping[str, float], expected: str) -> None:
    """The text tells the paid time of hands from the free, and leaves out what is not taken up."""
    assert ROSTER.cost is not None
    times = Times(**{"labour_s": 1680.0, "press_s": 1200.0, "elapsed_s": 1800.0, "working_days": None, **more})
    out = text.roster(replace(ROSTER, cost=replace(ROSTER.cost, times=times)), [2, 3, 4, 5, 6])
    assert f"Time {expected}" in " ".join(out.split())


def test_a_heading_that_is_longer_than_its_column() -> None:
    """It has a line of its own, above the numbers of pairs."""
    assert QUOTE.price is not None
    other = QuantityPrice(pairs=2, each=QUOTE.price.each, total=QUOTE.price.total, verdict="ready", next_break=None)
    out = text.quote(replace(QUOTE, price=replace(QUOTE.price, quantities=(other,))), "metric")
    assert "\nOther quantities\n          2 pairs, 9.90 EUR each" in out


@pytest.mark.parametrize(
    ("quantity", "unit", "rate", "expected"),
    [
        ("12", "pair", "0.35", "12 pairs at 0.35"),
        ("1", "pair", "0.35", "1 pair at 0.35"),
        ("2", "closing", "0.008", "2 closings at 0.008"),
        ("0.438386", "pair", "3.610833333333", "0.4384 pairs at 3.611"),
        ("12345.678901", "cm2", "0.000721234", "12345.68 cm2 at 0.0007212"),
        ("0.000000", "artwork", "1.00", "0.00 artworks at 1.00"),
        ("0", "piece", "105.00", "0 pieces at 105.00"),
    ],
)
def test_the_quantity_of_a_cost_line(quantity: str, unit: str, rate: str, expected: str) -> None:
    """Counted units have a plural, and numbers no more decimals than people read."""
    assert QUOTE.cost is not None
    line = replace(QUOTE.cost.lines[0], detail="Work", quantity=quantity, unit=unit, rate=rate)
    out = text.quote(replace(QUOTE, cost=replace(QUOTE.cost, lines=(line,))), "metric")
    assert f"Cost      Work ({expected}) " in out


@pytest.mark.parametrize(
    ("sentence", "expected"),
    [
        ("Ask again with `makers_consent` set.", "Ask again with `makers_consent` (--makers-consent) set."),
        ("`tests.water_drop`: 'beads'; `upper`.", "`tests.water_drop` (--water-drop): 'beads'; `upper` (--upper)."),
        ("Give `water_drop` of `tests.heat`.", "Give `water_drop` of `tests.heat`."),
        ("Say the surface.", "Say the surface."),
    ],
)
def test_a_field_in_a_sentence_has_its_flag(sentence: str, expected: str) -> None:
    """A person at a terminal is told the flag beside the field of the request; a field without a flag stays."""
    reason = Reason(code="shoe.protective", verdict="decline", subject="/shoe", sentence=sentence)
    out = text.fit(replace(FIT, fit=replace(FIT.fit, reasons=(reason,))), "metric")
    assert f"- {expected}" in " ".join(out.split())
    row = replace(ROSTER.rows[0], faults=(), reasons=(reason,), warnings=())
    assert (expected,) == text.row_reasons(row)


def test_the_flags_beside_fields_exist(capsys: pytest.CaptureFixture[str]) -> None:
    """Each is a flag of an order."""
    with pytest.raises(SystemExit, match="0"):
        main(["quote", "--help"])
    shown = capsys.readouterr().out
    fields = ["makers_consent", "surface", "upper", "along", "film", *(f"tests.{name}" for name in SHOE_TESTS)]
    flags = [text.with_flags(f"`{field}`").partition(" (")[2].rstrip(")") for field in fields]
    assert [] == [flag for flag in flags if not flag.startswith("--") or f"  {flag} " not in shown]


def test_a_book_with_changes_to_come_tells_of_them() -> None:
    """Each revision has a line with its state, its times and what it changes; a book without changes has none."""
    change = datetime(2027, 1, 1, tzinfo=UTC)
    revisions = tuple(
        BookRevision(
            revision=f"sha256:{number:064x}", state=state, since=since, until=until, pinned_until=None, changes=changes
        )
        for number, state, since, until, changes in (
            (1, "in-force", None, change, ()),
            (2, "to-come", change, None, (Shelf(kind="policies", ids=("club", "counter")),)),
        )
    )  # fmt: skip
    book = BookAnswer(
        name="Quay", invented=False, kinds=(), revisions=revisions, book=revisions[0].revision, engine="1"
    )
    out = " ".join(text.book(book).split())
    assert "000000000000 in-force until 2027-01-01 00:00:00 UTC" in out
    assert "000000000000 to-come from 2027-01-01 00:00:00 UTC; changes policies/club, policies/counter" in out
    assert "Revisions" not in text.book(replace(book, revisions=revisions[:1]))
