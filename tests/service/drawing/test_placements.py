from __future__ import annotations

from collections.abc import Callable
from typing import Any, get_args, get_type_hints

import pytest
import shapely

from featherline.wire.records import KeepOut
from featherline_service.drawing.media import svg
from featherline_service.drawing.placements import _KEEP_OUTS, Placed, draw, draw_small, scale_to_fit
from featherline_service.drawing.scene import Scene, Words, room_for

Read = Callable[[str], Any]


def test_the_drawing_is_at_true_scale(placed: Placed, read: Read) -> None:
    """Panel and artwork have their own size in millimetres, and their own place to one another."""
    drawing = read(svg.write(draw(placed)))
    panel, artwork = drawing.region("panel"), drawing.region("artwork")
    left, low, right, high = panel.bounds

    assert pytest.approx((100.0, 50.0)) == (right - left, high - low)
    assert pytest.approx((30.0, 15.0, 50.0, 25.0)) == (
        artwork.bounds[0] - left, artwork.bounds[1] - low, artwork.bounds[2] - left, artwork.bounds[3] - low,
    )  # fmt: skip
    assert pytest.approx(20.0 * 10.0 - 4.0 * 4.0, rel=1e-4) == artwork.area


def test_the_artwork_drawn_lies_in_the_panel_drawn_and_off_the_keep_outs(placed: Placed, read: Read) -> None:
    """What fits is drawn as fitting: inside the panel, and clear of the keep-outs by the clearance that is written."""
    drawing = read(svg.write(draw(placed)))
    artwork = drawing.region("artwork")

    assert shapely.contains_properly(drawing.region("panel"), artwork)
    assert pytest.approx(11.0, abs=0.01) == shapely.distance(artwork, drawing.region("keep-out featherline"))
    assert drawing.words.count("11.0") == 1


def test_keep_outs_are_cut_to_the_panel(placed: Placed, read: Read) -> None:
    """A keep-out drawn beyond the panel is shown on the panel alone, at its true size."""
    drawing = read(svg.write(draw(placed)))

    assert (
        pytest.approx(100.0 * 4.0, rel=1e-4)
        == drawing.region("keep-out featherline").intersection(drawing.region("panel")).area
    )
    assert pytest.approx(16.0 * 3.14159, rel=0.01) == shapely.get_parts(drawing.region("keep-out eyelets"))[0].area


def test_the_clearance_line_is_that_far_from_everything(placed: Placed, read: Read) -> None:
    """Every point of the dashed line is 3 mm from the nearest edge or keep-out."""
    drawing = read(svg.write(draw(placed)))
    barriers = shapely.union_all(
        [
            drawing.region("panel").boundary,
            drawing.region("keep-out featherline").intersection(drawing.region("panel")),
            shapely.get_parts(drawing.region("keep-out eyelets"))[0],
        ]
    )
    corners = shapely.points(shapely.get_coordinates(drawing.lines("clearance")))

    assert pytest.approx(3.0, abs=0.01) == float(shapely.distance(corners, barriers).min())
    assert pytest.approx(3.0, abs=0.1) == float(shapely.distance(corners, barriers).max())


def test_the_dimensions_are_those_of_the_drawing(placed: Placed) -> None:
    """Below: from the panel's end to the artwork, its width, to the other end, and the panel's; likewise upright."""
    said = [item.text for item in draw(placed).items if isinstance(item, Words) and item.size < 3.0]

    assert ["11.0", "30.0", "20.0", "50.0", "100.0", "25.0", "10.0", "15.0", "50.0"] == said[:9]


def test_artwork_over_the_edge_is_marked_where_it_is(placed: Placed, read: Read) -> None:
    """What reaches over the edge or over a keep-out is striped, and just that."""
    pushed = shapely.MultiPolygon([shapely.box(90.0, 2.0, 110.0, 12.0)])
    over = placed._replace(artwork=pushed, counted=pushed)
    drawing = read(svg.write(draw(over)))
    swatch, marked = sorted(shapely.get_parts(drawing.region("over")), key=lambda part: part.area)

    assert pytest.approx(10.0 * 10.0 + 10.0 * 2.0, rel=1e-3) == marked.area
    assert swatch.area < 30.0
    assert "artwork where it must not be" in drawing.words


def test_every_kind_of_keep_out_has_a_hatching_of_its_own() -> None:
    """In print without colour each kind that a panel can have is told from all others."""
    kinds = get_args(get_type_hints(KeepOut)["what"])

    assert set(kinds) == set(_KEEP_OUTS)
    assert len(kinds) == len({hatch for _, hatch in _KEEP_OUTS.values()})


def test_the_legend_names_what_is_on_the_panel(placed: Placed, read: Read) -> None:
    """Film, upper, clearance and the kinds of keep-outs there are, and no other."""
    said = read(svg.write(draw(placed))).words

    assert {"Smooth film, Gorse", "upper", "clearance, 3.0 mm", "eyelets", "featherline"} <= set(said)
    assert not {"seam", "perforation", "collar"} & set(said)


def test_the_rule_is_as_long_as_it_says(placed: Placed, read: Read) -> None:
    """The rule to check the print by is 50 mm long, in steps of 10 mm."""
    left, _, right, _ = read(svg.write(draw(placed))).region("rule").bounds

    assert pytest.approx(50.0) == right - left


@pytest.mark.parametrize("scale", [0.5, 0.8, 1.0])
def test_a_small_drawing_keeps_proportions_and_says_true_lengths(placed: Placed, read: Read, scale: float) -> None:
    """At a scale everything shrinks alike, but the figures still say how long things are."""
    drawing = read(svg.write(draw_small(placed, scale)))
    left, low, right, high = drawing.region("panel").bounds

    assert pytest.approx((100.0 * scale, 50.0 * scale), abs=0.01) == (right - left, high - low)
    assert pytest.approx(184.0 * scale**2, rel=1e-3) == drawing.region("artwork").area
    assert ["11.0", "30.0", "20.0", "50.0"] == drawing.words[:4]


@pytest.mark.parametrize("room", [(190.0, 96.0), (61.0, 34.0)])
def test_a_small_drawing_fits_the_room_it_was_scaled_for(placed: Placed, room: tuple[float, float]) -> None:
    """At the scale for a room the sheet is no larger than the room, and as wide or as high as it to 0.05 mm."""
    scene = draw_small(placed, scale_to_fit(placed, *room))

    assert scene.width <= room[0] + 1e-9
    assert scene.height <= room[1] + 1e-9
    assert scene.width > room[0] - 0.05 or scene.height > room[1] - 0.05


def test_long_words_stay_on_the_sheet(placed: Placed) -> None:
    """Names as long as records allow are broken or cut, and end within the sheet."""
    long = "Extraordinarily long name of a film that goes on and on, " * 3
    scene = draw(placed._replace(title=long, lines=(long, long), film=long, upper=long))

    assert [] == [item for item in scene.items if isinstance(item, Words) and not within(scene, item)]


def within(scene: Scene, words: Words) -> bool:
    """Return whether words that are not turned end within their sheet."""
    wide = room_for(words.text, words.size)
    begin = words.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[words.anchor] * wide
    return bool(words.turn) or (begin >= -0.5 and begin + wide <= scene.width + 0.5)


def test_a_heel_has_no_toe(placed: Placed, read: Read) -> None:
    """Seen from behind there is no arrow to the toe."""
    assert "toe" in read(svg.write(draw(placed))).words
    assert "toe" not in read(svg.write(draw(placed._replace(toe=False)))).words
