"""SVG attributes and CSS properties: read, unable to change a shape, or refused by name.

No attribute and no property of a style attribute is dropped without a rule. `attributes` refuses all names and values
that the tables below do not have.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Final

from coloraide import Color

from featherline_service.shape.outlines.curves import DrawingError

# Attributes that are read, by element.
_GEOMETRY: Final[Mapping[str, frozenset[str]]] = {
    "svg": frozenset({"viewBox", "preserveAspectRatio", "width", "height"}),
    "g": frozenset(),
    "path": frozenset({"d"}),
    "rect": frozenset({"x", "y", "width", "height", "rx", "ry"}),
    "circle": frozenset({"cx", "cy", "r"}),
    "ellipse": frozenset({"cx", "cy", "rx", "ry"}),
    "polygon": frozenset({"points"}),
    "polyline": frozenset({"points"}),
}
# Properties that are read, as attributes or in a style attribute.
_PAINTING: Final = frozenset({
    "fill", "fill-opacity", "fill-rule", "opacity", "color", "display", "visibility", "stroke", "stroke-opacity",
    "stroke-width",
})  # fmt: skip
# Properties that would change the shape, with the values that leave it as it is.
_HARMLESS: Final[Mapping[str, frozenset[str]]] = {
    "clip-path": frozenset({"none"}), "mask": frozenset({"none"}), "filter": frozenset({"none"}),
    "marker": frozenset({"none"}), "marker-start": frozenset({"none"}), "marker-mid": frozenset({"none"}),
    "marker-end": frozenset({"none"}), "clip": frozenset({"auto"}), "mix-blend-mode": frozenset({"normal"}),
    "vector-effect": frozenset({"none", "non-scaling-stroke"}),
}  # fmt: skip
# Attributes and properties that cannot change a filled shape: names and notes, settings of strokes (which are refused
# themselves), of text and of definitions (neither is drawn), and hints to renderers. `overflow` is here, since shapes
# outside the viewBox are refused, and `isolation`, since blending is.
_WITHOUT_EFFECT: Final = frozenset({
    "id", "role", "tabindex", "lang", "focusable", "autofocus", "version", "baseProfile", "zoomAndPan",
    "contentScriptType", "contentStyleType", "externalResourcesRequired", "enable-background", "pathLength", "overflow",
    "isolation", "stroke-linecap", "stroke-linejoin", "stroke-miterlimit", "stroke-dasharray", "stroke-dashoffset",
    "paint-order", "clip-rule", "color-interpolation", "color-interpolation-filters", "color-rendering",
    "color-profile", "shape-rendering", "image-rendering", "text-rendering", "pointer-events", "cursor", "stop-color",
    "stop-opacity", "flood-color", "flood-opacity", "lighting-color", "solid-color", "solid-opacity", "letter-spacing",
    "word-spacing", "white-space", "writing-mode", "direction", "unicode-bidi", "baseline-shift", "dominant-baseline",
    "alignment-baseline", "glyph-orientation-horizontal", "glyph-orientation-vertical", "kerning", "line-height",
    "font",
})  # fmt: skip
_WITHOUT_EFFECT_PATTERN: Final = re.compile(r"(?:aria|data|font|text)-.+|-[a-z]+-(?:font|stroke)(?:-.+)?")
_ADVICE: Final[Mapping[str, str]] = {
    "class": "save the drawing with presentation attributes instead of a style sheet",
    "transform": "write it as the attribute transform",
    "transform-origin": "apply the transform to the shape",
    "transform-box": "apply the transform to the shape",
    "clip-path": "cut the shape to what is seen",
    "mask": "cut the shape to what is seen",
    "filter": "draw the shape as it is seen",
    "systemLanguage": "keep one of the alternatives",
    "requiredFeatures": "keep one of the alternatives",
    "requiredExtensions": "keep one of the alternatives",
}
_DEFAULT_ADVICE: Final = "leave it out, or draw the shape as it is seen"
_LONGEST_SHOWN: Final = 40
# Notations of colours that all renderers read alike: hexadecimal, names, and functions with commas.
_PLAIN_COLOUR: Final = re.compile(
    r"#(?:[0-9a-fA-F]{3,4}|[0-9a-fA-F]{6}|[0-9a-fA-F]{8})|[a-zA-Z]+"
    r"|(?:rgba?|hsla?)\(\s*[0-9.]+%?(?:\s*,\s*[0-9.]+%?){2,3}\s*\)"
)
_OPACITY: Final = re.compile(r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)(%?)")


def attributes(element: str, raw: Mapping[str, str]) -> dict[str, str]:
    """Return the attributes of an element that are read, overridden by the properties of its style attribute.

    Args:
        element: Name of the element: ``svg``, ``g`` or a shape.
        raw: Its attributes. Names in a namespace are written with a blank after the namespace, and have no effect.

    Raises:
        DrawingError: An attribute or property is neither read nor without effect; the message names it.
    """
    read: dict[str, str] = {}
    for name, value in raw.items():
        if " " in name or name == "style":
            continue
        if name in {"x", "y"} and element == "svg":
            continue  # without effect on the outermost element (SVG 1.1 section 5.1.2)
        if name in _GEOMETRY[element] or (name == "transform" and element != "svg"):
            read[name] = value
        elif _is_read(element, name, value.strip()):
            read[name] = value.strip()
    styled = _declarations(element, raw.get("style", ""))
    return read | {name: value for name, value in styled if _is_read(element, name, value)}


def _declarations(element: str, style: str) -> list[tuple[str, str]]:
    """Return the properties and values of a style attribute; refuse what is not a plain list of declarations."""
    declarations = []
    if any(mark in style for mark in ("/*", "\\", "!", "{", "@")):
        raise _refused(element, "style", style, "write plain declarations such as fill:none;display:none")
    for declaration in style.split(";"):
        name, colon, value = declaration.partition(":")
        if colon:
            declarations.append((name.strip(), value.strip()))  # renderers differ on capitals: they are refused
        elif name.strip():
            raise _refused(element, "style", style, "write plain declarations such as fill:none;display:none")
    return declarations


def _is_read(element: str, name: str, value: str) -> bool:
    """Return whether a property is read; refuse it where it could change the shape otherwise."""
    if "url(" in value.lower():
        raise DrawingError(
            "svg.reference",
            "{element} refers to {value!r} by its {name}: give it itself",
            element=element,
            value=value[:_LONGEST_SHOWN],
            name=name,
        )
    if name.lower().startswith("on") or name in {"href", "src"}:
        raise DrawingError(
            "svg.attribute", "{element} has the attribute {name!r}: leave it out", element=element, name=name
        )
    if name in _PAINTING:
        return True
    harmless = name in _WITHOUT_EFFECT or _WITHOUT_EFFECT_PATTERN.fullmatch(name) is not None
    if not harmless and value not in _HARMLESS.get(name, ()):
        raise _refused(element, name, value, _ADVICE.get(name, _DEFAULT_ADVICE))
    return False


def _refused(element: str, name: str, value: str, advice: str) -> DrawingError:
    return DrawingError(
        "svg.attribute-value",
        "{element} has {name}={value!r}, which is not drawn here: {advice}",
        element=element,
        name=name,
        value=value[:_LONGEST_SHOWN],
        advice=advice,
    )


def opacity(element: str, name: str, value: str) -> bool:
    """Return whether an opacity leaves anything to be seen.

    Raises:
        DrawingError: It is neither 0 nor 1, since a film is opaque, or not a number.
    """
    match = _OPACITY.fullmatch(value)
    if match is None:
        raise _refused(element, name, value, "write a number, 0 or 1")
    share = float(match[1]) / (100.0 if match[2] else 1.0)
    if 0.0 < share < 1.0:
        raise _refused(element, name, value, "a film is opaque: set it to 1, or take the shape away")
    return share > 0.0


@lru_cache(maxsize=256)
def colour(element: str, name: str, value: str) -> str | None:
    """Return a colour as hexadecimal sRGB; None for a colour without opacity.

    Raises:
        DrawingError: It is not a colour, or partly transparent.

    References:
        CSS Color Module Level 3, W3C 2018, sections 4.1 to 4.3.
    """
    match = Color.match(value, fullmatch=True) if _PLAIN_COLOUR.fullmatch(value) else None
    if match is None:
        raise _refused(element, name, value, "write a colour such as #000000, or none")
    if match.color.alpha() == 0.0:
        return None
    if match.color.alpha() < 1.0:
        raise _refused(element, name, value, "a film is opaque: set its opacity to 1")
    return str(match.color.convert("srgb").to_string(hex=True, fit="clip"))
