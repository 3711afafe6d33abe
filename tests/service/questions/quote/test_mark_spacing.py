"""Marks of one shoe are checked against each other and against old marks."""

from __future__ import annotations

import math
from typing import Any

import plain_marks
import pytest
from msgspec.structs import replace

from featherline.wire.artworks import At, PathArtwork, TextArtwork
from featherline.wire.costs import Order, Placement
from featherline.wire.recipes import OldMark
from featherline.wire.shoes import BookShoe, MeasuredPanel, MeasuredShoe, Rectangle, Size
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.quote import mark_spacing, quotes

SQUARE = PathArtwork(d="M0 0H8V8H0Z", height="8 mm")
RING = PathArtwork(d="M0 0H30V30H0ZM3 3V27H27V3Z", height="22 mm")
L_SHAPE = PathArtwork(d="M0 0H2V8H8V10H0Z", height="10 mm")


def mark(artwork: PathArtwork | TextArtwork = SQUARE, x: str = "0 mm", y: str = "0 mm", **more: object) -> Placement:
    """Return a placement on the outer quarter."""
    plain = Placement(panel="outer-quarter", film="smooth", colour="gorse", artwork=artwork, pose=At(x=x, y=y))
    return replace(plain, **more)


def overlaps(book: Book, *placements: Placement) -> list[Reason]:
    """Return the reasons that marks of an order overlap."""
    shoe = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42"))
    answer = quotes.compose(book, Order(shoe=shoe, placements=placements))
    return [reason for reason in answer.reasons if reason.code == "fit.overlap"]


def test_the_same_text_twice_is_declined(book: Book) -> None:
    """Two marks in one place: the later one is named, by how much, and what to do."""
    text = mark(TextArtwork(text="MARLOW", font="plain", height="10 mm"))
    (reason,) = overlaps(book, text, text)
    assert ("decline", "/placements/1", 3.0, "mm") == (reason.verdict, reason.subject, reason.limit, reason.unit)
    assert reason.measure is not None
    assert reason.measure < 0.0
    assert "placement 1 (MARLOW)" in reason.sentence
    assert "`onto` 0" in reason.sentence


@pytest.mark.parametrize(("x", "gap"), [("11 mm", None), ("10.99 mm", 2.99), ("8 mm", 0.0), ("5 mm", -3.0)])
def test_the_gap_is_measured(book: Book, x: str, gap: float | None) -> None:
    """Two squares of 8 mm: the gap between them, zero where they touch, minus the width of the overlap."""
    found = overlaps(book, mark(), mark(x=x))
    assert ([] if gap is None else [pytest.approx(gap, abs=0.02)]) == [reason.measure for reason in found]


def test_the_larger_clearance_holds(book: Book) -> None:
    """A placement's own clearance counts against its neighbours too; the bench's where it gives none."""
    assert [] == overlaps(book, mark(clearance="0 mm"), mark(x="8 mm", clearance="0 mm"))
    (reason,) = overlaps(book, mark(clearance="0 mm"), mark(x="8 mm", clearance="1 mm"))
    assert reason.limit == 1.0


def test_other_shoes_and_panels_do_not_meet(book: Book) -> None:
    """A mark for the left shoe does not meet one for the right shoe, nor one on another panel."""
    assert [] == overlaps(book, mark(sides="left"), mark(sides="right"))
    assert [] == overlaps(book, mark(x="-20 mm"), mark(x="-20 mm", panel="inner-quarter"))
    (reason,) = overlaps(book, mark(sides="left"), mark())
    assert "on the left shoe;" in reason.sentence


def test_the_footprint_counts(book: Book) -> None:
    """A square lies free in a ring, unless the ring counts as filled."""
    ring = mark(RING, y="-3 mm", clearance="1 mm")
    square = mark(y="-3 mm", clearance="1 mm")
    assert [] == overlaps(book, ring, square)
    assert len(overlaps(book, replace(ring, footprint="filled"), square)) == 1


def test_each_shoe_is_looked_at(book: Book) -> None:
    """On the left shoe's mirrored panel an artwork is not mirrored, so that it may meet there what it clears here."""
    corner = mark(L_SHAPE, clearance="0.5 mm")
    beside = mark(PathArtwork(d="M0 0H4V4H0Z", height="4 mm"), x="1.5 mm", y="2 mm", clearance="0.5 mm")
    (reason,) = overlaps(book, corner, beside)
    assert "on the left shoe;" in reason.sentence
    directional = replace(L_SHAPE, directional=True)
    assert [] == overlaps(book, replace(corner, artwork=directional), beside)


def test_an_inner_panel_is_drawn_on_the_left_shoe(book: Book) -> None:
    """There the left shoe has the artwork as it is, and the right shoe's panel is the mirror image."""
    corner = mark(L_SHAPE, clearance="0.5 mm", panel="inner-quarter")
    beside = mark(
        PathArtwork(d="M0 0H4V4H0Z", height="4 mm"), x="1.5 mm", y="2 mm", clearance="0.5 mm", panel="inner-quarter"
    )
    (reason,) = overlaps(book, corner, beside)
    assert "on the right shoe;" in reason.sentence


def test_an_old_mark_with_an_outline_keeps_its_distance(book: Book) -> None:
    """Every mark on the panel is checked against it; one that is pressed on it is not."""
    old = OldMark(film="smooth", outline="M6 -4H14V4H6Z")
    (reason,) = overlaps(book, mark(old_marks=(old,)))
    assert (pytest.approx(2.0, abs=0.02), "/placements/0") == (reason.measure, reason.subject)
    assert "the old mark of smooth film" in reason.sentence
    assert [] == overlaps(book, mark(old_marks=(replace(old, under=True),)))
    (reason,) = overlaps(book, mark(x="-6 mm", old_marks=(old,)), mark(x="20 mm", y="-1 mm"))
    assert reason.subject == "/placements/1"


def test_an_outline_that_cannot_be_drawn_is_refused(book: Book) -> None:
    """Its fault is at the outline."""
    with pytest.raises(RefusedError) as refused:
        overlaps(book, mark(old_marks=(OldMark(film="smooth", outline="M0 0H2000V10H0Z"),)))
    with pytest.raises(RefusedError) as broken:
        overlaps(book, mark(old_marks=(OldMark(film="smooth"), OldMark(film="smooth", outline="never"))))
    faults = [*refused.value.faults, *broken.value.faults]
    assert ["/placements/0/old_marks/0/outline", "/placements/0/old_marks/1/outline"] == [it.pointer for it in faults]


# Drawn over the heel's edge: 4 mm of it lie on the heel, 14 mm on the quarter beside it.
OVER_THE_JOIN = OldMark(film="smooth", outline="M22 -4H40V4H22Z")


def test_an_old_mark_reaches_over_a_join(book: Book) -> None:
    """Given with a mark on the heel, it is kept clear of by marks on the quarters that are sewn to it."""
    heel = mark(panel="heel", x="-5 mm", old_marks=(OVER_THE_JOIN,))
    quarter = mark(x="-54 mm", y="-4 mm")
    (reason,) = overlaps(book, heel, quarter)
    assert ("/placements/1", "mm") == (reason.subject, reason.unit)
    assert "the old mark of smooth film on panel heel" in reason.sentence
    assert [] == overlaps(book, heel, mark(x="-30 mm"))
    assert [] == overlaps(book, heel, replace(quarter, panel="inner-quarter"))


def test_the_other_side_of_the_heel_meets_the_inner_quarter(book: Book) -> None:
    """The inner quarter, drawn of the left shoe, is mirrored where it lies beside the heel of the right one."""
    other_side = replace(OVER_THE_JOIN, outline="M-22 -4H-40V4H-22Z")
    heel = mark(panel="heel", x="5 mm", old_marks=(other_side,))
    (reason,) = overlaps(book, heel, mark(panel="inner-quarter", x="-54 mm", y="-1 mm"))
    assert reason.subject == "/placements/1"
    assert [] == overlaps(book, heel, mark(x="-54 mm", y="-4 mm"))


def test_without_a_join_panels_do_not_meet(book: Book) -> None:
    """An old mark over the edge of a panel that is joined to none counts on its own panel alone."""
    shoe = replace(book.shoes["regatta-deck"], joins=())
    bare = replace(book, shoes={**book.shoes, "regatta-deck": shoe})
    heel = mark(panel="heel", x="-5 mm", old_marks=(OVER_THE_JOIN,))
    assert [] == overlaps(bare, heel, mark(x="-54 mm", y="-4 mm"))


def test_panels_of_a_measured_shoe_have_no_joins(book: Book) -> None:
    """Nobody has measured how they meet: an old mark counts on its own panel alone."""
    panels = tuple(
        MeasuredPanel(panel=name, shape=Rectangle(width="80 mm", height="50 mm"), curvature="flat")
        for name in ("one", "other")
    )
    shoe = MeasuredShoe(label="leather", panels=panels, inside_length="270 mm")
    old = OldMark(film="smooth", outline="M-20 -10H60V10H-20Z")
    marks = (mark(panel="one", x="-34 mm", old_marks=(old,)), mark(panel="other"))
    answer = quotes.compose(book, Order(shoe=shoe, placements=marks))
    assert "fit.overlap" not in {reason.code for reason in answer.reasons}


def faults_of(book: Book, *placements: Placement) -> list[Reason]:
    """Return which marks of an order come too near to others."""
    order = plain_marks.read(book, *placements)
    return list(mark_spacing.spacing_reasons(plain_marks.marks_of(book, order)))


def test_a_mark_must_lie_on_the_film_below_on_every_shoe(book: Book) -> None:
    """A wedge is the other way round on the other shoe: the shoe on which it reaches furthest beyond counts."""
    plate = PathArtwork(d="M0 0H20V10H0Z", height="10 mm")
    wedge = PathArtwork(d="M0 0H24L0 4Z", height="4 mm")
    below = plain_marks.asked(artwork=plate, pose=At(x="0 mm", y="0 mm", rotation="0 deg"))

    def beyond(sides: str) -> float | None:
        above = plain_marks.asked(artwork=wedge, onto=0, sides=sides, pose=At(x="-3 mm", y="-6 mm", rotation="0 deg"))
        told = faults_of(book, below, above)
        return told[0].measure if told else None

    one, other, both = (beyond(sides) for sides in ("left", "right", "both"))
    assert one is not None
    assert other is not None
    assert one != other
    assert min(one, other) == both


def test_an_old_mark_is_on_the_shoes_of_the_placement_that_tells_of_it(book: Book) -> None:
    """A mark on both is too near on that one alone."""
    old = OldMark(film="glow", outline="M-5 -5H5V5H-5Z")
    teller = plain_marks.asked(sides="left", pose=At(x="25 mm", y="0 mm"), old_marks=(old,))
    near = plain_marks.asked(pose=At(x="-10 mm", y="0 mm"))
    told = [reason for reason in faults_of(book, teller, near) if "old mark" in reason.sentence]

    assert ["/placements/1"] == [reason.subject for reason in told]
    assert " on the left shoe;" in told[0].sentence


def square(x: str = "0 mm", y: str = "0 mm", **more: Any) -> Placement:  # noqa: ANN401 - of any field
    """Return a square of 8 mm on the outer quarter, not turned."""
    return plain_marks.asked(**{"artwork": SQUARE, "pose": At(x=x, y=y, rotation="0 deg"), **more})


@pytest.mark.parametrize(
    ("x", "measure", "said"),
    [
        ("11 mm", None, ""),
        ("-11 mm", None, ""),
        ("10.12346 mm", 2.1235, "comes within 2.1 mm of placement 1 (drawing)"),
        ("-10.99 mm", 2.99, "comes within 2.9 mm of placement 1 (drawing)"),
        ("8 mm", 0.0, "touches placement 1 (drawing)"),
        ("7.5 mm", -0.5, "overlaps placement 1 (drawing) by 0.5 mm"),
        ("4.96 mm", -3.04, "overlaps placement 1 (drawing) by 3.1 mm"),
    ],
)
def test_two_marks_are_said_to_be_near_to_touch_or_to_overlap(
    book: Book, x: str, measure: float | None, said: str
) -> None:
    """The later of two squares of 8 mm is named; 3 mm are to be between them."""
    told = [
        (reason.code, reason.verdict, reason.subject, reason.measure, reason.limit, reason.unit, reason.sentence)
        for reason in faults_of(book, square(), square(x))
    ]
    sentence = (
        f"Placement 2 (drawing) {said} on both shoes; 3.0 mm must be between them: move it, make it smaller, or say "
        "that it lies `onto` 0."
    )

    assert (
        [] if measure is None else [("fit.overlap", "decline", "/placements/1", measure, 3.0, "mm", sentence)]
    ) == told


@pytest.mark.parametrize(("clearances", "limit"), [((1.0, 4.25), 4.25), ((4.25, 1.0), 4.25), ((1.0, 1.5), None)])
def test_of_two_clearances_the_larger_counts(book: Book, clearances: tuple[float, float], limit: float | None) -> None:
    """Two millimetres are enough for 1.5, and not for 4.25, whichever of the two asks for them."""
    first, second = (f"{clearance} mm" for clearance in clearances)
    told = faults_of(book, square(clearance=first), square("10 mm", clearance=second))

    assert ([] if limit is None else [(2.0, limit)]) == [(reason.measure, reason.limit) for reason in told]
    assert all("; 4.3 mm must be between them" in reason.sentence for reason in told)


def test_boxes_that_overlap_may_be_far_enough_apart(book: Book) -> None:
    """A square in the corner of an L of 40 mm is 9 mm from its legs; askew of another, it is the diagonal away."""
    corner = square(artwork=PathArtwork(d="M0 0H2V38H40V40H0Z", height="40 mm"))
    sides = {"sides": "right"}

    assert [] == faults_of(book, replace(corner, sides="right"), square("-5 mm", "-5 mm", **sides))
    assert [pytest.approx(2.0)] == [
        reason.measure for reason in faults_of(book, replace(corner, sides="right"), square("-12 mm", "0 mm", **sides))
    ]
    (askew,) = faults_of(book, square(), square("9.5 mm", "10 mm"))
    assert 2.5 == askew.measure


def test_the_nearer_shoe_counts(book: Book) -> None:
    """An L is the other way round on the other shoe; of both the lesser gap is told."""
    corner = square(artwork=L_SHAPE, clearance="6 mm")
    beside = square("8 mm", "3 mm")

    def gap(sides: str) -> float:
        (reason,) = faults_of(book, corner, replace(beside, sides=sides))
        assert (" on both shoes;" if sides == "both" else f" on the {sides} shoe;") in reason.sentence
        assert reason.measure is not None
        return reason.measure

    assert gap("left") != gap("right")
    assert min(gap("left"), gap("right")) == gap("both")


def test_a_mark_that_reaches_beyond_the_film_below_is_told_by_how_much(book: Book) -> None:
    """A square of 8 mm, 7 mm off the middle of 20 x 10 mm of film, reaches 1 mm beyond; it may end where that ends."""
    below = plain_marks.asked(pose=At(x="0 mm", y="0 mm", rotation="0 deg"))

    assert [] == faults_of(book, below, square("6 mm", "1 mm", onto=0))
    (reason,) = faults_of(book, below, square("7.034567 mm", onto=0))
    assert ("fit.off-mark", "decline", "/placements/1/onto", 0.0, "mm") == (
        reason.code, reason.verdict, reason.subject, reason.limit, reason.unit,
    )  # fmt: skip
    assert reason.measure is not None
    assert pytest.approx(-1.0346, abs=0.13) == reason.measure
    assert round(reason.measure, 4) == reason.measure
    assert reason.sentence == (
        f"Placement 2 (drawing) reaches {math.ceil(-reason.measure * 10.0) / 10.0:.1f} mm beyond the film of placement "
        "1 (drawing), on which it is to lie: move it, make it smaller, or the lower one larger."
    )


def test_marks_one_above_the_other_are_not_too_near(book: Book) -> None:
    """Nor is one to what lies below the one below it; a third beside them is."""
    below = plain_marks.asked(pose=At(x="0 mm", y="0 mm", rotation="0 deg"))
    middle = square(onto=0)
    small = square(artwork=replace(SQUARE, height="4 mm"), onto=1)

    assert [] == faults_of(book, below, middle, small)
    told = faults_of(book, below, middle, small, square("16 mm"))
    assert [("/placements/3", 2.0)] == [(reason.subject, reason.measure) for reason in told]
    assert "`onto` 0" in told[0].sentence


FAR = OldMark(film="smooth", outline="M6 -4H14V4H6Z")
LEFT = OldMark(film="glow", outline="M-15 -5H-5V5H-15Z")


def test_every_old_mark_that_is_drawn_is_kept_clear_of(book: Book) -> None:
    """One that is not drawn says nothing, and those after it do; the sentence names no placement to lie onto."""
    old_marks = (OldMark(film="stretch"), LEFT, FAR)
    told = faults_of(book, square("-0.5 mm", old_marks=old_marks))

    assert [("/placements/0", 0.5, 3.0), ("/placements/0", 2.5, 3.0)] == [
        (reason.subject, reason.measure, reason.limit) for reason in told
    ]
    (reason,) = faults_of(book, square("-0.5 mm", old_marks=old_marks, clearance="2.12346 mm"))
    assert 2.1235 == reason.limit
    assert told[0].sentence == (
        "Placement 1 (drawing) comes within 0.5 mm of the old mark of glow film on both shoes; 3.0 mm must be between "
        "them: move it, make it smaller."
    )
    assert [] == faults_of(book, square("-0.5 mm", old_marks=old_marks, clearance="0.5 mm"))


def test_a_mark_that_is_pressed_on_an_old_one_keeps_clear_of_the_others(book: Book) -> None:
    """It lies on one of two old marks on purpose; the other, which another placement tells of, is 1.5 mm away."""
    teller = square("-40 mm", old_marks=(replace(LEFT, outline="M-5 -5H4.5V5H-5Z"),))
    upon = square("10 mm", old_marks=(replace(FAR, under=True),))

    told = faults_of(book, teller, upon)

    assert [("/placements/1", 1.5)] == [(reason.subject, reason.measure) for reason in told]
    assert [] == faults_of(book, square("-40 mm", old_marks=(FAR,)), upon)


@pytest.mark.parametrize(("there", "here"), [("outer-quarter", "inner-quarter"), ("inner-quarter", "outer-quarter")])
def test_an_old_mark_of_a_panel_that_is_not_joined_is_elsewhere(book: Book, there: str, here: str) -> None:
    """The quarters lie on two sides of the shoe: what is drawn on one is not on the other."""
    teller = square("40 mm", panel=there, old_marks=(LEFT,))

    assert [] == faults_of(book, teller, square("-10 mm", panel=here))
    assert 1 == len(faults_of(book, teller, square("-10 mm", panel=there)))


def test_an_old_mark_of_the_quarter_reaches_over_to_the_heel(book: Book) -> None:
    """As one of the heel reaches over to the quarter."""
    teller = square("0 mm", old_marks=(replace(LEFT, outline="M-90 -20H-30V20H-90Z"),))

    (reason,) = faults_of(book, teller, square("20 mm", panel="heel"))

    assert ("/placements/1", -8.0) == (reason.subject, reason.measure)
    assert "overlaps the old mark of glow film on panel outer-quarter by 8.0 mm on both shoes;" in reason.sentence


def test_a_mark_on_a_panel_that_is_not_joined_hides_no_other(book: Book) -> None:
    """One on the tongue comes first; the one on the quarter after it is too near all the same."""
    teller = square("40 mm", old_marks=(LEFT,))

    told = faults_of(book, teller, square(panel="tongue"), square("-10 mm"))

    assert ["/placements/2"] == [reason.subject for reason in told]
