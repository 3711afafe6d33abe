from __future__ import annotations

import math
from typing import Any

import msgspec
import pytest
import shapely
from msgspec.structs import replace

from featherline.wire import records
from featherline.wire.shoes import BookShoe, Ellipse, MeasuredPanel, Rectangle, Size, Traced
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.shoes.panels import PanelShape, panel_area, panel_shape
from featherline_service.questions.shoes.shoes import Panel, Shoe, find_shoe

OPEN = (
    "The line is not closed: it ends {} mm from where it begins. Draw what is missing, or end it with Z, which "
    "draws a straight line back"
)


def eyelets(panel: records.Panel, along: float, around: float) -> list[tuple[float, float, float, float]]:
    """Return the boxes of the eyelets of a panel that has grown."""
    only = replace(panel, keep_outs=tuple(one for one in panel.keep_outs if one.what == "eyelets"))
    _, area, _ = panel_area(only, along, around)
    return [tuple(part.bounds) for part in shapely.get_parts(shapely.union_all([b for _, b in area.barriers[1:]]))]


def test_eyelets_keep_their_size_as_the_panel_grows(book: Book) -> None:
    """In a shoe a tenth longer the eyelets are as large, and their centres a tenth farther from the panel's origin."""
    panel = next(one for one in book.shoes["regatta-deck"].panels if one.id == "outer-quarter")

    small, large = eyelets(panel, 1.0, 1.0), eyelets(panel, 1.1, 1.05)

    for before, after in zip(sorted(small), sorted(large), strict=True):
        assert pytest.approx((before[2] - before[0], before[3] - before[1])) == (
            after[2] - after[0],
            after[3] - after[1],
        )
        assert pytest.approx((1.1 * (before[0] + before[2]), 1.05 * (before[1] + before[3]))) == (
            after[0] + after[2],
            after[1] + after[3],
        )


def test_a_saddle_can_be_said_and_a_radius_of_zero_cannot(book: Book) -> None:
    """A panel may have radii of opposite signs; none of zero."""
    panel = msgspec.to_builtins(next(iter(book.shoes["regatta-deck"].panels)))

    saddle = msgspec.convert({**panel, "radius_along_mm": 60.0, "radius_across_mm": -80.0}, records.Panel)

    assert -80.0 == saddle.radius_across_mm
    with pytest.raises(msgspec.ValidationError, match="not zero"):
        msgspec.convert({**panel, "radius_along_mm": 0.0}, records.Panel)


def shape_of(book: Book, panel: str, size: str = "42", model: str = "regatta-deck") -> tuple[PanelShape, Shoe]:
    """Return the shape of a panel of the book in a size, and its shoe."""
    checks = Checks()
    shoe = find_shoe(book, BookShoe(shoe=model, size=Size(system="EU", value=size)), checks)
    assert shoe is not None
    shape = panel_shape(shoe, next(one for one in shoe.panels if one.id == panel), checks)
    assert shape is not None
    assert () == checks.faults
    return shape, shoe


def measured_shape(**panel: Any) -> tuple[PanelShape | None, list[tuple[str, str]]]:  # noqa: ANN401
    """Return the shape of the second of two measured panels, and what is wrong with it."""
    rectangle = {"kind": "rectangle", "width": "80 mm", "height": "40 mm"}
    first, second = (
        Panel(one.panel, "a panel", one.face, (), None, one)
        for one in msgspec.convert(
            [{"panel": "first", "shape": rectangle}, {"panel": "second", "shape": rectangle, **panel}],
            list[MeasuredPanel],
        )
    )
    checks = Checks()
    shape = panel_shape(Shoe(name="a walk-in shoe", panels=(first, second)), second, checks)
    return shape, [(fault.pointer, fault.detail) for fault in checks.faults]


def test_a_panel_of_the_book_grows_along_and_around(book: Book) -> None:
    """Centre and radius along its length by the growth in length, those across it by that around; y points up."""
    shape, shoe = shape_of(book, "outer-quarter", "46")
    record = book.shoes["regatta-deck"].panels[0]
    assert shoe.growth is not None
    along, around = shoe.growth
    plain = panel_area(record, 1.0, 1.0)[0].bounds

    assert along - around > 0.01
    assert pytest.approx((72.0 * along, -36.0 * around)) == shape.centre
    assert pytest.approx((180.0 * along, 400.0 * around)) == (shape.radius_along, shape.radius_across)
    assert pytest.approx((plain[0] * along, plain[1] * around, plain[2] * along, plain[3] * around)) == (
        shape.outline.bounds
    )
    assert ("outer", True) == (shape.face, shape.curvature_known)
    assert shape.outline.area > shape.area.region.area


def test_keep_outs_but_eyelets_grow_with_their_panel(book: Book) -> None:
    """A seam is twice as long and half as wide where its panel grows so; an eyelet stays as it is."""
    keep = {"what": "seam", "d": "M10 10H20V12H10Z"}, {"what": "eyelets", "d": "M30 12a2 2 0 1 1 4 0a2 2 0 1 1 -4 0Z"}
    record = msgspec.convert(
        {
            **msgspec.to_builtins(book.shoes["regatta-deck"].panels[0]),
            "outline": "M0 0H50V20H0Z",
            "keep_outs": keep,
            "centre_mm": None,
        },
        records.Panel,
    )
    _, area, centre = panel_area(record, 2.0, 0.5)
    barriers = {what: lines.bounds for what, lines in area.barriers}

    assert pytest.approx((20.0, -6.0, 40.0, -5.0)) == barriers["seam"]
    assert pytest.approx((62.0, -8.0, 66.0, -4.0), abs=0.05) == barriers["eyelets"]
    middle = shapely.centroid(area.region)
    assert (middle.x, middle.y) == centre
    assert pytest.approx(100.0 * 10.0 - 20.0 - 4.0 * math.pi, abs=0.3) == area.region.area


def test_a_panel_without_free_area_has_its_centre_at_the_origin(book: Book) -> None:
    """Nothing fits there, wherever it is put."""
    record = book.shoes["regatta-deck"].panels[0]
    seam = records.KeepOut(what="seam", d="M0 0H50V20H0Z")
    covered = replace(record, outline="M10 5H40V15H10Z", keep_outs=(seam,), centre_mm=None)

    assert (0.0, 0.0) == panel_area(covered, 1.0, 1.0)[2]


def test_a_heel_grows_around_on_both_sides(book: Book) -> None:
    """It is drawn from behind, so nothing of it goes along the foot."""
    shape, shoe = shape_of(book, "heel", "46", "turf-boot")
    assert shoe.growth is not None
    around = shoe.growth[1]
    plain = panel_area(next(one for one in book.shoes["turf-boot"].panels if one.id == "heel"), 1.0, 1.0)[0].bounds

    assert pytest.approx((31.0 * around, 120.0 * around)) == (shape.radius_along, shape.radius_across)
    assert pytest.approx(tuple(around * side for side in plain)) == shape.outline.bounds


def test_flat_panels_have_no_radius_and_a_tongue_is_read_from_before(book: Book) -> None:
    """A radius that the book leaves out is infinite; a tongue's letters stand half a turn less a quarter from y."""
    strap, _ = shape_of(book, "heel-strap", model="quay-sandal")
    tongue, _ = shape_of(book, "tongue")
    flat = replace(book.shoes["regatta-deck"].panels[0], radius_along_mm=None)
    own = replace(book, shoes={"regatta-deck": replace(book.shoes["regatta-deck"], panels=(flat,))})
    levelled, _ = shape_of(own, "outer-quarter")

    assert math.inf == strap.radius_across
    assert math.isfinite(strap.radius_along)
    assert math.inf == levelled.radius_along
    assert math.isfinite(levelled.radius_across)
    assert pytest.approx(math.pi) == tongue.up
    assert pytest.approx(math.pi / 2.0) == tongue.upright
    assert pytest.approx((math.pi / 2.0, 0.0)) == (strap.up, strap.upright)


def test_a_shoe_of_a_wrong_size_has_no_shapes(book: Book) -> None:
    """Nothing is known of how it grew."""
    shoe = find_shoe(book, BookShoe(shoe="regatta-deck", size=Size(system="EU", value="60")), Checks())
    assert shoe is not None

    assert panel_shape(shoe, shoe.panels[0], Checks()) is None


def test_a_measured_panel_is_drawn_around_its_middle() -> None:
    """A rectangle of its sides, an ellipse of its axes; the curvature holds both ways."""
    rectangle, _ = measured_shape(curvature="120 mm", face="toe")
    ellipse, _ = measured_shape(shape={"kind": "ellipse", "width": "80 mm", "height": "40 mm"})
    traced, _ = measured_shape(shape={"kind": "traced", "d": "M10 10H30V20H10Z"})
    assert rectangle is not None
    assert ellipse is not None
    assert traced is not None

    assert pytest.approx((-40.0, -20.0, 40.0, 20.0)) == rectangle.outline.bounds
    assert pytest.approx(3200.0) == rectangle.area.region.area
    assert pytest.approx((0.0, 0.0), abs=1e-9) == rectangle.centre
    assert ("toe", 120.0, 120.0, True) == (
        rectangle.face,
        rectangle.radius_along,
        rectangle.radius_across,
        rectangle.curvature_known,
    )
    assert pytest.approx((-40.0, -20.0, 40.0, 20.0), abs=1e-6) == ellipse.outline.bounds
    assert pytest.approx(math.pi * 800.0, rel=2e-3) == ellipse.outline.area
    assert pytest.approx((20.0, -15.0)) == traced.centre


@pytest.mark.parametrize(
    ("curvature", "radius", "known"),
    [
        (None, 60.0, False),  # an unknown curvature counts as tight
        ("flat", math.inf, True),
        ("gentle", 150.0, True),
        ("tight", 60.0, True),
        ("5 mm", 5.0, True),
        ("9 cm", 90.0, True),
        ({"rise": "0 mm over 60 mm"}, math.inf, True),
        ({"rise": "10 mm over 60 mm"}, 50.0, True),  # 10 (2 R - 10) = 30^2: Euclid III.35
        ({"rise": "-0.5 in over 3 in"}, -25.4 * 2.5, True),  # 0.5 (2 R - 0.5) = 1.5^2
    ],
)
def test_a_curvature_is_a_word_a_radius_or_a_rise(
    curvature: str | dict[str, str] | None, radius: float, known: bool
) -> None:
    """The words stand for radii (common practice, no source); 5 mm is the smallest."""
    shape, _ = measured_shape(curvature=curvature)
    assert shape is not None

    assert (pytest.approx(radius), pytest.approx(radius), known) == (
        shape.radius_along,
        shape.radius_across,
        shape.curvature_known,
    )


def test_a_panel_may_curve_otherwise_across() -> None:
    """A saddle by two rises; without the one along, that counts as tight, and the curvature as unknown."""
    saddle, _ = measured_shape(curvature={"rise": "10 mm over 60 mm"}, curvature_across={"rise": "-10 mm over 60 mm"})
    half, _ = measured_shape(curvature_across="flat")
    assert saddle is not None
    assert half is not None

    assert (pytest.approx(50.0), pytest.approx(-50.0), True) == (
        saddle.radius_along,
        saddle.radius_across,
        saddle.curvature_known,
    )
    assert (60.0, math.inf, False) == (half.radius_along, half.radius_across, half.curvature_known)


def test_what_is_kept_free_of_a_tracing_is_not_marked() -> None:
    """An eyelet takes its area from the panel, and is named as what is in the way."""
    kept = [{"what": "eyelets", "d": "M12 12H15V15H12Z"}]
    traced, _ = measured_shape(shape={"kind": "traced", "d": "M10 10H30V20H10Z", "keep_outs": kept})
    assert traced is not None

    assert pytest.approx(200.0 - 9.0) == traced.area.region.area
    assert ["edge", "eyelets"] == [name for name, _ in traced.area.barriers]


@pytest.mark.parametrize(
    ("shape", "face", "up", "direction"),
    [
        ("rectangle", "tongue", None, math.pi / 2.0),
        ("traced", "tongue", None, math.pi),
        ("traced", "toe", None, math.pi),
        ("traced", "outer", None, math.pi / 2.0),
        ("traced", "heel", None, math.pi / 2.0),
        ("traced", "tongue", "30 deg", math.pi / 6.0),
        ("rectangle", "outer", "-90 deg", -math.pi / 2.0),
    ],
)
def test_up_on_a_measured_panel_is_as_it_says(shape: str, face: str, up: str | None, direction: float) -> None:
    """Without a word whoever stands before the wearer reads a traced tongue or toe (common practice, no source)."""
    shapes = {
        "rectangle": {"kind": "rectangle", "width": "30 mm", "height": "30 mm"},
        "traced": {"kind": "traced", "d": "M0 0H30V30H0Z"},
    }
    drawn, _ = measured_shape(shape=shapes[shape], face=face, up=up)
    assert drawn is not None

    assert pytest.approx(direction) == drawn.up


@pytest.mark.parametrize(
    ("panel", "faults"),
    [
        (
            {"curvature": "4.99 mm"},
            [("/curvature", "No panel curves so tightly: give at least 5 mm")],
        ),
        (
            {"curvature_across": "4.99 mm"},
            [("/curvature_across", "No panel curves so tightly: give at least 5 mm")],
        ),
        (
            {"curvature": {"rise": "30 mm over 60 mm"}, "curvature_across": {"rise": "2 mm over 6 mm"}},
            [
                (
                    "/curvature/rise",
                    "It stands off by half its length or more: hold a shorter straight edge against it",
                ),
                ("/curvature_across/rise", "No panel curves so tightly: give at least 5 mm"),
            ],
        ),
        (
            {
                "shape": {
                    "kind": "traced",
                    "d": "M0 0H30V30H0Z",
                    "keep_outs": [
                        {"what": "seam", "d": "M0 0L9 9"},
                        {"what": "seam", "d": "M0 0H1001V9Z"},
                        {"what": "seam", "d": "M0 0H9V9H0V0.05"},
                        {"what": "seam", "d": "M0 0H9V9H0V0.06M12 12h3v3h-3z"},
                    ],
                }
            },
            [
                ("/shape/keep_outs/0/d", "The path encloses no area: draw closed shapes, not lines"),
                ("/shape/keep_outs/1/d", "The panel is larger than 1000 mm: trace it in millimetres"),
                ("/shape/keep_outs/3/d", OPEN.format("0.1")),
            ],
        ),
        ({"shape": {"kind": "traced", "d": "M0 0H60V30H0"}}, [("/shape/d", OPEN.format("30.0"))]),
        (
            {"shape": {"kind": "rectangle", "width": "0.99 mm", "height": "1000.1 mm"}},
            [
                ("/shape/width", "No panel is 0.99 mm: give 1 mm to 1000 mm"),
                ("/shape/height", "No panel is 1000.1 mm: give 1 mm to 1000 mm"),
            ],
        ),
        (
            {"shape": {"kind": "traced", "d": "M0 0H1000.1V30H0Z"}},
            [("/shape/d", "The panel is larger than 1000 mm: trace it in millimetres")],
        ),
        (
            {"shape": {"kind": "traced", "d": "M0 0H30V1000.1H0Z"}},
            [("/shape/d", "The panel is larger than 1000 mm: trace it in millimetres")],
        ),
    ],
)
def test_no_panel_is_so_large_or_so_curved(panel: dict[str, Any], faults: list[tuple[str, str]]) -> None:
    """Each fault is at its part of the panel, which is the shoe's second; such a panel has no shape."""
    shape, told = measured_shape(**panel)

    assert shape is None
    assert [(f"/shoe/panels/1{pointer}", detail) for pointer, detail in faults] == told


@pytest.mark.parametrize(
    ("panel", "pointer"),
    [
        ({"curvature": "round"}, "/curvature"),
        ({"up": "north"}, "/up"),
        ({"shape": Ellipse(width="wide", height="40 mm")}, "/shape/width"),
        ({"shape": Rectangle(width="40 mm", height="high")}, "/shape/height"),
        ({"shape": Traced(d="M0 0L10 10")}, "/shape/d"),
    ],
)
def test_what_cannot_be_read_of_a_measured_panel_is_a_fault(panel: dict[str, Any], pointer: str) -> None:
    """The panel has no shape then."""
    drawing = replace(MeasuredPanel(panel="side", shape=Rectangle(width="80 mm", height="40 mm")), **panel)
    only = Panel("side", "Side", "outer", (), None, drawing)
    checks = Checks()

    assert panel_shape(Shoe(name="a walk-in shoe", panels=(only,)), only, checks) is None
    assert [f"/shoe/panels/0{pointer}"] == [fault.pointer for fault in checks.faults]


@pytest.mark.parametrize(
    "shape",
    [
        {"kind": "rectangle", "width": "1 mm", "height": "1000 mm"},
        {"kind": "traced", "d": "M0 0H1000V1000H0Z"},
    ],
)
def test_the_least_and_the_largest_panels_are_drawn(shape: dict[str, str]) -> None:
    """1 mm and 1000 mm themselves are allowed."""
    drawn, faults = measured_shape(shape=shape)

    assert drawn is not None
    assert [] == faults
