from __future__ import annotations

import math
from typing import Any

import msgspec
import plain_marks
import pytest
from msgspec.structs import replace
from walk_in import BAR, measured

from featherline.wire.artworks import At, PathArtwork
from featherline.wire.costs import Order
from featherline.wire.fits import Fit, FitRequest
from featherline.wire.records import Platen, Press
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.fit import fits, reach
from featherline_service.questions.quote import quotes

RULER = measured("150 mm", "60 mm")
SMALL = PathArtwork(d="M0 0H10V5H0Z", height="5 mm")


def asked(**changes: Any) -> FitRequest:  # noqa: ANN401 - the JSON of any part
    """Return a question about a bar on a walk-in's panel, some of it changed."""
    return msgspec.convert({"shoe": RULER, "panel": "side", "film": "smooth", "artwork": BAR, **changes}, FitRequest)


def on_deck(**changes: Any) -> FitRequest:  # noqa: ANN401 - the JSON of any part
    """Return a question about a bar on a deck shoe's outer quarter, some of it changed."""
    shoe = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "JP", "value": "26"}}
    return asked(**{"shoe": shoe, "panel": "outer-quarter", **changes})


def with_platens(book: Book, *platens: Platen, **press: Any) -> Book:  # noqa: ANN401 - fields of a press
    """Return the book with a press of these platens alone."""
    swing = replace(book.presses["swing"], platens=tuple(platen.id for platen in platens), **press)
    return replace(book, presses={"swing": swing}, platens={platen.id: platen for platen in platens})


def reasons(fit: Fit, code: str) -> list[Reason]:
    """Return the reasons of a code."""
    return [reason for reason in fit.reasons if reason.code == code]


def test_platens_that_take_shoe_and_artwork_are_named(book: Book) -> None:
    """The press's own order holds; a shoe too short for the large form goes on the small one alone."""
    child = {**RULER, "inside_length": "180 mm"}

    assert ("shoe-form", "small-shoe-form") == fits.check(book, asked()).platens
    assert ("small-shoe-form",) == fits.check(book, asked(shoe=child)).platens
    assert () == fits.check(book, asked(shoe={**RULER, "inside_length": "9 cm"})).platens


def test_artwork_lies_within_the_rim_of_a_rectangular_pad(book: Book) -> None:
    """On a pad of 100 x 30 with a rim of 4, artwork of 92 x 22 is held along it or across, and no larger one."""
    pad = replace(book.platens["shoe-form"], id="own", length_mm=100.0, width_mm=30.0, rim_mm=4.0)
    own = with_platens(book, pad)

    def found(width: float, height: float) -> Fit:
        drawing = {"kind": "path", "d": f"M0 0H{width}V{height}H0Z", "height": f"{height} mm"}
        return fits.check(own, asked(artwork=drawing, clearance="0 mm"))

    assert [("own",), (), ()] == [found(*size).platens for size in ((92.0, 22.0), (92.1, 22.0), (92.0, 22.1))]
    assert ("own",) == found(22.0, 50.0).platens
    (reason,) = reasons(found(92.1, 22.0), "fit.reach")
    assert ("decline", 92.1, 92.0, "mm") == (reason.verdict, reason.measure, reason.limit, reason.unit)
    assert "within its rim the pad of Shoe form for a pair holds 92.0 mm by 21.9 mm of it" in reason.sentence
    tall = reasons(found(92.0, 22.1), "fit.reach")[0]
    assert pytest.approx(92.0 * 22.0 / 22.1, abs=1e-3) == tall.limit


@pytest.mark.parametrize(("width", "held"), [("60 mm", True), ("75 mm", False)])
def test_a_platen_cut_to_order_holds_what_lies_within_its_outline(book: Book, width: str, held: bool) -> None:
    """On a round pad of 80 mm with a rim of 2, a bar of ratio 4 is held up to 76 / sqrt(1 + 1/16) = 73.7 mm long.

    Its box as a rectangle would hold more.
    """
    disc = "M-40 0A40 40 0 1 1 40 0A40 40 0 1 1 -40 0Z"
    pad = replace(
        book.platens["shoe-form"], id="own", length_mm=80.0, width_mm=80.0, outline=disc, rim_mm=2.0, shoes_at_once=1
    )
    bar = {**BAR, "height": f"{float(width.removesuffix(' mm')) / 4.0} mm"}

    fit = fits.check(with_platens(book, pad), asked(artwork=bar))

    assert (("own",) if held else ()) == fit.platens
    assert held == (not reasons(fit, "fit.reach"))
    longest = [] if held else [pytest.approx(76.0 / math.sqrt(1.0 + 1.0 / 16.0), abs=0.02)]
    assert longest == [reason.limit for reason in reasons(fit, "fit.reach")]


def test_artwork_held_across_a_platen_cut_to_order(book: Book) -> None:
    """An upright artwork lies across a pad that is long along the shoe."""
    pad = replace(book.platens["shoe-form"], id="own", outline="M0 0H120V40H0Z", rim_mm=0.0)
    upright = {"kind": "path", "d": "M0 0H20V50H0Z", "height": "50 mm"}

    assert ("own",) == fits.check(with_platens(book, pad), asked(artwork=upright)).platens


def test_artwork_close_to_the_sole_is_declined_with_its_distance(book: Book) -> None:
    """A pad must reach its rim beyond the artwork, and may not reach under the sole: 7 mm from it, 6 mm will do.

    The deck shoe's featherline strip ends 6 mm above the sole's line in the middle, less toward its ends.
    """
    form = book.platens["shoe-form"]
    pose = {"kind": "anchored", "side": "above", "edge": "featherline", "distance": "7 mm"}
    near = on_deck(pose=pose, clearance="0.2 mm")
    wide, narrow = replace(form, id="wide", rim_mm=8.0), replace(form, id="narrow", rim_mm=6.0)

    fit = fits.check(with_platens(book, wide), near)
    (reason,) = reasons(fit, "fit.sole-edge")

    assert ("decline", 8.0, "mm", "/pose") == (reason.verdict, reason.limit, reason.unit, reason.subject)
    # The shortest way to a line that runs nearly level is nearly the ruler's.
    assert pytest.approx(7.0, abs=0.05) == reason.measure
    assert "would press the edge of the sole" in reason.sentence
    assert ("narrow",) == fits.check(with_platens(book, wide, narrow), near).platens
    assert [] == reasons(fits.check(with_platens(book, wide, narrow), near), "fit.sole-edge")


def test_a_panel_without_a_featherline_is_clear_of_the_sole(book: Book) -> None:
    """A tongue has no sole beside it."""
    wide = with_platens(book, replace(book.platens["shoe-form"], rim_mm=30.0))

    assert [] == reasons(fits.check(wide, on_deck(panel="tongue", artwork={**BAR, "height": "2 mm"})), "fit.sole-edge")


def test_a_shoe_higher_than_the_opened_press_is_declined(book: Book) -> None:
    """A deck shoe of 102 mm width, on its side, does not go under 100 mm; on its sole, 84 mm high, it does."""
    low = with_platens(book, book.platens["shoe-form"], opening_mm=100.0)
    small = {**BAR, "height": "4 mm"}

    (reason,) = reasons(fits.check(low, on_deck(artwork=small)), "fit.opening")

    assert ("decline", 102.0, 100.0, "mm") == (reason.verdict, reason.measure, reason.limit, reason.unit)
    assert "With its outer face up the shoe stands 102.0 mm high, and Quay swing opens 100.0 mm" in reason.sentence
    assert [] == reasons(fits.check(low, on_deck(artwork=small, panel="toe")), "fit.opening")
    assert [] == reasons(fits.check(book, on_deck(artwork=small)), "fit.opening")


def test_a_larger_shoe_stands_higher(book: Book) -> None:
    """Widths and heights go with the girth: a quarter inch for each English size (shoemakersacademy.com, glossary)."""
    low = with_platens(book, book.platens["shoe-form"], opening_mm=10.0)
    larger = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "JP", "value": "28"}}

    (reason,) = reasons(fits.check(low, on_deck(shoe=larger)), "fit.opening")

    girth = book.shoes["regatta-deck"].reference_girth_mm
    assert pytest.approx(102.0 * (girth + 6.35 * 20.0 * 3.0 / 25.4) / girth, abs=1e-3) == reason.measure


@pytest.mark.parametrize(
    ("face", "given", "expected"),
    [
        ("outer", {}, ("trial", "/shoe/width", None)),
        ("toe", {"width": "90 mm"}, ("trial", "/shoe/height", None)),
        ("inner", {"width": "90 mm"}, None),
        ("tongue", {"height": "12 cm"}, ("decline", "/press", 120.0)),
        ("heel", {}, None),
    ],
)
def test_a_walk_in_is_measured_for_the_opening(
    book: Book, face: str, given: dict[str, str], expected: tuple[str, str, float | None] | None
) -> None:
    """What is not measured is to be; a heel is pressed flat, and asks for no room."""
    low = with_platens(book, book.platens["shoe-form"], opening_mm=100.0)
    shoe = {**RULER, **given, "panels": [{**RULER["panels"][0], "face": face}]}

    found = reasons(fits.check(low, asked(shoe=shoe)), "fit.opening")

    assert ([] if expected is None else [expected]) == [(one.verdict, one.subject, one.measure) for one in found]
    assert all(one.limit == 100.0 for one in found)


def test_a_measure_that_is_none_is_a_fault(book: Book) -> None:
    """A width beyond any number is refused at its place."""
    with pytest.raises(msgspec.ValidationError):
        asked(shoe={**RULER, "width": "0 mm"})
    with pytest.raises(RefusedError):
        fits.check(book, asked(shoe={**RULER, "inside_length": "270 mm"}, clearance="1 mm", press="none"))


def test_recipes_hold_for_the_pad_of_the_first_platen(book: Book) -> None:
    """A platen with another pad than the first's is left out, for the recipe is not worked out for it."""
    felt = replace(book.platens["shoe-form"], id="felt-form", pad="felt")
    both = with_platens(book, book.platens["small-shoe-form"], felt)

    assert ("small-shoe-form",) == fits.check(both, asked()).platens


def test_placements_that_need_platens_of_their_own_are_loaded_apart(book: Book) -> None:
    """A long artwork on a long form and a tall one on a tall form are two loadings, each with its platen's steps."""
    form = book.platens["shoe-form"]
    long, tall = (
        replace(form, id="long", name="Long form", width_mm=24.0),
        replace(form, id="tall", name="Tall form", length_mm=46.0, width_mm=60.0),
    )
    press: Press = replace(book.presses["swing"], platens=("long", "tall"))
    own = replace(book, presses={"swing": press}, platens={"long": long, "tall": tall})
    placement = {"panel": "outer-quarter", "film": "smooth", "colour": "gorse"}
    order = {
        "shoe": {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "44"}},
        "placements": [
            {**placement, "artwork": {"kind": "path", "d": "M0 0H50V4H0Z", "height": "4 mm"},
             "pose": {"kind": "at", "x": "-20 mm", "y": "-6 mm"}},
            {**placement, "artwork": {"kind": "path", "d": "M0 0H14V14H0Z", "height": "14 mm"},
             "pose": {"kind": "at", "x": "16 mm", "y": "6 mm"}},
        ],
    }  # fmt: skip

    answer = quotes.compose(own, msgspec.convert(order, Order))

    assert [(1, (0,)), (2, (1,))] == [(one.loading, one.placements) for one in answer.pressings]
    fitted = [step.sentence for one in answer.pressings for step in one.recipe.steps if step.do == "platen"]
    assert ["Long form" in fitted[0], "Tall form" in fitted[1]] == [True, True]


def test_a_shoe_as_long_as_the_platen_needs_goes_on(book: Book) -> None:
    """A rounding error below the smallest inside length is none; a hundredth of a millimetre is one, and is seen."""
    pad = replace(book.platens["shoe-form"], smallest_inside_length_mm=0.1 + 0.2)
    least = 100.0 * (0.1 + 0.2)
    own = with_platens(book, replace(pad, id="own", smallest_inside_length_mm=least))

    assert least > 30.0
    assert ("own",) == fits.check(own, asked(shoe={**RULER, "inside_length": "30 mm"})).platens
    (reason,) = reasons(fits.check(own, asked(shoe={**RULER, "inside_length": "29.99 mm"})), "fit.reach")
    assert "is 29.9 mm long inside" in reason.sentence
    assert "needs 30.0 mm" in reason.sentence


@pytest.mark.parametrize(("opening_mm", "opens"), [(90.0, True), (89.9, False), (None, True)])
def test_a_shoe_as_high_as_the_opening_goes_under(book: Book, opening_mm: float | None, opens: bool) -> None:
    """90 mm lie under a press that opens by 90 mm."""
    press = replace(book.presses["swing"], opening_mm=opening_mm)
    own = replace(book, presses={"swing": press})
    fit = fits.check(own, asked(shoe={**RULER, "width": "90 mm", "height": "200 mm"}))

    assert opens == (not reasons(fit, "fit.opening"))


def test_the_smallest_platen_is_the_one_that_takes_the_shortest_shoe(book: Book) -> None:
    """168 mm of those of the demo press; it is told where the shoe is shorter, and where nobody knows."""
    short = fits.check(book, asked(shoe={**RULER, "inside_length": "160 mm"}))
    unknown = fits.check(book, asked(shoe={**RULER, "inside_length": None}))

    assert [("decline", "/shoe", 160.0, 168.0)] == [
        (one.verdict, one.subject, one.measure, one.limit) for one in reasons(short, "fit.reach")
    ]
    assert [("trial", "/shoe/inside_length", None, 168.0)] == [
        (one.verdict, one.subject, one.measure, one.limit) for one in reasons(unknown, "fit.reach")
    ]


@pytest.mark.parametrize(("collapses", "verdict"), [(True, None), (False, "decline"), (None, "trial")])
def test_a_heel_must_collapse(book: Book, collapses: bool | None, verdict: str | None) -> None:
    """One that stands up cannot lie flat (common practice, no source); of another face it does not matter."""
    (placement,) = plain_marks.read(book, plain_marks.asked(panel="heel", artwork=SMALL)).placements
    (quarter,) = plain_marks.read(book, plain_marks.asked(artwork=SMALL)).placements
    heel, other = (replace(one, shoe=replace(one.shoe, heel_collapses=collapses)) for one in (placement, quarter))
    told = [one for one in reach.reasons(book, heel) if one.code == "fit.heel"]

    assert ([] if verdict is None else [(verdict, "/panel")]) == [(one.verdict, one.subject) for one in told]
    assert [] == [one for one in reach.reasons(book, other) if one.code == "fit.heel"]


def test_a_pad_that_is_all_rim_holds_nothing(book: Book) -> None:
    """Less than nothing is said as nothing."""
    pad = replace(book.platens["shoe-form"], id="own", length_mm=100.0, width_mm=7.0, rim_mm=4.0)

    (reason,) = reasons(fits.check(with_platens(book, pad), asked()), "fit.reach")

    assert 0.0 == reason.limit
    assert "within its rim the pad of Shoe form for a pair holds 0.0 mm by 0.0 mm of it" in reason.sentence


def test_the_largest_pad_that_does_not_hold_an_artwork_is_named(book: Book) -> None:
    """Of 60.1235 x 10 mm of artwork, the larger pad holds 46 mm; measures have four decimals, words one."""
    small, large = (
        replace(book.platens["shoe-form"], id=name, name=name, length_mm=length, width_mm=18.12345, rim_mm=4.0)
        for name, length in (("small", 40.0), ("large", 54.0))
    )
    drawing = {"kind": "path", "d": "M0 0H60.12346V10H0Z", "height": "10 mm"}

    (reason,) = reasons(fits.check(with_platens(book, small, large), asked(artwork=drawing)), "fit.reach")
    (tall,) = reasons(
        fits.check(with_platens(book, small), asked(artwork={**drawing, "d": "M0 0H20V10.7H0Z", "height": "10.7 mm"})),
        "fit.reach",
    )

    assert ("decline", "/artwork", 60.1235, 46.0) == (reason.verdict, reason.subject, reason.measure, reason.limit)
    assert reason.sentence == (
        "The artwork takes 60.2 mm by 10.0 mm; within its rim the pad of large holds 46.0 mm by 7.6 mm of it: make it "
        "smaller."
    )
    assert (20.0, round(20.0 * 10.12345 / 10.7, 4)) == (tall.measure, tall.limit)


def test_a_box_may_be_enlarged_until_the_best_pad_is_full(book: Book) -> None:
    """Of 92 x 22 mm and 52 x 32 mm within the rim, 46 x 8 mm goes twice on the first; 10 x 20 mm 1.6 times more."""
    form = book.platens["shoe-form"]
    long = replace(form, length_mm=100.0, width_mm=30.0, rim_mm=4.0)
    broad = replace(form, length_mm=40.0, width_mm=60.0, rim_mm=4.0)
    disc = replace(form, outline="M-40 0A40 40 0 1 1 40 0A40 40 0 1 1 -40 0Z", rim_mm=10.0)

    assert 2.0 == reach.largest_held([long, broad], 46.0, 8.0) == reach.largest_held([broad, long], 8.0, 46.0)
    assert 32.0 / 10.0 > 52.0 / 20.0 == reach.largest_held([long, broad], 10.0, 20.0)
    assert pytest.approx(60.0 / math.hypot(30.0, 40.0), rel=1e-3) == reach.largest_held([disc], 30.0, 40.0)
    assert None is reach.largest_held([], 46.0, 8.0)


def test_the_sentences_of_reach(book: Book) -> None:
    """Each says what is in the way, by how much, and what to do; limits are rounded up, measures down."""
    form = book.platens["shoe-form"]
    least = replace(form, id="own", smallest_inside_length_mm=182.34)
    other = replace(form, id="other", smallest_inside_length_mm=200.0)
    no_toe = replace(form, faces=("heel",))

    short = fits.check(with_platens(book, other, least), asked(shoe={**RULER, "inside_length": "181.2734 mm"}))
    unknown = fits.check(with_platens(book, other, least), asked(shoe={**RULER, "inside_length": None}))
    never = fits.check(with_platens(book, no_toe), asked())

    (reason,) = reasons(short, "fit.reach")
    assert (181.2734, 182.34) == (reason.measure, reason.limit)
    assert reason.sentence == (
        "The shoe is 181.2 mm long inside; the smallest platen of Quay swing for its outer face needs 182.4 mm."
    )
    (reason,) = reasons(unknown, "fit.reach")
    assert ("trial", None, 182.34, "mm") == (reason.verdict, reason.measure, reason.limit, reason.unit)
    assert reason.sentence == (
        "Whether the shoe goes on a platen is not known: measure its inside length. The smallest platen of Quay swing "
        "for its outer face needs 182.4 mm."
    )
    (reason,) = reasons(never, "fit.reach")
    assert ("decline", "/panel", None, None) == (reason.verdict, reason.subject, reason.measure, reason.limit)
    assert reason.sentence == ("No platen of Quay swing presents a shoe's outer face: take another press or panel.")


def test_the_distance_to_the_sole_is_that_of_the_artwork(book: Book) -> None:
    """In four decimals; of platens that hold the artwork the one with the narrowest rim is named."""
    form = book.platens["shoe-form"]
    wide, wider = (replace(form, id=name, name=name, rim_mm=rim) for name, rim in (("wide", 8.0), ("wider", 9.0)))
    pose = At(x="0 mm", y="-17.1234 mm")
    (placement,) = plain_marks.read(book, plain_marks.asked(artwork=SMALL, pose=pose)).placements
    own = with_platens(book, wider, wide)
    placement = replace(placement, press=own.presses["swing"])
    gap = placement.sole_gap

    (reason,) = reach.reasons(own, placement)

    assert 0.0 < gap < 8.0
    assert (round(gap, 4), 8.0, "/pose") == (reason.measure, reason.limit, reason.subject)
    assert reason.measure != round(gap, 3)
    assert reason.sentence == (
        f"The artwork comes within {math.floor(gap * 10.0) / 10.0:.1f} mm of the featherline; to press it fully, the "
        "pad of wide must reach 8.0 mm beyond it, and would press the edge of the sole: move it up, or make it smaller."
    )
    grazing = with_platens(book, replace(wide, rim_mm=gap))
    grazed = replace(placement, press=grazing.presses["swing"])
    assert [] == list(reach.reasons(grazing, grazed))
    assert ["wide"] == [platen.id for platen in reach.platens_that_hold(grazing, grazed)]
    assert [] == reach.platens_that_hold(own, placement)


def test_a_shoe_a_hair_higher_than_the_opening_stays_out(book: Book) -> None:
    """90.01 mm do not go under 90 mm, and it is said in two decimals that they do not."""
    own = replace(book, presses={"swing": replace(book.presses["swing"], opening_mm=90.0)})
    shoe = {**RULER, "width": "95.3 mm", "height": "200 mm"}

    (reason,) = reasons(fits.check(own, asked(shoe=shoe)), "fit.opening")
    (unknown,) = reasons(fits.check(own, asked(shoe={**shoe, "width": None})), "fit.opening")

    assert ("decline", "/press", 95.3, 90.0, "mm") == (
        reason.verdict, reason.subject, reason.measure, reason.limit, reason.unit,
    )  # fmt: skip
    assert unknown.sentence == (
        "Whether the shoe goes under the opened press is not known: measure its width. Quay swing opens 90.0 mm."
    )
    assert [] != reasons(fits.check(own, asked(shoe={**shoe, "width": "90.01 mm"})), "fit.opening")
