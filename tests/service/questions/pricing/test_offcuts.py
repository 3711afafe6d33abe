from __future__ import annotations

import math
from itertools import pairwise

import pytest
from measured_work import PIECE, WORK
from msgspec.structs import replace

from featherline.wire.costs import FilmUse, Measured, OfferedOffcut
from featherline.wire.shoes import Rectangle, Traced
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.cost.film import Offcut
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.costs import estimate
from featherline_service.questions.pricing.offcuts import LotKey, of_book, offered

L_SHAPED = "M0 0H200V60H80V150H0Z"


@pytest.fixture(scope="module")
def book() -> Book:
    """The demo book without offcuts of its own; smooth film with a border of 3 mm and a gap of 2 mm."""
    demo = load()
    smooth = demo.films["smooth"]
    assert smooth.cutting is not None
    film = replace(smooth, cutting=replace(smooth.cutting, border_mm=3.0, gap_mm=2.0))
    return replace(demo, offcuts={}, films={**demo.films, "smooth": film})


def offcut(name: str, shape: Rectangle | Traced, **changes: str) -> OfferedOffcut:
    """Return an offcut of gorse-yellow smooth film."""
    return replace(OfferedOffcut(id=name, film="smooth", colour="gorse", shape=shape), **changes)


def film(book: Book, *offcuts: OfferedOffcut, work: Measured = WORK) -> FilmUse:
    """Return the film that the work takes where these offcuts are offered."""
    cost = estimate(book, replace(work, offcuts=offcuts)).cost
    assert cost is not None
    return cost.film[0]


def refused(book: Book, *offcuts: OfferedOffcut) -> list[tuple[str, str]]:
    """Return the faults of offering these offcuts."""
    with pytest.raises(RefusedError) as caught:
        film(book, *offcuts)
    return [(fault.pointer, fault.detail) for fault in caught.value.faults]


def test_an_offered_offcut_is_used_before_the_roll_and_its_rest_reported(book: Book) -> None:
    """Both pieces of 60 x 30 mm go on 200 x 80 mm: 122 x 30 mm are taken of it, and 200 x 50 mm stay."""
    found = film(book, offcut("scrap", Rectangle(width="200 mm", height="80 mm")))

    assert (("scrap",), 0.0, ()) == (found.offcuts, found.roll_length_mm, found.unused)
    assert [("scrap", 200.0, 50.0)] == [(left.of, left.width_mm, left.height_mm) for left in found.left_over]
    assert (122 * 30, 2 * 30) == (found.film_mm2, found.waste_mm2)


def test_an_offered_offcut_is_used_before_the_books_own(book: Book) -> None:
    """Though the book's would take all and is smaller, the one on the table goes first."""
    own = load().offcuts["smooth-gorse-2"]
    kept = replace(book, offcuts={own.id: replace(own, width_mm=122.0, height_mm=30.0)})
    found = film(kept, offcut("scrap", Rectangle(width="5 in", height="2 in")))

    assert ("scrap",) == found.offcuts
    assert ["Nothing is cut from offcut smooth-gorse-2: others take all the pieces."] == [
        one.sentence for one in found.unused
    ]


def test_an_offcut_smaller_than_the_art_is_not_used_and_the_answer_says_why(book: Book) -> None:
    """The roll is used; the offcut's size and the piece's with its border are named, in the units asked for."""
    found = film(book, offcut("scrap", Rectangle(width="55 mm", height="29 mm")))

    assert ((), 30.0, 122.0) == (found.offcuts, found.roll_length_mm, found.film_mm2 / found.roll_length_mm)
    (unused,) = found.unused
    assert unused.sentence == (
        "Nothing is cut from offcut scrap: no piece goes on its 55.0 mm x 29.0 mm; the smallest, with its weed border, "
        "is 60.0 mm x 30.0 mm."
    )
    us = film(book, offcut("scrap", Rectangle(width="55 mm", height="29 mm")), work=replace(WORK, units="us"))
    assert "2.17 in x 1.14 in" in us.unused[0].sentence


def test_an_offcut_of_any_outline_is_filled_within_it(book: Book) -> None:
    """An L gives some of forty pieces, and so much less of the roll is needed."""
    many = replace(WORK, pairs=20)
    found = film(book, offcut("scrap", Traced(d=L_SHAPED)), work=many)
    on_roll = film(book, work=many)

    assert ("scrap",) == found.offcuts
    assert found.roll_length_mm < on_roll.roll_length_mm
    assert 40 == found.pieces


def test_what_is_traced_in_curves_is_an_offcut_too(book: Book) -> None:
    """A disc of 80 mm takes one piece of 60 x 30 mm, and two of 48 x 30 mm: sqrt(48^2 + 62^2) is 78.4."""
    disc = offcut("disc", Traced(d="M0 40A40 40 0 0 1 80 40A40 40 0 0 1 0 40Z"))
    smaller = replace(WORK, pieces=(replace(PIECE, width="42 mm"),))

    assert 0 < film(book, disc).roll_length_mm
    assert 0 == film(book, disc, work=smaller).roll_length_mm


def test_offcuts_of_another_colour_are_left_alone(book: Book) -> None:
    """White is no yellow."""
    assert () == film(book, offcut("scrap", Rectangle(width="200 mm", height="80 mm"), colour="chalk")).offcuts


def test_an_outline_in_the_book_is_used(book: Book) -> None:
    """A kept offcut with an outline takes only what lies within it."""
    own = replace(load().offcuts["smooth-gorse-1"], width_mm=200.0, height_mm=150.0, outline=L_SHAPED)
    straight = replace(own, outline=None)
    many = replace(WORK, pairs=5)
    outlined, boxed = (film(replace(book, offcuts={own.id: one}), work=many) for one in (own, straight))

    assert ((own.id,), (own.id,)) == (outlined.offcuts, boxed.offcuts)
    assert boxed.roll_length_mm == 0 < outlined.roll_length_mm


def test_every_fault_of_an_offcut_is_told_at_its_pointer(book: Book) -> None:
    """Unknown film and colour, an id twice, what is no single piece, and what is too long."""
    assert [
        ("/offcuts/0/film", True),
        ("/offcuts/1/colour", True),
        ("/offcuts/2/id", True),
        ("/offcuts/3/shape/d", True),
        ("/offcuts/4/shape/d", True),
        ("/offcuts/5/shape", True),
        ("/offcuts/6/shape/d", True),
    ] == [
        (pointer, bool(detail))
        for pointer, detail in refused(
            book,
            offcut("a", Rectangle(width="9 cm", height="9 cm"), film="velvet"),
            offcut("b", Rectangle(width="9 cm", height="9 cm"), colour="velvet"),
            offcut("b", Rectangle(width="9 cm", height="9 cm")),
            offcut("c", Traced(d="M0 0H50V50H0Z M100 0H150V50H100Z")),
            offcut("d", Traced(d="M0 0H90V90H0Z M20 20V60H60V20Z")),
            offcut("e", Rectangle(width="11 m", height="9 cm")),
            offcut("f", Traced(d="M0 0H20")),
        )
    ]


def test_a_broken_outline_in_the_book_is_a_refusal_and_no_crash(book: Book) -> None:
    """It names the offcut."""
    own = replace(load().offcuts["smooth-gorse-1"], outline="M0 0L")
    with pytest.raises(RefusedError, match="smooth-gorse-1"):
        film(replace(book, offcuts={own.id: own}))


def understood(book: Book, *offcuts: OfferedOffcut) -> tuple[dict[LotKey, tuple[Offcut, ...]], list[tuple[str, str]]]:
    """Return offered offcuts as they are understood, and what is wrong with them."""
    checks = Checks()
    there = offered(book, offcuts, checks)
    return there, [(fault.pointer, fault.detail) for fault in checks.faults]


def test_offcuts_are_gathered_by_film_and_colour(book: Book) -> None:
    """In the order that they are offered in, in millimetres; a traced one has its box and its corners."""
    there, faults = understood(
        book,
        offcut("a", Rectangle(width="12 cm", height="1 in")),
        offcut("b", Rectangle(width="3 cm", height="50 mm"), colour="chalk"),
        offcut("c", Traced(d="M10 20H210V80H90V170H10Z")),
    )

    assert [] == faults
    assert [("smooth", "gorse"), ("smooth", "chalk")] == list(there)
    rectangle, traced = there["smooth", "gorse"]
    assert Offcut(id="a", width_mm=120.0, height_mm=25.4) == rectangle
    assert ("c", 200.0, 150.0) == (traced.id, traced.width_mm, traced.height_mm)
    assert traced.outline is not None
    corners = [(10, -20), (210, -20), (210, -80), (90, -80), (90, -170), (10, -170)]  # with y upwards
    assert sorted(corners) == sorted(traced.outline)
    assert [Offcut(id="b", width_mm=30.0, height_mm=50.0)] == list(there["smooth", "chalk"])


def test_a_curve_is_drawn_closely(book: Book) -> None:
    """The chords of a disc of 80 mm are no further from it than 0.05 mm, so that its box and area are nearly whole."""
    disc = offcut("disc", Traced(d="M0 40A40 40 0 0 1 80 40A40 40 0 0 1 0 40Z"))
    ((traced,),) = understood(book, disc)[0].values()
    assert traced.outline is not None

    nearest = [math.hypot((x + u) / 2.0 - 40.0, (y + v) / 2.0 + 40.0) for (x, y), (u, v) in pairwise(traced.outline)]
    assert 39.95 <= min(nearest) < 40.0
    assert 12 < len(traced.outline) < 200


@pytest.mark.parametrize(
    ("shape", "fault"),
    [
        (Rectangle(width="10 m", height="10 m"), None),
        (Rectangle(width="9 cm", height="10.0001 m"), "/shape"),
        (Rectangle(width="10.0001 m", height="9 cm"), "/shape"),
        (Traced(d="M0 0H10000V50H0Z"), None),
        (Traced(d="M0 0H10000.5V50H0Z"), "/shape/d"),
        (Traced(d="M0 0V10000.5H50V0Z"), "/shape/d"),
    ],
)
def test_no_offcut_is_longer_than_ten_metres(book: Book, shape: Rectangle | Traced, fault: str | None) -> None:
    """Either way; ten metres are none too many."""
    there, faults = understood(book, offcut("long", shape))
    said = {
        "/shape": "No offcut is that long: give at most 10000 mm either way",
        "/shape/d": "The offcut long is longer than 10000 mm: trace it in millimetres",
    }

    assert ([] if fault is None else [(f"/offcuts/0{fault}", said[fault])]) == faults
    assert (0 if fault else 1) == len(there)


def test_faults_of_offcuts_say_what_to_do(book: Book) -> None:
    """An id of the request or of the book twice; sides that are no lengths; what is not one piece; no drawing."""
    own = load().offcuts["smooth-gorse-1"]
    kept = replace(book, offcuts={own.id: own})
    plain = Rectangle(width="9 cm", height="9 cm")
    there, faults = understood(
        kept,
        offcut("a", plain),
        offcut("a", plain),
        offcut(own.id, plain),
        offcut("b", Rectangle(width="wide", height="high")),
        offcut("c", Traced(d="M0 0H50V50H0Z M100 0H150V50H100Z")),
    )

    assert [
        ("/offcuts/1/id", "There is an offcut 'a' in the request already: give this one another id"),
        ("/offcuts/2/id", f"There is an offcut {own.id!r} in the book already: give this one another id"),
    ] == faults[:2]
    assert ["/offcuts/3/shape/width", "/offcuts/3/shape/height", "/offcuts/4/shape/d"] == [
        pointer for pointer, _ in faults[2:]
    ]
    assert "The offcut c is not one piece without holes: trace its outer edge alone" == faults[-1][1]
    assert ["a", "a", own.id] == [one.id for one in there["smooth", "gorse"]]


def test_the_books_offcuts_of_a_film_and_colour(book: Book) -> None:
    """Both must be those; one that is traced has the box of its outline, not that of its record."""
    own = load().offcuts["smooth-gorse-1"]
    kept = {
        "plain": replace(own, id="plain", width_mm=90.0, height_mm=40.0, outline=None),
        "other": replace(own, id="other", colour="chalk"),
        "foreign": replace(own, id="foreign", film="stretch"),
        "traced": replace(own, id="traced", outline=L_SHAPED),
    }

    plain, traced = of_book(replace(book, offcuts=kept), "smooth", own.colour)

    assert Offcut(id="plain", width_mm=90.0, height_mm=40.0) == plain
    assert ("traced", 200.0, 150.0, 6) == (
        traced.id, traced.width_mm, traced.height_mm, len(traced.outline or ()),
    )  # fmt: skip
