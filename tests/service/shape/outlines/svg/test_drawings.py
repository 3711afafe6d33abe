from __future__ import annotations

import math
import time

import pytest

from featherline_service.shape.outlines import figures
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import drawings

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="-50 -50 150 150">'
FINE = 1e-3


def region(body: str, head: str = HEAD) -> drawings.MultiPolygon:
    """Return the region of a drawing that holds `body`."""
    return drawings.region(f"{head}{body}</svg>", FINE)


@pytest.mark.parametrize(
    ("body", "area", "box"),
    [
        # SVG 1.1 chapter 9, each shape by its elementary area; y upwards.
        ('<rect x="5" y="6" width="20" height="10"/>', 200.0, (5, -16, 25, -6)),
        ('<rect width="20px" height="10" rx="3"/>', 200.0 - (4.0 - math.pi) * 9.0, (0, -10, 20, 0)),
        ('<rect width="20" height="10" ry="99"/>', 50.0 * math.pi, (0, -10, 20, 0)),
        ('<circle cx="10" cy="20" r="5"/>', 25.0 * math.pi, (5, -25, 15, -15)),
        ('<ellipse cx="1" rx="8" ry="3"/>', 24.0 * math.pi, (-7, -3, 9, 3)),
        ('<polygon points="0,0 10,0 10,10"/>', 50.0, (0, -10, 10, 0)),
        ('<polyline points="0 0,10 0 10 10"/>', 50.0, (0, -10, 10, 0)),
        ('<path d="M0 0H10V10Z"/>', 50.0, (0, -10, 10, 0)),
        ('<path fill-rule="evenodd" d="M0 0H9V9H0ZM3 3H6V6H3Z"/>', 72.0, (0, -9, 9, 0)),
        ('<g fill-rule="evenodd"><path d="M0 0H9V9H0ZM3 3H6V6H3Z"/></g>', 72.0, (0, -9, 9, 0)),
        ('<path style="fill:#000;fill-rule:evenodd;stroke:none" d="M0 0H9V9H0ZM3 3H6V6H3Z"/>', 72.0, (0, -9, 9, 0)),
        # Shapes that overlap are one piece of film.
        ('<rect width="6" height="6"/><rect x="3" y="3" width="6" height="6"/>', 63.0, (0, -9, 9, 0)),
        # Section 7.6, each transform, and a list applied from the right.
        ('<rect transform="translate(4)" width="2" height="1"/>', 2.0, (4, -1, 6, 0)),
        ('<rect transform="translate(4,5)" width="2" height="1"/>', 2.0, (4, -6, 6, -5)),
        ('<rect transform="scale(3)" width="2" height="1"/>', 18.0, (0, -3, 6, 0)),
        ('<rect transform="scale(3 -2)" width="2" height="1"/>', 12.0, (0, 0, 6, 2)),
        ('<rect transform="rotate(90)" width="2" height="1"/>', 2.0, (-1, -2, 0, 0)),
        ('<rect transform="rotate(180 1 0.5)" width="2" height="1"/>', 2.0, (0, -1, 2, 0)),
        ('<rect transform="skewX(45)" width="2" height="1"/>', 2.0, (0, -1, 3, 0)),
        ('<rect transform="skewY(45)" width="2" height="1"/>', 2.0, (0, -3, 2, 0)),
        ('<rect transform="matrix(0 1 -1 0 5 6)" width="2" height="1"/>', 2.0, (4, -8, 5, -6)),
        ('<rect transform="translate(9 0),rotate(90) scale(2)" width="2" height="1"/>', 8.0, (7, -4, 9, 0)),
        ('<g transform="translate(9 0)"><g transform="scale(2)"><rect width="2" height="1"/></g></g>', 8.0,
         (9, -2, 13, 0)),
        # What is not drawn is skipped.
        ('<title>Any</title><desc><b/></desc><defs><image/></defs><rect width="2" height="1"/>', 2.0, (0, -1, 2, 0)),
        ('<x:y xmlns:x="urn:other"><text/></x:y><rect width="2" height="1"/>', 2.0, (0, -1, 2, 0)),
        ('<rect width="9" height="9" fill="none"/><rect width="2" height="1"/>', 2.0, (0, -1, 2, 0)),
        ('<g display="none"><rect width="9" height="9"/></g><rect width="2" height="1"/>', 2.0, (0, -1, 2, 0)),
        ('<rect width="0" height="9"/><circle r="0"/><path/><rect width="2" height="1"/>', 2.0, (0, -1, 2, 0)),
        ('<rect width="2" height="1" fill="black"/><rect x="3" width="2" height="1" fill="#000"/>', 4.0, (0, -1, 5, 0)),
    ],
)  # fmt: skip
def test_shapes_and_transforms(body: str, area: float, box: tuple[float, float, float, float]) -> None:
    """Shapes and transforms of the subset have the area and box that SVG defines."""
    drawn = region(body)

    assert pytest.approx(area, rel=1e-3) == drawn.area
    assert pytest.approx(box, abs=2e-3) == drawn.bounds


def test_drawing_without_a_namespace_is_read_alike() -> None:
    """An svg element without a namespace is read as well."""
    assert 2.0 == region('<rect width="2" height="1"/>', "<svg>").area


@pytest.mark.parametrize(
    ("drawing", "says"),
    [
        ("<svg><text>A</text></svg>", "'text', which is not drawn here: turn its letters into paths"),
        ("<svg><image/></svg>", "'image'"),
        ("<svg><use href='#a'/></svg>", "'use'"),
        ("<svg><style>a</style></svg>", "'style'"),
        ("<svg><script>a</script></svg>", "'script'"),
        ("<svg><foreignObject/></svg>", "'foreignObject'"),
        ("<svg><animate/></svg>", "'animate'"),
        ("<svg><svg/></svg>", "another drawing"),
        ("<g/>", "must begin with svg"),
        ("<svg><rect width='2' height='1' stroke='red'/></svg>", "rect has stroke='red'"),
        ("<svg><rect width='2' height='1' style='stroke:#fff'/></svg>", "rect has stroke='#fff'"),
        ("<svg><g clip-path='url(#a)'/></svg>", "clip-path"),
        ("<svg><rect width='2' height='1' fill='url(#a)'/></svg>", "refers to 'url"),
        ("<svg onload='a()'><rect width='2' height='1'/></svg>", "'onload'"),
        ("<svg><rect width='2' height='1' onclick='a()'/></svg>", "'onclick'"),
        ("<svg><rect width='2' height='1'/><rect width='2' height='1' fill='red'/></svg>", "2 fills"),
        ("<svg><rect width='10%' height='1'/></svg>", "plain number"),
        ("<svg><rect width='1e9' height='1'/></svg>", "plain number"),
        ("<svg><rect width='nan' height='1'/></svg>", "plain number"),
        ("<svg><g transform='spin(3)'/></svg>", "not a list of transforms"),
        ("<svg><g transform='rotate(1 2)'/></svg>", "has 2 numbers"),
        ("<svg><g transform='scale(1e300)'/></svg>", "is beyond"),
        ("<svg><g transform='scale(1e6)'><rect width='2' height='1'/></g></svg>", "leaves the range"),
        ("<svg fill-rule='odd'/>", "no fill-rule"),
        ("<svg preserveAspectRatio='none'/>", "distort"),
        ("<svg><path d='M0 0L9'/></svg>", "wants a number"),
        ("<svg><path d='M0 0L9 9'/></svg>", "no area"),
        ("<svg/>", "no filled shape"),
        ("<svg><rect width='2' height='1'></svg>", "not well-formed XML"),
        ("not a drawing", "not well-formed XML"),
        ("<svg>\ud800</svg>", "surrogate"),
        ("<!DOCTYPE svg><svg/>", "document type"),
        ('<!DOCTYPE l [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]><svg>&b;</svg>', "document type"),
        ('<!DOCTYPE svg SYSTEM "file:///etc/hostname"><svg/>', "document type"),
        ('<?xml-stylesheet href="a.css"?><svg/>', "processing instruction"),
        ("<svg>" + "<g>" * 10_000, "nested more than 32 deep"),
        ("<svg><defs>" + "<g>" * 10_000, "nested more than 32 deep"),
        ("<svg>" + "<g/>" * 3_000 + "</svg>", "more than 2000 elements"),
        ("<svg>" + " " * 200_000 + "</svg>", "longer than 200000 characters"),
        ("<svg>" + "<circle r='90'/>" * 1_900 + "</svg>", "cross or crowd|more than 30000 points"),
        ("<svg>" + "".join(f"<circle cx='{x}' r='90'/>" for x in range(300)) + "</svg>", "cross or crowd|30000 points"),
    ],
)  # fmt: skip
def test_content_outside_the_subset_is_refused_by_name(drawing: str, says: str) -> None:
    """Hostile content, and content outside the subset, is refused quickly and by name."""
    begin = time.process_time()

    with pytest.raises(DrawingError, match=says):
        figures.of_svg(drawing)

    assert time.process_time() - begin < 2.0
