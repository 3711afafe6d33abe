"""The demo book's panels, measured with the service's own geometry and with shapely."""

import string

import numpy as np
import pytest
import shapely
from shapely import LinearRing, MultiPolygon, Point

from featherline.wire.records import Panel, ShoeModel
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.shape import shoe_sizes
from featherline_service.shape.outlines import curves, text_outlines
from featherline_service.shape.outlines.svg import paths
from featherline_service.shape.placement import anchors, containment

TOLERANCE_MM = 0.01
PANELS = [(shoe, panel) for shoe in load().shoes.values() for panel in shoe.panels]
KEEP_OUTS = [(shoe, panel, keep_out) for shoe, panel in PANELS for keep_out in panel.keep_outs]


def name(value: object) -> str:
    """Name a case by what it is about."""
    return str(getattr(value, "id", getattr(value, "what", value)))


def free_area(panel: Panel) -> containment.FreeArea:
    """Return what may be marked of a panel."""
    keep_outs = tuple((one.what, paths.region(one.d, "nonzero", TOLERANCE_MM)) for one in panel.keep_outs)
    return containment.free_area(paths.region(panel.outline, "nonzero", TOLERANCE_MM), keep_outs)


def centre(panel: Panel, area: containment.FreeArea) -> Point:
    """Return where a centred artwork goes, y upwards."""
    return area.region.centroid if panel.centre_mm is None else Point(panel.centre_mm[0], -panel.centre_mm[1])


@pytest.mark.parametrize(("shoe", "panel"), PANELS, ids=name)
def test_an_outline_is_one_closed_curve(shoe: ShoeModel, panel: Panel) -> None:
    """An outline is closed where it is drawn, does not cross itself, and has curves but on straight straps."""
    (contour,) = paths.contours(panel.outline)
    assert panel.outline.endswith("Z")
    assert LinearRing(curves.flatten(contour, TOLERANCE_MM)).is_simple
    assert set(panel.outline) & set("CQA"), shoe.id


@pytest.mark.parametrize(("shoe", "panel", "keep_out"), KEEP_OUTS, ids=name)
def test_a_keep_out_lies_on_its_panel(shoe: ShoeModel, panel: Panel, keep_out: object) -> None:
    """Every part of a keep-out is closed, does not cross itself, and takes something of the panel away."""
    d = keep_out.d  # type: ignore[attr-defined]
    assert d.count("M") == d.count("Z")
    outline = paths.region(panel.outline, "nonzero", TOLERANCE_MM)
    for contour in paths.contours(d):
        ring = LinearRing(curves.flatten(contour, TOLERANCE_MM))
        assert ring.is_simple
        part = shapely.Polygon(ring)
        assert shapely.intersection(part, outline).area >= 0.3 * part.area, shoe.id


@pytest.mark.parametrize(("shoe", "panel"), PANELS, ids=name)
def test_a_panel_leaves_room_for_an_initial(shoe: ShoeModel, panel: Panel) -> None:
    """Around the place of a centred artwork a circle of 8 mm is free, and no sliver is left beside it."""
    area = free_area(panel)
    assert shapely.distance(centre(panel, area), area.boundary) >= 4.0
    assert area.region.contains(centre(panel, area))
    parts = shapely.area(shapely.get_parts(area.region))
    assert parts.min() > 25.0, shoe.id
    assert parts.sum() < paths.region(panel.outline, "nonzero", TOLERANCE_MM).area


@pytest.mark.parametrize(
    ("shoe", "panel"), [case for case in PANELS if case[1].id == "outer-quarter"], ids=name
)  # fmt: skip
def test_an_outer_quarter_has_the_size_of_one(shoe: ShoeModel, panel: Panel) -> None:
    """A quarter is 0.40 to 0.50 of the foot long and 0.17 to 0.28 high, a boot's to 0.37 (from memory)."""
    width, height = paths.extent(panel.outline)
    tallest = 0.37 if shoe.id == "yard-boot" else 0.28
    assert 0.40 <= width / shoe.reference_foot_mm <= 0.50
    assert 0.17 <= height / shoe.reference_foot_mm <= tallest


@pytest.mark.parametrize(
    ("shoe", "panel"), [case for case in PANELS if case[1].id.endswith("strap")], ids=name
)  # fmt: skip
def test_a_strap_has_the_width_of_one(shoe: ShoeModel, panel: Panel) -> None:
    """A strap is 20 to 28 mm wide across its middle (from memory)."""
    outline = paths.region(panel.outline, "nonzero", TOLERANCE_MM)
    left, low, right, high = outline.bounds
    across = shapely.LineString([((left + right) / 2, low - 1), ((left + right) / 2, high + 1)])
    assert 20.0 - 1e-6 <= shapely.intersection(outline, across).length <= 28.0 + 1e-6, shoe.id


@pytest.mark.parametrize(("shoe", "panel"), PANELS, ids=name)
def test_a_panel_is_curved_as_its_face_is(shoe: ShoeModel, panel: Panel) -> None:
    """A heel is tight, a quarter gentle (from memory); a strap is flat across."""
    along = panel.radius_along_mm
    assert along is not None
    if panel.id in ("heel", "heel-strap"):
        assert 20.0 <= along <= 45.0
    if panel.face in ("outer", "inner") and not panel.id.endswith("strap"):
        assert 120.0 <= along <= 300.0
        assert panel.radius_across_mm is not None
    assert (panel.radius_across_mm is None) == panel.id.endswith("strap"), shoe.id


@pytest.mark.parametrize("shoe", load().shoes.values(), ids=name)
def test_a_shoe_is_made_in_sizes_that_there_are(shoe: ShoeModel) -> None:
    """The reference foot lies between the smallest and the largest size."""
    smallest = shoe_sizes.foot_length(shoe.sizes.system, shoe.sizes.smallest)
    assert smallest < shoe.reference_foot_mm < shoe_sizes.foot_length(shoe.sizes.system, shoe.sizes.largest)


def test_the_demo_shoes_are_of_all_kinds(demo: Book) -> None:
    """One shoe is protective, one a child's; some heels collapse and some do not; all say that they are invented."""
    shoes = demo.shoes.values()
    assert ["yard-boot"] == [shoe.id for shoe in shoes if shoe.protective]
    assert ["minnow-trainer"] == [shoe.id for shoe in shoes if shoe.wearer == "child"]
    assert {"harbour-dance", "quay-sandal", "regatta-deck"} == {shoe.id for shoe in shoes if shoe.heel_collapses}
    assert all(shoe.name.endswith("(invented)") for shoe in shoes)


# What a ruler would find on each shoe beside its free leather: laces, seams, vents; the sole's line is on all.
MARKS = {
    "regatta-deck": {"eyelets", "seam", "collar"},
    "court-trainer": {"eyelets", "seam", "collar", "perforation"},
    "harbour-dance": {"seam", "collar"},
    "ward-clog": {"eyelets", "collar", "perforation"},
    "turf-boot": {"eyelets", "seam", "collar"},
    "quay-sandal": {"eyelets", "seam"},
    "minnow-trainer": {"seam", "collar", "toe-cap"},
    "gala-glossy": {"seam", "collar"},
    "gala-glitter": {"seam", "collar"},
    "yard-boot": {"eyelets", "seam", "collar", "toe-cap"},
}


def test_every_shoe_has_what_its_kind_has(demo: Book) -> None:
    """Every shoe of the shop is drawn with the parts that must not be marked, and shows its outer face and its toe."""
    found = {shoe.id: {one.what for panel in shoe.panels for one in panel.keep_outs} for shoe in demo.shoes.values()}
    assert {name: marks | {"featherline"} for name, marks in MARKS.items()} == found
    assert all({panel.face for panel in shoe.panels} >= {"outer", "toe"} for shoe in demo.shoes.values())


@pytest.mark.parametrize(("shoe", "panel"), PANELS, ids=name)
def test_a_featherline_runs_along_the_outline(shoe: ShoeModel, panel: Panel) -> None:
    """Where a panel has a featherline, a good part of its outline is that line, so that it can be measured from."""
    if any(one.what == "featherline" for one in panel.keep_outs):
        area = free_area(panel)
        line = anchors.edge(area, "featherline")
        assert shapely.get_dimensions(line) == 1
        # A strap meets the sole at its ends alone.
        least = 0.05 if panel.id.endswith("strap") else 0.25
        assert line.length >= least * area.barriers[0][1].length, shoe.id


@pytest.mark.parametrize("font", ["plain", "bold"])
def test_the_demo_fonts_have_what_names_and_numbers_need(demo: Book, font: str) -> None:
    """Both fonts have capitals, small letters and digits."""
    face = text_outlines.typeface(demo.font_files[font])
    (line,) = text_outlines.lay_out(face, string.ascii_letters + string.digits)
    assert len(line) == 26 + 26 + 10


def name_over_number(demo: Book, height: float) -> MultiPolygon:
    """Return MARLOW over 7 in the plain font, brought to a height in millimetres."""
    face = text_outlines.typeface(demo.font_files["plain"])
    region = text_outlines.text_region(text_outlines.lay_out(face, "MARLOW\n7"), face, 1.0)
    low, high = region.bounds[1], region.bounds[3]
    return shapely.transform(region, lambda points: points * (height / (high - low)))


def test_a_name_over_a_number_fits_a_deck_shoe(demo: Book) -> None:
    """MARLOW over 7, 22 mm high, fits the deck shoe's outer quarter at EU 42, and is not much larger at most."""
    shoe = demo.shoes["regatta-deck"]
    panel = next(panel for panel in shoe.panels if panel.id == "outer-quarter")
    foot = shoe_sizes.foot_length("EU", 42.0)
    # ISO/TS 19407:2015: EU = 1.5 foot[cm] + 2.
    assert foot == pytest.approx(10.0 * (42.0 - 2.0) / 1.5)
    factors = np.array(shoe_sizes.growth(foot, shoe.reference_foot_mm, shoe.reference_girth_mm))

    def grown(d: str) -> MultiPolygon:
        return shapely.transform(paths.region(d, "nonzero", TOLERANCE_MM), lambda points: points * factors)

    assert panel.centre_mm is not None
    area = containment.free_area(grown(panel.outline), tuple((one.what, grown(one.d)) for one in panel.keep_outs))
    pose = containment.Pose(panel.centre_mm[0] * factors[0], -panel.centre_mm[1] * factors[1])
    artwork = name_over_number(demo, 22.0)
    assert containment.fits(area, containment.place(artwork, pose), 3.0)
    scale = containment.largest_scale(area, artwork, pose, 3.0)
    assert scale is not None
    assert 25.0 <= 22.0 * scale <= 32.0
