from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from featherline_service.book.loader import load
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import paths, plain_paths

TOLERANCE = 0.0025
NUMBERS = st.integers(-99_999, 99_999).map(lambda number: f"{number / 1000:g}")
FLAGS = st.sampled_from(["0", "1"])


def command(letter: str, *arguments: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    """Draw a command with its arguments."""
    return st.tuples(*arguments).map(lambda drawn: letter + " ".join(drawn))


COMMANDS = st.one_of(
    command("L", NUMBERS, NUMBERS),
    command("H", NUMBERS),
    command("V", NUMBERS),
    command("C", *[NUMBERS] * 6),
    command("A", *[NUMBERS] * 3, FLAGS, FLAGS, NUMBERS, NUMBERS),
)
SUBPATHS = st.tuples(command("M", NUMBERS, NUMBERS), st.lists(COMMANDS, min_size=1, max_size=6)).map(
    lambda drawn: " ".join((drawn[0], *drawn[1], "Z"))
)
PATHS = st.lists(SUBPATHS, min_size=1, max_size=3).map(" ".join)


@given(st.lists(PATHS, min_size=1, max_size=4))
def test_what_is_plainly_drawable_can_be_drawn(drawings: list[str]) -> None:
    """Of any paths, together: a yes is never wrong."""
    for drawing, plain in zip(drawings, plain_paths.drawable(drawings, TOLERANCE).tolist(), strict=True):
        if plain:
            assert paths.region(drawing, "nonzero", TOLERANCE, tangled=True).area > 0.0


def test_most_drawings_of_the_demo_book_are_plain() -> None:
    """All but a few, which cross themselves or enclose little for their length, or it would be no use."""
    drawings = [
        data
        for shoe in load().shoes.values()
        for panel in shoe.panels
        for data in (panel.outline, *(keep_out.d for keep_out in panel.keep_outs))
    ]

    assert plain_paths.drawable(drawings, TOLERANCE).sum() > 0.95 * len(drawings)


@pytest.mark.parametrize(
    "path",
    [
        "M0 0H60Z",
        "M0 0L10 0L10 10L0 10L0 0L0 10L10 10L10 0Z",
        "M0 0",
        "L0 0L9 0L9 9Z",
        "M0 0L9",
        "m0 0l9 0l0 9z",
        "M0 0L9 0L9 9",
        "M0 0L99999 0L9 9Z",
        "M0 0 9 0 9 9Z",
        "M0 0L9e0 0L9 9Z",
        "M0 0A5 5 0 2 0 9 9Z",
        "M0 0A0 5 0 1 0 9 9Z",
        "M0 0A5 5 0 1 0 0 0Z",
        "",
        "\n",
        "M0 0L9,,0L9 9Z",
        "M0 0,L9 0L9 9Z",
        "M0 0L9 0 , ,9 9Z",
        "M0 0|L9 0L9 9Z",
        "M0 0L9 0 9 9Z",
        f"M0 0{'L9 0L9 9L0 9L0 0' * 17}Z",
    ],
)
def test_what_is_not_plain_is_told_so(path: str) -> None:
    """No area, no path, relative or left-out commands, numbers too large, too many commands: it is for drawing to tell.

    Between plain ones, of which each is told by itself.
    """
    plain = "M0 0L9 0L9 9Z"

    assert [True, False, True] == plain_paths.drawable([plain, path, plain], TOLERANCE).tolist()


@pytest.mark.parametrize(
    "path", ["M0,0 L9 , 0 L9 ,9 z", "\tM 0 0\r\nL 9 0\n L 9 9\nZ\n", "M0 -0L9.000000000000002 0L9 9Z"]
)
def test_blanks_commas_and_a_small_z_are_plain(path: str) -> None:
    """As SVG 1.1 has them in its grammar, section 8.3.9."""
    assert [True] == plain_paths.drawable([path], TOLERANCE).tolist()
    assert 30.0 < paths.region(path, "nonzero", TOLERANCE).area < 50.0


def test_without_paths_nothing_is_told() -> None:
    """An empty list has an empty answer."""
    assert [] == plain_paths.drawable([], TOLERANCE).tolist()
    assert [] == plain_paths.rings([]).tolist()


@pytest.mark.parametrize(
    ("path", "area"),
    [
        ("M0 0H9V9H0Z", 81.0),
        ("M-2 0A2 2 0 1 1 2 0A2 2 0 1 1 -2 0Z", 4.0 * math.pi),
        ("M-2 0A2 1 0 0 0 2 0A2 1 0 0 0 -2 0Z", 2.0 * math.pi),
        ("M0 -3A1 1 0 0 1 0 3Z", 4.5 * math.pi),
        ("M0 2A2 1 90 1 1 0 -2A2 1 90 1 1 0 2Z", 2.0 * math.pi),
        ("M0 1A1 1 0 1 1 1 0L0 0Z", 0.75 * math.pi),
        ("M0 0C0 1 1 1 1 0Z", 0.6),
    ],
)
def test_areas_are_those_of_geometry(path: str, area: float) -> None:
    """Of circles, half circles of too small radii, ellipses and sectors (SVG 1.1, F.6); a cubic's by integration.

    The cubic has x = 3t^2 - 2t^3 and y = 3t(1 - t), so its area is the integral of 18 t^2 (1 - t)^2, 3/5.
    """
    found, _, _ = plain_paths._measures(plain_paths._commands([path]), TOLERANCE)

    assert area == pytest.approx(abs(float(found.sum())), rel=1e-12)


@given(st.lists(PATHS, min_size=1, max_size=4))
def test_points_and_lengths_are_never_too_few(drawings: list[str]) -> None:
    """The bound of points is at least what flattening makes, and the length at least that of the flattened outline."""
    commands = plain_paths._commands(drawings)
    _, length, points = plain_paths._measures(commands, TOLERANCE)
    for index, drawing in enumerate(drawings):
        flat = [paths.curves.flatten(contour, TOLERANCE) for contour in paths.contours(drawing)]
        own = commands.owner == index
        around = sum(float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum()) for ring in flat)
        assert sum(map(len, flat)) <= points[own].sum() + own.sum()
        assert around <= length[own].sum() * (1.0 + 1e-6) + 1e-6


def test_rings_are_close_to_the_regions() -> None:
    """Outlines of the demo book, sampled in sixteen steps a curve, differ from the drawn ones by less than 0.15 mm."""
    outlines = [panel.outline for shoe in load().shoes.values() for panel in shoe.panels]

    rings = plain_paths.rings(outlines)

    drawn = [(ring, outline) for ring, outline in zip(rings, outlines, strict=True) if shapely.is_valid(ring)]
    assert len(drawn) > 0.9 * len(outlines)
    for ring, outline in drawn:
        region = paths.region(outline, "nonzero", TOLERANCE)
        assert shapely.hausdorff_distance(shapely.boundary(ring), region.boundary) < 0.15


def test_a_path_of_several_contours_or_arcs_has_no_ring() -> None:
    """Neither has one that is not plain."""
    square = "M0 0H9V9H0Z"

    rings = plain_paths.rings([f"{square} {square}", "M-2 0A2 2 0 1 1 2 0Z", "M0 0l9 9Z", square])

    assert [None] * 3 == rings[:3].tolist()
    assert 81.0 == shapely.area(rings[3])


def test_a_tangle_of_few_commands_is_drawn() -> None:
    """A path that says so may cross itself as often as it does; the same path is refused otherwise."""
    star = "".join(f"L{40 * math.cos(2.5 * k):.3f} {40 * math.sin(2.5 * k):.3f}" for k in range(1, 64))
    tangled = f"M40 0{star}Z " * 3

    with pytest.raises(DrawingError, match="cross"):
        paths.region(tangled, "nonzero", TOLERANCE)

    assert paths.region(tangled, "nonzero", TOLERANCE, tangled=True).area > 1_000.0
