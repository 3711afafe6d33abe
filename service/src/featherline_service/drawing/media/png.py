"""PNG of an SVG picture without words: nothing is loaded, neither fonts nor files."""

from __future__ import annotations

from typing import Final

from resvg_py import svg_to_bytes

MEDIA_TYPE: Final = "image/png"


def write(svg: str) -> bytes:
    """Return an SVG document as a PNG of the width and height that it says [px].

    References:
        Portable Network Graphics (PNG) Specification, third edition, W3C.
    """
    return bytes(svg_to_bytes(svg_string=svg, skip_system_fonts=True))
