"""PNG of a picture."""

from __future__ import annotations

import struct

from featherline_service.drawing.media import png


def test_a_picture_becomes_a_png_of_its_size() -> None:
    """Signature and size are as the specification says (PNG, third edition, W3C, sections 5.2 and 11.2.1)."""
    written = png.write(
        '<svg xmlns="http://www.w3.org/2000/svg" width="64" height="32"><rect width="9" height="9"/></svg>'
    )

    assert b"\x89PNG\r\n\x1a\n" == written[:8]
    assert (b"IHDR", 64, 32) == (written[12:16], *struct.unpack(">II", written[16:24]))
