"""Pictures of a marked shoe: their colours, films' effects, ids and size."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree as ET

import pytest
import shapely

from featherline_service.drawing import shoe_pictures
from featherline_service.drawing.shoe_pictures import Effect, Finish, Mark, Panel, Part, Picture

SVG = "{http://www.w3.org/2000/svg}"
SQUARE = shapely.box(10.0, 10.0, 20.0, 20.0)
RING = shapely.difference(SQUARE, shapely.box(13.0, 13.0, 17.0, 17.0))


def picture(*marks: Mark, **other: object) -> Picture:
    """Return a picture of marks on a panel."""
    panel = Panel(shapely.box(0.0, 0.0, 40.0, 30.0), "#1d2b44")
    return Picture("A shoe", 40.0, 30.0, 400, marks, panels=(panel,))._replace(**other)


def read(drawn: Picture) -> ET.Element:
    """Return a picture as it is parsed."""
    return ET.fromstring(shoe_pictures.write(drawn))  # noqa: S314 - our own


def ids(root: ET.Element) -> Iterator[str]:
    """Yield the ids of a picture."""
    return (element.get("id", "") for element in root.iter() if element.get("id"))


@pytest.mark.parametrize(
    ("by", "expected"), [(0.0, "#804020"), (-1.0, "#000000"), (1.0, "#ffffff"), (-0.5, "#402010"), (0.5, "#c0a090")]
)
def test_a_shade_lies_between_black_and_white(by: float, expected: str) -> None:
    """It is the mixture of the colour with one of them, component by component."""
    assert expected == shoe_pictures.shade("#804020", by)


def test_a_picture_names_itself_and_has_its_size() -> None:
    """It is an image named by its title (SVG Accessibility API Mappings, W3C), as wide as asked, in proportion."""
    root = read(picture(Mark(SQUARE, "#ffffff")))

    assert ("img", "A shoe") == (root.get("role"), root.findtext(f"{SVG}title"))
    assert root.get("aria-labelledby") == root.find(f"{SVG}title").get("id")  # type: ignore[union-attr]
    assert ("400", "300", "0 0 40 30") == (root.get("width"), root.get("height"), root.get("viewBox"))


@pytest.mark.parametrize("effect", ["none", "metallic", "reflective", "fluorescent", "flake", "glow"])
def test_an_effect_is_shown(effect: Effect) -> None:
    """Foil has bands of light, glass beads, glitter flecks, and what glows a halo; other films their plain colour."""
    root = read(picture(Mark(SQUARE, "#b8923a", effect)))
    painted = [path.get("fill", "").partition("#")[2].partition("-")[2].rstrip(")") for path in root.iter(f"{SVG}path")]
    halos = [path for path in root.iter(f"{SVG}path") if path.get("fill") == "none"]

    assert {
        "metallic": {"metal-b8923a"},
        "reflective": {"retro-b8923a", "beads-b8923a"},
        "flake": {"flakes-b8923a"},
    }.get(effect, set()) == set(filter(None, painted))
    assert (3 if effect == "glow" else 0) == len(halos)


@pytest.mark.parametrize(("finish", "paints"), [("matt", 0), ("glossy", 2), ("glitter", 2)])
def test_a_finish_is_shown(finish: Finish, paints: int) -> None:
    """A glossy or glittering shoe has light on its parts and panels."""
    panel = Panel(SQUARE, "#b9a36a", finish=finish)
    root = read(picture(panels=(panel,), parts=(Part("M0 0H9V9Z", "#b9a36a", finish=finish),)))

    assert paints == sum(path.get("fill", "").startswith("url(#") for path in root.iter(f"{SVG}path"))


def test_every_reference_is_to_an_id_of_its_own() -> None:
    """Two pictures in one page have no id in common, and neither refers to the other's paint."""
    first = read(picture(Mark(SQUARE, "#b8923a", "metallic"), Mark(RING, "#aaaaaa", "reflective")))
    second = read(picture(Mark(RING, "#b8923a", "metallic")))
    known = [set(ids(root)) for root in (first, second)]

    assert set() == known[0] & known[1]
    for root, own in zip((first, second), known, strict=True):
        fills = [path.get("fill", "") for path in root.iter(f"{SVG}path")]
        assert {fill[5:-1] for fill in fills if fill.startswith("url(#")} <= own
        assert [] == [element for element in root.iter() if element.get("class") or element.get("style")]


def test_lines_and_holes_are_drawn() -> None:
    """A part with a width is a line, dashed where it says so; eyelets are darker than their panel."""
    panel = Panel(shapely.box(0.0, 0.0, 40.0, 30.0), "#808080", holes=SQUARE)
    drawn = picture(panels=(panel,), parts=(Part("M0 0H9", "#010203", 0.8, 2.5), Part("M0 1H9", "#010203", 0.8)))
    lines = [path.attrib for path in read(drawn).iter(f"{SVG}path") if path.get("stroke") == "#010203"]

    assert [("0.8", "2.5"), ("0.8", None)] == [(line["stroke-width"], line.get("stroke-dasharray")) for line in lines]
    assert "#333333" in shoe_pictures.write(drawn)
    empty = shapely.MultiPolygon()
    assert "#333333" not in shoe_pictures.write(picture(panels=(panel._replace(holes=empty),)))


def test_the_other_shoe_is_turned_over_and_parts_grow() -> None:
    """All of the sheet is mirrored in itself; the parts' path data grows, as their size is that of the reference."""
    text = shoe_pictures.write(picture(parts=(Part("M0 0H9V9Z", "#010203"),), growth=(1.1, 0.9), mirrored=True))

    assert 'transform="matrix(-1 0 0 1 40 0)"' in text
    assert 'transform="scale(1.1 0.9)"' in text


def test_a_mark_is_where_it_is_to_a_tenth_of_a_millimetre() -> None:
    """Its path data, summed up from its steps of a twentieth of a millimetre, is its outline."""
    root = read(picture(Mark(RING, "#ffffff")))
    group = next(group for group in root.iter(f"{SVG}g") if group.get("data-effect"))
    data = group.find(f"{SVG}path").get("d", "")  # type: ignore[union-attr]

    assert ("scale(0.05)", 2) == (group.get("transform"), data.count("z"))
    starts = [part.split("l")[0].split() for part in data.split("M")[1:]]
    corners = {(round(float(x) * 0.05, 6), round(float(y) * 0.05, 6)) for x, y in starts}
    assert corners <= {(x, y) for ring in (RING.exterior, *RING.interiors) for x, y in ring.coords}


def test_a_speck_is_not_drawn() -> None:
    """What is smaller than a step has no outline left, and is left out instead of drawn as nothing."""
    speck = shapely.box(10.0, 10.0, 10.01, 10.01)

    assert 'data-effect="none"' not in shoe_pictures.write(picture(Mark(speck, "#ffffff")))


def test_a_region_is_placed_by_its_matrix() -> None:
    """From y upwards to y downwards, by the matrix of SVG 1.1, section 7.4."""
    turned = shoe_pictures.placed(shapely.box(1.0, -3.0, 2.0, 0.0), (0.0, 1.0, -1.0, 0.0, 10.0, 20.0))

    assert (7.0, 21.0, 10.0, 22.0) == turned.bounds


def test_a_panel_alone_has_a_margin() -> None:
    """Of eight millimetres on all sides."""
    assert (2.0, 2.0, 26.0, 26.0) == shoe_pictures.alone(SQUARE)
