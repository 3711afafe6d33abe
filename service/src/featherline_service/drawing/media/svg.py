"""SVG of a scene: self-contained, at its true size, with a title and a description for screen readers.

The ids of a picture are its own, so that several can stand in one page. Parts are told by `data-part`, not by classes
that the styles of a page around it might have.
"""

from __future__ import annotations

from hashlib import sha256
from typing import Final
from xml.etree import ElementTree as ET

from featherline_service.drawing.printable import printable
from featherline_service.drawing.scene import Points, Scene, Shape, Words

MEDIA_TYPE: Final = "image/svg+xml"
_NAMESPACE: Final = "http://www.w3.org/2000/svg"
_FACE: Final = "Helvetica, Arial, sans-serif"
_LONGEST_WORDS: Final = 1000


def write(scene: Scene) -> str:
    """Return a scene as an SVG document.

    References:
        Scalable Vector Graphics (SVG) 1.1, second edition; its title and desc elements by WAI-ARIA Graphics and SVG
            Accessibility API Mappings.
    """
    return ET.tostring(element(scene, namespace=_NAMESPACE), encoding="unicode", short_empty_elements=True) + "\n"


def fragment(scene: Scene) -> str:
    """Return a scene as an SVG element to be set into an HTML page."""
    return ET.tostring(element(scene), encoding="unicode", short_empty_elements=True)


def element(scene: Scene, *, namespace: str | None = None) -> ET.Element:
    """Return a scene as an element; without a namespace for a page of HTML, which needs none."""
    name = _own_name(scene)
    root = ET.Element(
        "svg",
        {
            **({"xmlns": namespace} if namespace else {}),
            "width": f"{_number(scene.width)}mm",
            "height": f"{_number(scene.height)}mm",
            "viewBox": f"0 0 {_number(scene.width)} {_number(scene.height)}",
            "role": "img",
            "aria-labelledby": f"{name}-title {name}-desc",
            "font-family": _FACE,
        },
    )
    ET.SubElement(root, "title", {"id": f"{name}-title"}).text = printable(scene.title, _LONGEST_WORDS)
    ET.SubElement(root, "desc", {"id": f"{name}-desc"}).text = printable(scene.description, _LONGEST_WORDS)
    ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": "#ffffff"})
    for item in scene.items:
        if isinstance(item, Words):
            _words(root, item)
        elif item.contours:
            _shape(root, item)
    return root


def _own_name(scene: Scene) -> str:
    """Return a prefix for ids that no scene with other content has."""
    digest = sha256(f"{scene.title}\n{scene.description}\n{scene.width} {scene.height}".encode(errors="replace"))
    for item in scene.items:
        if isinstance(item, Words):
            digest.update(repr(item).encode(errors="replace"))
        else:
            digest.update(repr((item.name, item.ink, item.closed)).encode())
            for points in item.contours:
                digest.update(points.tobytes())
    return f"{scene.name}-{digest.hexdigest()[:12]}"


def _shape(root: ET.Element, shape: Shape) -> None:
    ink = shape.ink
    attributes = {
        "data-part": shape.name,
        "d": "".join(_path(points, closed=shape.closed) for points in shape.contours),
    }
    attributes["fill"] = ink.fill or "none"
    if ink.fill is not None:
        attributes["fill-rule"] = "evenodd"
    if ink.stroke is not None:
        attributes |= {"stroke": ink.stroke, "stroke-width": _number(ink.width), "stroke-linejoin": "round"}
        if ink.dash:
            attributes["stroke-dasharray"] = " ".join(map(_number, ink.dash))
    ET.SubElement(root, "path", attributes)


def _words(root: ET.Element, words: Words) -> None:
    attributes = {
        "x": _number(words.x),
        "y": _number(words.y),
        "font-size": _number(words.size),
        "fill": words.colour,
    }
    if words.anchor != "start":
        attributes["text-anchor"] = words.anchor
    if words.bold:
        attributes["font-weight"] = "bold"
    if words.turn:
        attributes["transform"] = f"rotate({_number(-words.turn)} {_number(words.x)} {_number(words.y)})"
    ET.SubElement(root, "text", attributes).text = printable(words.text)


def _path(points: Points, *, closed: bool) -> str:
    there = "L".join(f"{_number(x)} {_number(y)}" for x, y in points.tolist())
    return f"M{there}Z" if closed else f"M{there}"


def _number(value: float) -> str:
    """Return a number to a thousandth, as short as it can be written."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
