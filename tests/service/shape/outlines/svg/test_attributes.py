from __future__ import annotations

import pytest

from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg.attributes import attributes, colour, opacity


def refusal(element: str, raw: dict[str, str]) -> str:
    """Return why the attributes of an element are refused."""
    with pytest.raises(DrawingError) as refused:
        attributes(element, raw)
    return str(refused.value)


@pytest.mark.parametrize(
    ("element", "raw"),
    [
        ("svg", {"viewBox": "0 0 1 1", "preserveAspectRatio": "none", "width": "1", "height": "2"}),
        ("path", {"d": "M0 0", "transform": "scale(2)"}),
        ("rect", {"x": "1", "y": "2", "width": "3", "height": "4", "rx": "5", "ry": "6"}),
        ("circle", {"cx": "1", "cy": "2", "r": "3"}),
        ("ellipse", {"cx": "1", "cy": "2", "rx": "3", "ry": "4"}),
        ("polygon", {"points": "0 0"}),
        ("polyline", {"points": "0 0"}),
        ("g", {"fill": "red", "opacity": "1", "stroke-width": "2", "display": "none", "transform": "scale(2)"}),
    ],
)
def test_geometry_and_painting_are_read(element: str, raw: dict[str, str]) -> None:
    """As they are."""
    assert raw == attributes(element, raw)


def test_properties_of_a_style_count_before_attributes() -> None:
    """The last declaration of a property counts, with the blanks around it taken away (CSS 2.1, 6.4)."""
    raw = {"fill": " red ", "stroke": "none", "style": " fill : blue ;; fill:lime; display:none;"}

    assert {"fill": "lime", "stroke": "none", "display": "none"} == attributes("path", raw)


@pytest.mark.parametrize(
    "raw",
    [
        {"id": "a", "role": "img", "pathLength": "3", "overflow": "hidden", "stroke-linecap": "round"},
        {"aria-label": "a", "data-x": "1", "font-size": "3", "text-anchor": "end", "-x-font-y": "1", "-x-stroke": "1"},
        {"clip-path": "none", "mask": "none", "filter": "none", "marker": "none", "clip": "auto"},
        {"marker-start": "none", "marker-mid": "none", "marker-end": "none", "mix-blend-mode": "normal"},
        {"vector-effect": "non-scaling-stroke"},
        {"style": "vector-effect:none;font:3px x;"},
        {"http://example.org/ns label": "anything, url(#x)"},
    ],
)
def test_what_cannot_change_a_shape_is_left_out(raw: dict[str, str]) -> None:
    """Names and notes, settings of strokes and texts, harmless values, and what is in another namespace."""
    assert {} == attributes("path", raw)


def test_a_position_of_the_outermost_element_has_no_effect() -> None:
    """SVG 1.1, section 5.1.2; of other elements without it, it is refused."""
    assert {} == attributes("svg", {"x": "1", "y": "2"})
    assert "circle has x='1', which is not drawn here" in refusal("circle", {"x": "1"})


@pytest.mark.parametrize(
    ("element", "raw", "expected"),
    [
        ("path", {"r": "1"}, "path has r='1', which is not drawn here: leave it out, or draw the shape as it is seen"),
        (
            "svg",
            {"transform": "scale(2)"},
            "svg has transform='scale(2)', which is not drawn here: write it as the attribute transform",
        ),
        (
            "path",
            {"class": "a" * 41},
            (
                f"path has class='{'a' * 40}', which is not drawn here: "
                "save the drawing with presentation attributes instead of a style sheet"
            ),
        ),
        ("g", {"mask": "x"}, "g has mask='x', which is not drawn here: cut the shape to what is seen"),
        (
            "g",
            {"systemLanguage": "en"},
            "g has systemLanguage='en', which is not drawn here: keep one of the alternatives",
        ),
        ("g", {"fill": "url(#x)"}, "g refers to 'url(#x)' by its fill: give it itself"),
        ("g", {"fill": "URL(#x)"}, "g refers to 'URL(#x)' by its fill: give it itself"),
        ("g", {"onclick": "x"}, "g has the attribute 'onclick': leave it out"),
        ("g", {"OnClick": "x"}, "g has the attribute 'OnClick': leave it out"),
        ("g", {"href": "x"}, "g has the attribute 'href': leave it out"),
        ("g", {"src": "x"}, "g has the attribute 'src': leave it out"),
        (
            "g",
            {"style": "Fill:red"},
            "g has Fill='red', which is not drawn here: leave it out, or draw the shape as it is seen",
        ),
    ],
)
def test_all_else_is_refused_by_name(element: str, raw: dict[str, str], expected: str) -> None:
    """The message says what to do instead."""
    assert expected == refusal(element, raw)


@pytest.mark.parametrize("style", ["fill", "/* */fill:red", "fill:re\\d", "fill:red!important", "@x", "a{fill:red}"])
def test_a_style_is_a_plain_list_of_declarations(style: str) -> None:
    """Comments, escapes, rules and importance are refused with what to write."""
    assert refusal("path", {"style": style}).endswith("write plain declarations such as fill:none;display:none")


@pytest.mark.parametrize(
    ("value", "seen"),
    [
        ("1", True),
        ("0", False),
        ("100%", True),
        ("0%", False),
        ("1.5", True),
        ("-0.5", False),
        ("+1e0", True),
        (".0", False),
    ],
)
def test_an_opacity_shows_all_or_nothing(value: str, *, seen: bool) -> None:
    """Numbers and percentages beyond the range are clamped to it (CSS Color 3, section 3.2)."""
    assert seen == opacity("path", "opacity", value)


@pytest.mark.parametrize(
    ("value", "advice"),
    [
        ("0.5", "a film is opaque: set it to 1, or take the shape away"),
        ("99%", "a film is opaque: set it to 1, or take the shape away"),
        ("half", "write a number, 0 or 1"),
        ("1 ", "write a number, 0 or 1"),
    ],
)
def test_a_part_of_an_opacity_is_refused(value: str, advice: str) -> None:
    """A film is opaque."""
    with pytest.raises(DrawingError) as refused:
        opacity("g", "opacity", value)

    assert f"g has opacity={value!r}, which is not drawn here: {advice}" == str(refused.value)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("#f00", "#ff0000"),
        ("#00FF7f", "#00ff7f"),
        ("#f00f", "#ff0000"),
        ("#ff000000", None),
        ("rebeccapurple", "#663399"),
        ("transparent", None),
        ("rgb(255, 0,0)", "#ff0000"),
        ("rgb(100%,0%,0%)", "#ff0000"),
        ("rgba(0,0,255,1)", "#0000ff"),
        ("rgba(0,0,255,0)", None),
        ("hsl(120,100%,25%)", "#008000"),
    ],
)
def test_a_colour_is_read_as_hexadecimal(value: str, expected: str | None) -> None:
    """Hexadecimal, by name, and as functions with commas (CSS Color 3, section 4); without opacity it is none."""
    assert expected == colour("path", "fill", value)


@pytest.mark.parametrize(
    ("value", "advice"),
    [
        ("#f008", "a film is opaque: set its opacity to 1"),
        ("rgba(0,0,0,0.5)", "a film is opaque: set its opacity to 1"),
        ("#f", "write a colour such as #000000, or none"),
        ("nocolour", "write a colour such as #000000, or none"),
        ("rgb(1 2 3)", "write a colour such as #000000, or none"),
        ("lab(50,0,0)", "write a colour such as #000000, or none"),
    ],
)
def test_what_is_no_opaque_colour_is_refused(value: str, advice: str) -> None:
    """Notations that renderers read in different ways are refused with the rest."""
    with pytest.raises(DrawingError) as refused:
        colour("path", "fill", value)

    assert f"path has fill={value!r}, which is not drawn here: {advice}" == str(refused.value)
