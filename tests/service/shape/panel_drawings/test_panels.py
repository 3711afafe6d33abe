from __future__ import annotations

import pytest
from dxf_files import circle, file, layer, polyline

from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.panel_drawings import panels
from featherline_service.shape.panel_drawings.panels import DrawnPanel, Round

KINDS = ("eyelets", "seam", "perforation")
EDGE = '<path d="M10 10H100V50H10Z"/>'


def drawn(content: str) -> DrawnPanel:
    """Return the panel of an SVG drawing."""
    page = 'xmlns="http://www.w3.org/2000/svg" width="120mm" height="60mm" viewBox="0 0 120 60"'
    return panels.read(f"<svg {page}>{content}</svg>".encode(), "image/svg+xml", None, KINDS)


def test_the_largest_shape_is_the_outline_and_what_lies_within_is_read_by_name_colour_and_form() -> None:
    """Named by itself or by the group around it, red, or round; moved to the top left of the outline."""
    panel = drawn(
        f'{EDGE}<circle cx="30" cy="20" r="2.5"/><circle cx="40" cy="20" r="2.5" fill="red"/>'
        '<g id="Seam 2"><g id="g17"><path d="M60 20h10v5h-10z"/></g></g>'
        '<ellipse id="eyelets" rx="4" ry="2" cx="50" cy="20"/>'
        '<circle id="perforation-03" cx="80" cy="30" r="0.5"/><path d="M90 40h30v5h-30z" fill="red"/>'
    )

    assert (0.0, 0.0, 90.0, 40.0) == panel.outline.bounds
    assert [pytest.approx(Round(20.0, 10.0, 2.5), abs=0.005)] == list(panel.eyelets)
    assert [
        (None, (27.5, 7.5, 32.5, 12.5)),
        ("seam", (50.0, 10.0, 60.0, 15.0)),
        ("eyelets", (36.0, 8.0, 44.0, 12.0)),
        ("perforation", (69.5, 19.5, 70.5, 20.5)),
        (None, (80.0, 30.0, 90.0, 35.0)),
    ] == [(area.kind, pytest.approx(area.polygon.bounds, abs=0.01)) for area in panel.areas]


def test_a_named_outline_need_not_be_the_largest() -> None:
    """What lies outside of it, such as a red allowance all around, is cut to it."""
    panel = drawn('<path id="outline" fill="red" d="M10 10H100V50H10Z"/><path fill="red" d="M0 0H110V60H0Z"/>')

    assert [3_600.0, 3_600.0] == [panel.outline.area, panel.areas[0].polygon.area]


def test_the_same_panel_in_a_dxf_file() -> None:
    """Upright as it was drawn there: y runs upwards in the file and downwards in the answer."""
    content = file(
        polyline((0, 0), (90, 0), (90, 40), (0, 40)),
        circle(20, 30, 2.5),
        polyline((50, 25), (60, 25), (60, 30), (50, 30), more=((8, "SEAM"),)),
        layers=(layer("0", 7), layer("SEAM", 1)),
    )
    panel = panels.read(content, "image/vnd.dxf", None, KINDS)

    assert [(20.0, 10.0)] == [pytest.approx((eye.x, eye.y)) for eye in panel.eyelets]
    assert [("seam", (50.0, 10.0, 60.0, 15.0))] == [(area.kind, area.polygon.bounds) for area in panel.areas]


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (
            f'{EDGE}<path d="M40 30h10v2h-10z"/>',
            "The shape 35.0 mm from the left and 21.0 mm from the top of the drawing is not the outline, and neither",
        ),
        (f'{EDGE}<circle cx="40" cy="30" r="9"/>', "nor round and 1.5 mm to 16 mm wide"),
        (f'{EDGE}<circle cx="10" cy="30" r="2"/>', "neither red"),
        (f'{EDGE}<path fill="red" d="M105 20h5v5h-5z"/>', "lies outside of the outline"),
        (f'{EDGE}<path fill="red" d="M90 20h20v20h-20v-5h15v-10h-15z"/>', "leaves the outline and comes back: .* 2 sh"),
        ('<path fill="red" d="M10 10H100V50H10Z"/>', "has no outline"),
        ('<g id="outline"><path d="M1 1H50V50Z"/><path d="M51 1H90V50Z"/></g>', "2 shapes of the name outline"),
        ('<path d="M1 1H4V5Z"/>', "The outline is 3 mm wide and 4 mm high, and panels are 5 mm to 600 mm"),
        (EDGE + "".join(f'<circle cx="{15 + n}" cy="30" r="1"/>' for n in range(65)), "more than 64 shapes"),
    ],
)  # fmt: skip
def test_what_is_no_panel_is_refused(content: str, told: str) -> None:
    """The message says where and what to do."""
    with pytest.raises(DrawingError, match=told):
        drawn(content)


def test_an_outline_too_long_for_path_data_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Requests and books take a hundred thousand characters."""
    monkeypatch.setattr(panels, "_LONGEST_PATH", 74)
    with pytest.raises(DrawingError, match="has 5 corners: simplify it"):
        drawn(EDGE)


def test_a_compressed_drawing_is_refused() -> None:
    """It is no text."""
    with pytest.raises(DrawingError, match="plain SVG, not compressed"):
        panels.read(b"\x1f\x8b\x08", "image/svg+xml", None, KINDS)
