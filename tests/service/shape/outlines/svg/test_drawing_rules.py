"""The rule for SVG drawings: every element, attribute and property is read, without effect, or refused by name.

Expected areas are worked out by hand beside the drawings; the grammar and the meaning of attributes are those of SVG
1.1 (Second Edition), W3C 2011, and for colours and units CSS Color Module Level 3 and CSS Values and Units Module Level
3.
"""

from __future__ import annotations

import math

import pytest

from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import drawings

BAR = '<rect width="20" height="10"/>'  # 200
DOT = '<rect x="40" y="40" width="2" height="2"/>'  # 4
MM = 96.0 / 25.4


def drawing(body: str, head: str = 'viewBox="0 0 100 100"') -> str:
    """Return a drawing of 100 x 100 with a body."""
    return f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:o="urn:other" {head}>{body}</svg>'


READ = [
    # Painting and visibility: sections 11.3, 11.5 and 14.5.
    (f'<g fill="none">{BAR}</g>{DOT}', 4.0),
    (f'<g fill="none"><rect width="20" height="10" fill="black"/></g>{DOT}', 204.0),
    (f'<g style="fill:none;display:none">{BAR}</g>{DOT}', 4.0),
    (f'<rect width="20" height="10" style="fill : none"/>{DOT}', 4.0),
    (f'<rect width="20" height="10" fill="none" style="fill:black"/>{DOT}', 204.0),
    (f'<rect width="20" height="10" fill="transparent"/>{DOT}', 4.0),
    (f'<rect width="20" height="10" fill="rgba(9, 9, 9, 0)"/>{DOT}', 4.0),
    (f'<rect width="20" height="10" fill="#1230"/>{DOT}', 4.0),
    (f'<rect width="20" height="10" fill="inherit"/>{DOT}', 204.0),
    (f'<g color="transparent" fill="currentColor">{BAR}</g>{DOT}', 4.0),
    (f'<g fill="rgb(0,0,0)">{BAR}</g><g fill="#000">{DOT}</g><g fill="BLACK"/>', 204.0),
    (f'<rect width="20" height="10" opacity="0"/>{DOT}', 4.0),
    (f'<g opacity="0%"><rect width="20" height="10" opacity="1"/></g>{DOT}', 4.0),
    (f'<rect width="20" height="10" opacity="1.0" fill-opacity="100%"/>{DOT}', 204.0),
    (f'<g fill-opacity="0">{BAR}<rect x="30" width="5" height="5" fill-opacity="1"/></g>{DOT}', 29.0),
    (f'<g visibility="hidden">{BAR}<rect x="30" width="5" height="5" visibility="visible"/></g>{DOT}', 29.0),
    (f'<g display="none">{BAR}<rect x="30" width="5" height="5" display="inline"/></g>{DOT}', 4.0),
    (f'<g visibility="collapse">{BAR}</g>{DOT}', 4.0),
    # Strokes that are not seen: sections 11.4 and 14.5.
    (f'<g stroke="none" stroke-width="3" stroke-linejoin="round">{BAR}</g>', 200.0),
    (f'<g stroke="red" stroke-width="0">{BAR}</g>', 200.0),
    (f'<g stroke="red" stroke-opacity="0">{BAR}</g>', 200.0),
    ('<g stroke="red"><rect width="20" height="10" stroke="none"/></g>', 200.0),
    (f'<g stroke="red" display="none">{BAR}</g>{DOT}', 4.0),
    # Elements that are never drawn by themselves: sections 5.4, 5.5, 14.3.5.
    (f'<defs><rect id="a" width="90" height="90"/></defs>{DOT}', 4.0),
    (f'<symbol id="a">{BAR}</symbol><clipPath id="b">{BAR}</clipPath><mask id="c">{BAR}</mask>{DOT}', 4.0),
    (f'<linearGradient id="a"><stop stop-color="red"/></linearGradient><pattern id="b">{BAR}</pattern>{DOT}', 4.0),
    (f'<o:guides><rect width="90" height="90"/></o:guides>{DOT}', 4.0),
    (f'<g xmlns="urn:other"><rect width="90" height="90"/></g>{DOT}', 4.0),
    (f"<title>Tide</title><desc>9</desc><metadata><o:a/></metadata>{DOT}", 4.0),
    # Attributes and properties without effect.
    (f'<g id="a" role="img" aria-label="b" data-c="d" o:e="f" xml:space="preserve" lang="en">{BAR}</g>', 200.0),
    (f'<g style="font-family:serif;font-size:9px;text-anchor:end;-x-font-variant:Sans;overflow:auto">{BAR}</g>', 200.0),
    (f'<g clip-path="none" mask="none" style="filter:none;mix-blend-mode:normal;marker:none">{BAR}</g>', 200.0),
    # Absolute units (CSS Values and Units 3, section 6.2): 1 in = 96 px = 2.54 cm = 72 pt = 6 pc.
    ('<rect width="10mm" height="0.5in"/>', 10.0 * MM * 48.0),
    ('<rect x="1cm" width="36pt" height="2pc"/>', 48.0 * 32.0),
    ('<circle cx="50px" cy="50" r="5mm"/>', math.pi * (5.0 * MM) ** 2),
    ('<rect width="0" height="9"/><ellipse rx="9" ry="0" cx="9"/>' + DOT, 4.0),
    ('<polygon points="0,0 10,0 10,10"/>', 50.0),
]  # fmt: skip


@pytest.mark.parametrize(("body", "area"), READ)
def test_drawings_are_read_as_they_are_seen(body: str, area: float) -> None:
    """Shapes count where they are seen, and only there."""
    assert pytest.approx(area, rel=2e-4) == drawings.region(drawing(body), 1e-3).area


@pytest.mark.parametrize(
    "head",
    [
        'viewBox="0 0 100 100" width="30mm" height="60mm" preserveAspectRatio="xMidYMid meet"',
        'viewBox="0,0,100,100" width="100%" height="100%" x="7" y="9" version="1.1" baseProfile="tiny"',
        'viewBox="-1e1 -10 30 20" preserveAspectRatio="xMinYMax"',
        'width="21" height="11"', 'width="1in"', "",
    ],
)  # fmt: skip
def test_a_page_around_the_drawing_does_not_change_it(head: str) -> None:
    """The viewBox and size of a page that holds the drawing leave its shape as it is."""
    assert pytest.approx(200.0) == drawings.region(drawing(BAR, head), 1e-3).area


REFUSED = [
    # Style sheets and classes.
    ("<style>.a{fill:none}</style>" + BAR, "'style'.*presentation attributes"),
    ("<defs><style>.a{fill:none}</style></defs>" + BAR, "'style'.*presentation attributes"),
    ('<o:style xmlns:o="http://www.w3.org/1999/xhtml">rect{fill:none}</o:style>' + BAR, "'style'"),
    ('<rect class="a" width="2" height="1"/>', "class='a'.*presentation attributes"),
    ("<metadata><script/></metadata>" + BAR, "'script'"),
    # Values between seen and not seen, and values that renderers read differently.
    ('<rect opacity="0.5" width="2" height="1"/>', "opacity='0.5'.*a film is opaque"),
    ('<rect fill-opacity="50%" width="2" height="1"/>', "fill-opacity='50%'.*a film is opaque"),
    ('<rect opacity="half" width="2" height="1"/>', "opacity='half'"),
    ('<rect fill="#00000080" width="2" height="1"/>', "a film is opaque"),
    ('<rect fill="rgba(0,0,0,.5)" width="2" height="1"/>', "a film is opaque"),
    ('<g fill="none"><rect fill="darkish" width="2" height="1"/></g>', "fill='darkish'.*write a colour"),
    ('<g fill="none"><rect fill="" width="2" height="1"/></g>', "fill=''"),
    ('<rect style="fill:initial" width="2" height="1"/>', "fill='initial'"),
    ('<rect style="fill:var(--a)" width="2" height="1"/>', "write a colour"),
    ('<rect display="maybe" width="2" height="1"/>', "display='maybe'"),
    ('<rect visibility="no" width="2" height="1"/>', "visibility='no'"),
    ('<rect hidden="" width="2" height="1"/>', "hidden=''"),
    # CSS that is more than plain declarations, and CSS geometry.
    ('<rect style="width:20px" width="2" height="1"/>', "width='20px'.*as it is seen"),
    ('<rect style="transform:scale(2)" width="2" height="1"/>', "transform='scale.*the attribute transform"),
    ('<rect transform-origin="1 1" width="2" height="1"/>', "transform-origin.*apply the transform"),
    (f'<g color="none">{BAR}</g>', "color='none'"),
    ('<rect style="rotate:9deg" width="2" height="1"/>', "rotate='9deg'"),
    ('<rect style="fill/**/:none" width="2" height="1"/>', "plain declarations"),
    ('<rect style="fill:none!important;fill:red" width="2" height="1"/>', "plain declarations"),
    ('<rect style="FILL:none" width="2" height="1"/>', "FILL='none'"),
    ('<rect style="fill none" width="2" height="1"/>', "plain declarations"),
    ('<rect style="f\\69ll:none" width="2" height="1"/>', "plain declarations"),
    # Strokes, clips, masks, filters and references.
    (f'<g stroke="#123">{BAR}</g>', "stroke='#123'.*convert strokes to outlines"),
    ('<rect fill="none" stroke="black" stroke-width="3" width="9" height="9"/>', "convert strokes to outlines"),
    (f'<g stroke="red" stroke-width="0.1">{BAR}</g>', "convert strokes to outlines"),
    ('<rect clip-path="circle()" width="2" height="1"/>', "clip-path.*cut the shape"),
    ('<g style="mask:url(#a)"/>', "refers to"),
    ('<rect style="filter:blur(2px)" width="2" height="1"/>', "filter='blur"),
    ('<rect style="mix-blend-mode:difference" width="2" height="1"/>', "mix-blend-mode"),
    ('<path marker-end="url(#a)" d="M0 0H9V9Z"/>', "refers to"),
    ('<use href="#a"/>', "'use'.*replace references"),
    (f"<switch>{BAR}</switch>", "'switch'.*alternatives"),
    (f'<g systemLanguage="de">{BAR}</g>', "systemLanguage.*alternatives"),
    (f"<a>{BAR}</a>", "'a'.*leave the link out"),
    (f"<svg>{BAR}</svg>", "another drawing"),
    (f"<rect width='9' height='9'>{BAR}</rect>", "'rect' inside 'rect'"),
    ("<rect width='9' height='9'><animate/></rect>", "'animate'"),
    # Geometry.
    ('<rect width="10%" height="1"/>', "width='10%'.*plain number"),
    ('<rect width="1em" height="1"/>', "width='1em'"),
    ('<rect width="-9" height="1"/>', "width='-9'"),
    ('<circle r="-1"/>', "r='-1'"),
    ('<ellipse rx="9" cx="9" cy="9"/>', "one radius without the other"),
    ('<circle width="9" r="1"/>', "width='9'"),
    ('<g x="9"/>', "x='9'"),
    ('<polygon points="0,0 9,0 L9,9"/>', "write pairs of plain numbers"),
    ('<polygon points="0,0 9,0 9"/>', "wants a number"),
    ('<rect width="2" height="1" new="a"/>', "new='a'.*leave it out"),
]  # fmt: skip


@pytest.mark.parametrize(("body", "says"), REFUSED)
def test_what_is_not_read_is_refused_by_name(body: str, says: str) -> None:
    """Content that could change the shape and is not read is refused, whatever else there is to see."""
    with pytest.raises(DrawingError, match=says):
        drawings.region(drawing(body + DOT), 1e-3)


@pytest.mark.parametrize(
    ("head", "says"),
    [
        ('viewBox="0 0 19 10"', "reaches outside its viewBox"),
        ('viewBox="1 0 40 40"', "reaches outside its viewBox"),
        ('width="10" height="40"', "reaches outside its viewBox"),
        ('viewBox="0 0 100 100" preserveAspectRatio="none"', "distort"),
        ('viewBox="0 0 100 100" preserveAspectRatio="xMidYMid slice"', "cut off"),
        ('viewBox="0 0 100"', "is not left, top, width and height"),
        ('viewBox="0 0 0 100"', "has no area"),
        ('width="0" viewBox="0 0 100 100"', "a size above zero"),
        ('width="3em"', "a size above zero"),
        ('viewBox="0 0 100 100" transform="scale(2)"', "transform"),
        ('viewBox="0 0 100 100" background="red"', "background"),
        ('viewBox="0 0 100 100" onload="a()"', "onload"),
    ],
)
def test_a_page_that_would_change_the_drawing_is_refused(head: str, says: str) -> None:
    """A page that cuts off, distorts or moves the drawing is refused."""
    with pytest.raises(DrawingError, match=says):
        drawings.region(drawing(BAR, head), 1e-3)


def test_a_shape_beyond_its_page_by_rounding_is_read() -> None:
    """A shape that leaves the page by a thousandth of its area or less is read as it is."""
    assert pytest.approx(200.0) == drawings.region(drawing(BAR, 'viewBox="0 0 19.99 10"'), 1e-3).area


def test_properties_win_over_attributes_whatever_their_order() -> None:
    """A style attribute wins over presentation attributes (CSS: section 6.4 of SVG 1.1), before or after them."""
    for first, second in (('style="fill:none"', 'fill="black"'), ('fill="black"', 'style="fill:none"')):
        body = f'<rect {first} {second} width="9" height="9"/>'
        assert pytest.approx(4.0) == drawings.region(drawing(body + DOT), 1e-3).area
