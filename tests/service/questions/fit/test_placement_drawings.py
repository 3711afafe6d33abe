from __future__ import annotations

from typing import Any

import msgspec
import numpy as np
import pytest
import shapely
import shapely.affinity
from shapely.geometry.base import BaseGeometry

from featherline.wire.fits import FitRequest
from featherline_service.book.shop_book import Book
from featherline_service.drawing.scene import Scene, Shape, Words
from featherline_service.questions.fit import fits, placement_drawings
from featherline_service.questions.order.placements import of_fit

DECK: dict[str, Any] = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}
MARLOW = {"kind": "text", "text": "MARLOW\n7", "font": "plain", "height": "22 mm"}


def request(**changes: Any) -> FitRequest:  # noqa: ANN401 - the JSON of any part
    """Return the question of the README, some of it changed."""
    asked = {"shoe": DECK, "panel": "outer-quarter", "film": "smooth", "colour": "gorse", "artwork": MARLOW}
    return msgspec.convert({**asked, **changes}, FitRequest)


def region(scene: Scene, name: str) -> BaseGeometry:
    """Return the filled region of the shapes of a name, by the even-odd rule."""
    found: BaseGeometry = shapely.Polygon()
    for item in scene.items:
        if isinstance(item, Shape) and item.name == name:
            for contour in item.contours:
                found = shapely.symmetric_difference(found, shapely.Polygon(contour))
    return found


def words(scene: Scene) -> str:
    """Return all words of a scene."""
    return " ".join(item.text for item in scene.items if isinstance(item, Words))


@pytest.mark.parametrize("panel", ["outer-quarter", "inner-quarter", "toe", "tongue", "heel"])
@pytest.mark.parametrize("rotation", ["0 deg", "25 deg"])
def test_what_is_drawn_is_what_was_measured(book: Book, panel: str, rotation: str) -> None:
    """The artwork drawn has the area that the fit measured, and is as far from all that bounds it as the fit says."""
    asked = request(panel=panel, artwork={**MARLOW, "height": "9 mm"}, pose={"kind": "centred", "rotation": rotation})
    fit, scene = fits.check(book, asked), placement_drawings.draw(book, asked)
    artwork, panel_drawn = region(scene, "artwork"), region(scene, "panel")
    keep_outs = [
        shapely.union_all([shapely.Polygon(contour) for contour in item.contours])
        for item in scene.items
        if isinstance(item, Shape) and item.name.startswith("keep-out ")
    ]
    barriers = [panel_drawn.boundary, *(part for part in keep_outs if part.bounds[3] < legend(scene))]

    assert fit.artwork.area_mm2 == pytest.approx(artwork.area, rel=1e-3)
    if fit.clearance_mm > 0.0:
        assert shapely.contains_properly(panel_drawn, artwork)
        assert fit.clearance_mm == pytest.approx(float(shapely.distance(artwork, barriers).min()), abs=0.01)


def legend(scene: Scene) -> float:
    """Return where on the sheet [mm] the legend begins."""
    return min(
        float(item.contours[0][:, 1].min())
        for item in scene.items
        if isinstance(item, Shape) and item.name == "swatch-film"
    )


def test_the_panel_is_drawn_at_the_size_of_the_shoe(book: Book) -> None:
    """A panel of a larger size is drawn larger, by as much as the foot is longer."""
    widths = []
    for size in ("38", "45"):
        scene = placement_drawings.draw(book, request(shoe={**DECK, "size": {"system": "EU", "value": size}}))
        left, _, right, _ = region(scene, "panel").bounds
        widths.append(right - left)
    feet = [
        fits.check(book, request(shoe={**DECK, "size": {"system": "EU", "value": size}})).size for size in ("38", "45")
    ]

    assert feet[0] is not None
    assert feet[1] is not None
    assert feet[1].foot_mm / feet[0].foot_mm == pytest.approx(widths[1] / widths[0], rel=1e-6)


def test_colours_are_the_books(book: Book) -> None:
    """Artwork in the film's colour on the upper's; a walk-in's upper without a colour is said to have none."""
    scene = placement_drawings.draw(book, request())
    panel = next(panel for panel in book.shoes["regatta-deck"].panels if panel.id == "outer-quarter")
    fills = {item.name: item.ink.fill for item in scene.items if isinstance(item, Shape) and item.ink.fill}
    walk_in = {
        "kind": "measured",
        "label": "textile",
        "panels": [{"panel": "side", "shape": {"kind": "ellipse", "width": "90 mm", "height": "60 mm"}}],
    }

    assert ("#f2c230", panel.colour) == (fills["artwork"], fills["panel"])
    assert "its colour not given" in words(placement_drawings.draw(book, request(shoe=walk_in, panel="side")))


def test_a_fit_that_is_declined_is_drawn_with_its_reasons(book: Book) -> None:
    """Artwork too large is drawn where it is, what reaches over marked, and the reason said."""
    scene = placement_drawings.draw(book, request(artwork={**MARLOW, "height": "60 mm"}))

    assert region(scene, "over").area > 50.0
    assert "Declined: The artwork reaches" in words(scene)


def test_the_callers_units_are_used(book: Book) -> None:
    """In `us` dimensions are in inches, and the rule is 2 in long."""
    scene = placement_drawings.draw(book, request(units="us"))
    left, _, right, _ = region(scene, "rule").bounds

    assert "Dimensions in inches." in words(scene)
    assert " 0.87 " in words(scene)  # 22 mm
    assert pytest.approx(2.0 * 25.4) == right - left


def test_the_drawing_says_where_the_artwork_is_to_those_who_cannot_see_it(book: Book) -> None:
    """The description has verdict, size and place in words."""
    description = placement_drawings.draw(
        book, request(pose={"kind": "at", "x": "-4 mm", "y": "2 mm", "rotation": "10 deg"})
    ).description

    assert "MARLOW / 7" in description
    assert "4.0 mm away from the toe and 2.0 mm up from the panel's centre" in description
    assert "turned by 10.0 degrees" in description


def test_the_drawing_says_what_the_bench_measures_by(book: Book) -> None:
    """An anchored artwork is drawn where its anchor puts it, and the sheet says from which edge to measure."""
    pose = {"kind": "anchored", "side": "above", "edge": "featherline", "distance": "12 mm", "line": "baseline"}
    scene = placement_drawings.draw(book, request(pose=pose))

    (ruler,) = [item for item in scene.items if isinstance(item, Shape) and item.name == "measured"]
    ((x, y), (to_x, to_y)) = np.asarray(ruler.contours[0]).tolist()

    assert "Its baseline 12.0 mm above the featherline, centred on the panel along it." in words(scene)
    assert pytest.approx((12.0, 0.0)) == (y - to_y, to_x - x)
    assert " 12.0 " in words(scene)
    assert shapely.distance(region(scene, "panel").boundary, shapely.Point(x, y)) <= 0.01
    assert not [item for item in placement_drawings.draw(book, request()).items if item == ruler]


def test_the_drawing_shows_what_counts(book: Book) -> None:
    """With the hull as the footprint it is drawn around the artwork, and it is what the shortest way is taken from."""
    asked = request(footprint="hull")
    fit, scene = fits.check(book, asked), placement_drawings.draw(book, asked)
    counted, artwork = region(scene, "counted"), region(scene, "artwork")
    (way,) = [item for item in scene.items if isinstance(item, Shape) and item.name == "nearest"]

    assert artwork.convex_hull.area == pytest.approx(counted.area, rel=1e-6)
    assert fit.clearance_mm == pytest.approx(shapely.LineString(way.contours[0]).length, abs=0.01)
    assert "what counts of the artwork" in words(scene)
    assert region(placement_drawings.draw(book, request()), "counted").is_empty


def test_a_hostile_artwork_is_named_on_one_line(book: Book) -> None:
    """What a caller writes is cut and cleaned before it becomes a title."""
    artwork = {**MARLOW, "text": "\n".join(["MARLOW RACING"] * 12), "height": "200 mm"}
    scene = placement_drawings.draw(book, request(artwork=artwork))

    assert scene.title.endswith("…")
    assert len(scene.title) < 90
    assert np.isfinite([scene.width, scene.height]).all()


@pytest.mark.parametrize("panel", ["outer-quarter", "inner-quarter"])
@pytest.mark.parametrize("sides", ["left", "right"])
def test_the_shoe_that_is_marked_is_drawn(book: Book, panel: str, sides: str) -> None:
    """One shoe alone is drawn as it is seen, letters reading, with the clearance of its fit.

    A right shoe's outer side has its toe at the viewer's right hand, its inner side at the left: plain geometry.
    """
    letter = {"kind": "text", "text": "L", "font": "plain", "height": "18 mm"}
    pose = {"kind": "at", "x": "20 mm", "y": "6 mm", "rotation": "15 deg"}
    asked = request(panel=panel, sides=sides, artwork=letter, pose=pose)
    fit, scene = fits.check(book, asked), placement_drawings.draw(book, asked)
    artwork, panel_drawn = region(scene, "artwork"), region(scene, "panel")
    toe_right = (panel == "outer-quarter") == (sides == "right")
    keep_outs = [
        shapely.union_all([shapely.Polygon(contour) for contour in item.contours])
        for item in scene.items
        if isinstance(item, Shape) and item.name.startswith("keep-out ")
    ]
    barriers = [panel_drawn.boundary, *(part for part in keep_outs if part.bounds[3] < legend(scene))]

    assert f"Drawn: the {sides} shoe." in words(scene)
    assert f"{sides} shoe" in [item.text for item in scene.items if isinstance(item, Words)]
    assert toe_right == (artwork.centroid.x > panel_drawn.centroid.x)
    assert fit.clearance_mm == pytest.approx(float(shapely.distance(artwork, barriers).min()), abs=0.01)
    # The foot of an L is at its lower right: upright, the centroid lies left of and below the box's middle.
    turn = 15.0 if toe_right else -15.0
    upright = shapely.affinity.rotate(artwork, turn)  # y downwards
    left, top, right, bottom = upright.bounds
    assert upright.centroid.x < 0.5 * (left + right)
    assert upright.centroid.y > 0.5 * (top + bottom)


def test_a_letter_on_one_inner_panel_is_checked_as_it_reads(book: Book) -> None:
    """Asked for either shoe alone, an inner panel has the room that the L's own side of it leaves.

    The drawing of an inner panel is the left shoe's (wire, `records.Panel`): there the L is as it is, and on the right
    shoe its mirror image fits the drawing; for both shoes both must.
    """
    letter = {"kind": "text", "text": "L", "font": "plain", "height": "18 mm"}
    pose = {"kind": "at", "x": "18 mm", "y": "9 mm"}
    clearances = {}
    for panel in ("inner-quarter", "outer-quarter"):
        for sides in ("left", "right", "both"):
            asked = request(panel=panel, sides=sides, artwork=letter, pose=pose)
            clearances[panel, sides] = fits.check(book, asked).clearance_mm
            placement = of_fit(book, asked)
            as_it_is = sides == ("left" if panel == "inner-quarter" else "right")
            drawn = placement.artwork.figure.drawn(placement.artwork.fineness)
            assert as_it_is == (placement.seen.region.equals(drawn))

    for panel in ("inner-quarter", "outer-quarter"):
        left, right, both = (clearances[panel, sides] for sides in ("left", "right", "both"))
        assert left != right
        assert pytest.approx(min(left, right)) == both


def test_what_is_not_moved_is_not_said(book: Book) -> None:
    """An artwork that is moved one way is said to be moved that way alone."""
    moved = fits.check(book, request(pose={"kind": "at", "x": "0 mm", "y": "-7 mm"}))

    assert "Its middle 7.0 mm down from the panel's centre." == moved.placed.sentence


def test_no_specks_are_dashed(book: Book) -> None:
    """Beside the top eyelet of this quarter the clearance leaves 0.3 mm2: no dashes are drawn around that."""
    scene = placement_drawings.draw(book, request())
    rings = [
        shapely.Polygon(ring)
        for item in scene.items
        if isinstance(item, Shape) and item.name == "clearance"
        for ring in item.contours
    ]

    assert rings
    assert all(ring.area >= 4.0 for ring in rings)
