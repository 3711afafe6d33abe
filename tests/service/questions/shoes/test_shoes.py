from __future__ import annotations

from typing import Any, Final

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.fits import FootLength
from featherline.wire.records import SizeRange
from featherline.wire.shoes import BookShoe, MeasuredShoe, Size
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.shoes.observations import Seen
from featherline_service.questions.shoes.shoes import Shoe, find_panel, find_shoe

FOOT_42_MM: Final = 800.0 / 3.0
"""EU 42 is 1.5 foot[cm] + 2 (ISO/TS 19407:2015)."""


def of_book(model: str = "regatta-deck", size: str = "42", system: str = "EU") -> BookShoe:
    """Return a shoe of the book in a size."""
    return BookShoe(shoe=model, size=Size(system=system, value=size))  # type: ignore[arg-type]


def measured(**more: Any) -> MeasuredShoe:  # noqa: ANN401
    """Return a walk-in shoe of leather with a panel clear of the sole and one over the lasting margin."""
    shape = {"kind": "rectangle", "width": "80 mm", "height": "40 mm"}
    panels = [
        {"panel": "outer-side", "shape": shape, "colour": "#102030"},
        {"panel": "toe", "face": "toe", "shape": shape, "over_lasting_margin": True},
    ]
    return msgspec.convert({"label": "leather", "panels": panels, **more}, MeasuredShoe)


def looked_up(book: Book, shoe: BookShoe | MeasuredShoe, *, any_size: bool = False) -> Shoe:
    """Return a shoe without faults."""
    checks = Checks()
    there = find_shoe(book, shoe, checks, any_size=any_size)
    assert there is not None
    assert () == checks.faults
    return there


def faults(book: Book, shoe: BookShoe | MeasuredShoe, *, any_size: bool = False) -> list[tuple[str, str]]:
    """Return what is wrong with a shoe, and where."""
    checks = Checks()
    find_shoe(book, shoe, checks, any_size=any_size)
    return [(fault.pointer, fault.detail) for fault in checks.faults]


def made_in(book: Book, system: str, smallest: float, largest: float) -> Book:
    """Return a book whose deck shoe is made in other sizes."""
    sizes = SizeRange(system=system, smallest=smallest, largest=largest)  # type: ignore[arg-type]
    return replace(book, shoes={**book.shoes, "regatta-deck": replace(book.shoes["regatta-deck"], sizes=sizes)})


def test_a_shoe_grows_with_the_foot_in_length_and_around(book: Book) -> None:
    """In length as the foot, around by a quarter inch of girth for a barleycorn; the allowance inside does not grow."""
    shoe = looked_up(book, of_book())
    along, around = FOOT_42_MM / 260.0, (245.0 + 0.75 * (FOOT_42_MM - 260.0)) / 245.0

    assert pytest.approx((along, around)) == shoe.growth
    assert pytest.approx(FOOT_42_MM + 12.0) == shoe.inside_length
    assert pytest.approx((around * 102.0, around * 84.0)) == (shoe.width, shoe.height)
    assert shoe.size == FootLength(
        foot_mm=266.6667,
        convention="EU: 1.5 foot[cm] + 2, in sizes of 2/3 cm (Paris points) on a last 2 sizes longer than the foot",
    )


def test_a_shoe_of_the_book_is_its_models(book: Book) -> None:
    """Name, panels with their uppers and colours, heel and the maker's consent are those of the record and request."""
    shoe = looked_up(book, replace(of_book("harbour-dance"), makers_consent=True))
    vamp = shoe.panels[2]

    assert f"{book.shoes['harbour-dance'].name}, EU 42" == shoe.name
    assert book.shoes["harbour-dance"] is shoe.model
    assert ["outer-quarter", "inner-quarter", "vamp", "heel"] == [panel.id for panel in shoe.panels]
    assert ("toe", (book.uppers["soft-leather"],)) == (vamp.face, vamp.uppers)
    assert (vamp.drawing, vamp.drawing.colour) == (book.shoes["harbour-dance"].panels[2], vamp.colour)
    assert (True, True, False, None) == (shoe.heel_collapses, shoe.makers_consent, shoe.upper_is_named, shoe.seen)
    assert not shoe.known_by_label
    assert not looked_up(book, of_book("turf-boot")).heel_collapses
    assert not looked_up(book, of_book("turf-boot")).makers_consent


def test_a_shoe_lies_on_its_side_for_its_quarters() -> None:
    """With a quarter up it is as high as it is wide, with any other face as it stands."""
    shoe = Shoe(name="a shoe", panels=(), width=100.0, height=70.0)
    faces = ("outer", "inner", "toe", "tongue", "heel")

    assert [100.0, 100.0, 70.0, 70.0, 70.0] == [shoe.height_lying(face) for face in faces]


@pytest.mark.parametrize(
    ("size", "system", "fault"),
    [
        ("36", "EU", None),
        ("47", "EU", None),
        ("35.5", "EU", "not in EU 35.5"),
        ("47.5", "EU", "not in EU 47.5"),
        ("42.3", "EU", "EU has no size 42.3: it goes in whole and half sizes, and thirds"),
        ("13", "UK", "not in UK 13 (UK 13 is EU 47.7)"),
        ("12.5", "UK", None),  # EU 47.1, beyond the last by less than half a size
        ("3", "UK", "not in UK 3 (UK 3 is EU 35.0)"),
    ],
)
def test_a_model_has_the_sizes_it_is_made_in(book: Book, size: str, system: str, fault: str | None) -> None:
    """The first and the last are made; a size of another system may lie up to half a size beyond them."""
    told = faults(book, of_book(size=size, system=system))

    assert ([] if fault is None else ["/shoe/size"]) == [pointer for pointer, _ in told]
    assert all(detail.endswith(fault or "") for _, detail in told)


@pytest.mark.parametrize(
    ("size", "made"), [("242.5", False), ("245", True), ("250", True), ("270", True), ("275", True), ("277.5", False)]
)
def test_half_a_size_beyond_the_last_is_still_the_last(book: Book, size: str, made: bool) -> None:
    """Of a model made in JP 25 to 27 a foot of 245 mm and one of 275 mm take the first and the last."""
    own = made_in(book, "JP", 25.0, 27.0)

    assert made == (not faults(own, of_book(size=size, system="mondopoint")))


def test_a_size_of_the_models_own_system_has_no_leeway(book: Book) -> None:
    """Half a size beyond is not made, and a third that ends the range is, in spite of rounding."""
    own = made_in(book, "EU", 40.0, 42.0 + 2.0 / 3.0)

    assert [] == faults(own, of_book(size="42 2/3"))
    assert [("/shoe/size", f"{book.shoes['regatta-deck'].name} is made in EU 40 to 42.6667, not in EU 43")] == faults(
        own, of_book(size="43")
    )
    assert faults(own, of_book(size="39.5"))


def test_any_size_is_allowed_where_it_is_asked_for(book: Book) -> None:
    """A size that the model is not made in has its lengths then; one that the system has not is a fault still."""
    assert pytest.approx(20.0 / 3.0 * 50.0 - 40.0 / 3.0 + 12.0) == (
        looked_up(book, of_book(size="50"), any_size=True).inside_length
    )
    assert ["/shoe/size"] == [pointer for pointer, _ in faults(book, of_book(size="50"))]
    assert ["/shoe/size"] == [pointer for pointer, _ in faults(book, of_book(size="50.1"), any_size=True)]


@pytest.mark.parametrize("size", ["50", "42.1"])
def test_a_shoe_of_a_wrong_size_has_panels_and_no_lengths(book: Book, size: str) -> None:
    """What does not depend on the size can be read on, so that more faults are found at once."""
    checks = Checks()
    shoe = find_shoe(book, of_book(size=size), checks)

    assert shoe is not None
    assert 5 == len(shoe.panels)
    assert (None, None, None, None, None) == (shoe.size, shoe.growth, shoe.inside_length, shoe.width, shoe.height)


def test_an_unknown_model_is_a_fault(book: Book) -> None:
    """It is at the shoe's own id."""
    assert ["/shoe/shoe"] == [pointer for pointer, _ in faults(book, of_book("barge-clog"))]


def test_a_measured_shoe_is_as_its_ruler_and_label_say(book: Book) -> None:
    """Lengths in millimetres, panels with readable names, and the lasting margin only where a panel lies over it."""
    shoe = looked_up(book, measured(inside_length="27 cm", width="100 mm", height="9 cm", heel_collapses=True))
    side, toe = shoe.panels
    margin = {upper.id for upper in toe.uppers} - {upper.id for upper in side.uppers}

    assert ("a walk-in shoe labelled leather", None) == (shoe.name, shoe.model)
    assert (270.0, 100.0, 90.0, True) == (shoe.inside_length, shoe.width, shoe.height, shoe.heel_collapses)
    assert [("outer-side", "Outer side", "outer", "#102030"), ("toe", "Toe", "toe", None)] == [
        (panel.id, panel.name, panel.face, panel.colour) for panel in shoe.panels
    ]
    assert {"leather-lasted"} == margin
    assert shoe.known_by_label
    assert (False, False, None) == (shoe.upper_is_named, shoe.makers_consent, shoe.growth)
    assert Seen("leather", None, None) == shoe.seen


def test_a_measured_shoe_of_a_named_upper_is_known_by_more_than_its_label(book: Book) -> None:
    """Its name says the upper."""
    shoe = looked_up(book, measured(upper="suede"))

    assert (f"a walk-in shoe of {book.uppers['suede'].name}", True, False) == (
        shoe.name,
        shoe.upper_is_named,
        shoe.known_by_label,
    )
    assert (None, None, None, None) == (shoe.inside_length, shoe.width, shoe.height, shoe.heel_collapses)


def test_faults_of_a_measured_shoe_are_noted_once(book: Book) -> None:
    """Each length at its own pointer, and an upper of another label once, though two sets of uppers are read."""
    wrong = replace(measured(upper="canvas"), inside_length="270", width="100", height="90")

    assert ["/shoe/upper", "/shoe/inside_length", "/shoe/width", "/shoe/height"] == [
        pointer for pointer, _ in faults(book, wrong)
    ]


def test_a_panel_is_found_by_its_id(book: Book) -> None:
    """One that is not there is a fault that lists those that are, of the model or as measured."""
    known, walk_in = looked_up(book, of_book("quay-sandal")), looked_up(book, measured())
    checks = Checks()

    assert known.panels[1] is find_panel(known, "instep-strap", checks)
    assert () == checks.faults
    assert find_panel(known, "bow", checks) is None
    assert find_panel(walk_in, "bow", checks) is None
    name = book.shoes["quay-sandal"].name
    assert [
        ("/panel", f"{name} has no panel 'bow'; it has: front-strap, instep-strap, heel-strap"),
        ("/panel", "The shoe was measured without a panel 'bow'; it has: outer-side, toe"),
    ] == [(fault.pointer, fault.detail) for fault in checks.faults]
