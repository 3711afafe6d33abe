from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from featherline_service.drawing.media import svg
from featherline_service.drawing.scene import Ink, Scene, Shape, Words

SQUARE = np.array([(1.0, 2.0), (11.0, 2.0), (11.0, 12.0)])
HOSTILE = [
    "</text><script>alert(1)</script>",
    "]]>&<!--",
    '"><image href="http://saltmarsh.test/x"/>',
    "<!DOCTYPE svg [<!ENTITY x SYSTEM 'file:///etc/passwd'>]>&x;",
    "\x00\x08\ufffe",
    "\u202eevil",
]


def scene(text: str) -> Scene:
    """Return a scene that says a text wherever words can be."""
    shape = Shape("artwork", (SQUARE,), Ink(fill="#f2c230", stroke="#111111", width=0.25, dash=(1.0, 0.5)))
    return Scene("drawing", text, text, 40.0, 20.0, (shape, Words(text, 3.0, 4.0, 2.5, "middle", bold=True, turn=90.0)))


def test_a_scene_is_written_at_true_size(read: Callable[[str], Any]) -> None:
    """Width and height are in millimetres and equal to the view box, so that a unit is a millimetre (SVG 1.1, 7.7)."""
    root = read(svg.write(scene("7"))).root

    assert ("40mm", "20mm", "0 0 40 20") == (root.get("width"), root.get("height"), root.get("viewBox"))


def test_shapes_and_words_are_written_as_they_are(read: Callable[[str], Any]) -> None:
    """Every attribute of ink and words is there, a turn counter-clockwise where SVG turns clockwise."""
    root = read(svg.write(scene("7"))).root
    path, text = root.find("{*}path"), root.find("{*}text")

    assert {
        "data-part": "artwork",
        "d": "M1 2L11 2L11 12Z",
        "fill": "#f2c230",
        "fill-rule": "evenodd",
        "stroke": "#111111",
        "stroke-width": "0.25",
        "stroke-linejoin": "round",
        "stroke-dasharray": "1 0.5",
    } == path.attrib
    assert {
        "x": "3",
        "y": "4",
        "font-size": "2.5",
        "fill": "#111111",
        "text-anchor": "middle",
        "font-weight": "bold",
        "transform": "rotate(-90 3 4)",
    } == text.attrib


def test_a_scene_has_a_name_for_those_who_cannot_see_it(read: Callable[[str], Any]) -> None:
    """The image is labelled by its title and description (SVG Accessibility API Mappings)."""
    root = read(svg.write(scene("Outer quarter"))).root
    labels = root.get("aria-labelledby").split()
    found = {element.get("id"): element.text for element in root.iter() if element.get("id")}

    assert "img" == root.get("role")
    assert ["Outer quarter", "Outer quarter"] == [found[label] for label in labels]


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_words_stay_words(read: Callable[[str], Any], text: str) -> None:
    """Markup in a text is shown and does nothing: no element, attribute or reference comes of it."""
    written = svg.write(scene(text))
    root = read(written).root

    assert {"svg", "title", "desc", "rect", "path", "text"} == {
        element.tag.rpartition("}")[2] for element in root.iter()
    }
    attributes = [each for element in root.iter() for each in element.attrib.items()]
    assert not [name for name, _ in attributes if name.startswith("on") or name.rpartition("}")[2] in {"href", "style"}]
    assert not [value for _, value in attributes if "url(" in value or "http" in value]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(st.characters(codec=None), max_size=60))
def test_any_words_make_well_formed_xml(read: Callable[[str], Any], text: str) -> None:
    """No text whatever breaks the document, set by itself or into a page."""
    assert 1 == len(read(svg.write(scene(text))).words)
    assert svg.fragment(scene(text)).startswith("<svg ")
