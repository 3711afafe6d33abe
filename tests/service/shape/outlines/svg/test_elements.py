"""The elements of a drawing: shapes in their order, with what they inherit, and the page that they are on."""

from __future__ import annotations

import pytest

from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import elements
from featherline_service.shape.outlines.svg.elements import Root, Shape

SVG = '<svg xmlns="http://www.w3.org/2000/svg" {}>{}</svg>'


def read(body: str, size: str = "") -> tuple[list[Shape], Root]:
    """Return the shapes of a drawing, and its root."""
    shapes: list[Shape] = []
    root = elements.read(SVG.format(size, body), shapes.append)
    return shapes, root


def test_shapes_come_in_order_with_the_names_around_them() -> None:
    """Groups without a name add none; what is hidden, never drawn or of another namespace does not come."""
    shapes, _ = read(
        '<g id="vamp"><rect id="edge" width="9" height="4"/><g><circle r="2"/></g></g>'
        '<g visibility="hidden"><rect width="1" height="1"/></g><defs><rect width="1" height="1"/></defs>'
        '<g xmlns="urn:saltmarsh"><rect width="1" height="1"/></g><polygon points="0,0 3,0 3,4"/>'
    )
    assert [("rect", ("vamp", "edge")), ("circle", ("vamp",)), ("polygon", ())] == [
        (shape.element, shape.context.names) for shape in shapes
    ]


@pytest.mark.parametrize(
    ("attributes", "filled", "stroked"),
    [
        ("", "#000000", None),
        ('fill="none" stroke="red"', None, "red"),
        ('fill="#ff0000" fill-opacity="0"', None, None),
        ('fill="#00ff00" stroke="red" stroke-width="0"', "#00ff00", None),
        ('fill="none" stroke="red" stroke-opacity="0"', None, None),
        ('color="#0000ff" fill="currentColor" stroke="transparent"', "#0000ff", None),
    ],
)
def test_paint_is_what_would_be_seen(attributes: str, filled: str | None, stroked: str | None) -> None:
    """It is inherited (SVG 1.1 sections 11.3 and 11.4); without opacity or width nothing is seen."""
    ((shape,), _) = read(f'<g {attributes}><rect width="9" height="4"/></g>')
    assert (filled, stroked) == (shape.context.filled, shape.context.stroked)


def test_lines_are_closed_where_they_are_drawn_so() -> None:
    """A polygon is closed, a polyline is not, and a path is where it says so; y is upwards, transforms are applied."""
    shapes, _ = read(
        '<g transform="translate(10 0)"><polygon points="0,0 3,0 3,4"/><polyline points="0,0 3,0 3,4"/>'
        '<path d="M0 0H3V4Z M5 0H6"/></g>'
    )
    closed = [[is_closed for _, is_closed in shape.lines()] for shape in shapes]
    assert [[True], [False], [True, False]] == closed
    ((line, _),) = shapes[1].lines()
    assert ([10.0, 0.0], [13.0, -4.0]) == (line[0, 0].tolist(), line[-1, -1].tolist())


@pytest.mark.parametrize(
    ("size", "page", "has_view_box"),
    [
        ('width="60mm" height="40mm" viewBox="0 -5 60 40"', (0.0, -35.0, 60.0, 5.0), True),
        ('width="1in" height="2in"', (0.0, -192.0, 96.0, 0.0), False),  # 96 px to the inch (CSS Values, section 6.2)
    ],
)
def test_the_page_is_its_view_box_or_its_size(size: str, page: elements.Page, has_view_box: bool) -> None:
    """With y upwards; the sizes stay as they are written."""
    _, root = read("", size)
    assert (pytest.approx(page), has_view_box) == (root.page, root.has_view_box)
    assert tuple(part.split('"')[1] for part in size.split()[:2]) == root.size


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ("<g>" * 33 + "</g>" * 33, "nested more than 32 deep"),
        ("<g/>" * 2_000, "more than 2000 elements"),
        ('<rect width="1" height="1"><circle r="1"/></rect>', "'circle' inside 'rect'"),
        ("<text>TIDE</text>", "turn its letters into paths"),
        ('<rect width="1px;" height="1"/>', "write a plain number of user units"),
        ('<ellipse rx="2"/>', "give both, rx and ry"),
        ('<polygon points="0,0 L3,0"/>', "write pairs of plain numbers"),
        ('<rect width="1" height="1" display="run-in"/>', "write inline or none"),
    ],
)
def test_what_is_no_part_of_the_subset_is_refused(body: str, says: str) -> None:
    """Each message says what to do."""
    with pytest.raises(DrawingError, match=says):
        _ = [shape.contours() for shape in read(body)[0]]


def test_a_drawing_that_is_too_long_is_refused() -> None:
    """Before it is parsed."""
    with pytest.raises(DrawingError, match="longer than 200000 characters: simplify it"):
        read(" " * elements.LONGEST_DRAWING)
