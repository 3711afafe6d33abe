from __future__ import annotations

import io
import struct
import time
import zlib
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image

from featherline_service.tracing import photo
from featherline_service.tracing.refusal import RefusalError


def saved(form: str, size: tuple[int, int] = (1_000, 800), mode: str = "RGB", **options: Any) -> bytes:  # noqa: ANN401
    """Return a plain picture."""
    buffer = io.BytesIO()
    Image.new(mode, size, 128 if mode == "L" else None).save(buffer, form, **options)
    return buffer.getvalue()


def chunk(name: bytes, content: bytes) -> bytes:
    """Return a part of a PNG (ISO/IEC 15948, section 5.3)."""
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


def png(width: int, height: int, content: bytes, more: bytes = b"") -> bytes:
    """Return a PNG whose header says what it likes."""
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + header + more + chunk(b"IDAT", content) + chunk(b"IEND", b"")


def with_size(jpeg: bytes, width: int, height: int) -> bytes:
    """Return a JPEG whose header says another size (ISO/IEC 10918-1, B.2.2)."""
    at = jpeg.index(b"\xff\xc0") + 5
    return jpeg[:at] + struct.pack(">HH", height, width) + jpeg[at + 4 :]


def layered(jpeg: bytes) -> bytes:
    """Return a progressive JPEG whose last scan comes a hundred times."""
    at = jpeg.rindex(b"\xff\xda")
    return jpeg[:-2] + 100 * jpeg[at:-2] + jpeg[-2:]


@pytest.mark.parametrize(
    ("form", "size", "mode", "worked_on"),
    [
        ("JPEG", (1_000, 800), "RGB", (800, 1_000, 3)),
        ("JPEG", (3_264, 2_448), "RGB", (1_224, 1_632, 3)),
        ("PNG", (3_264, 2_448), "RGB", (1_224, 1_632, 3)),
        ("JPEG", (2_592, 1_944), "RGB", (1_396, 1_862, 3)),
        ("PNG", (1_000, 800), "RGBA", (800, 1_000, 3)),
        ("JPEG", (1_000, 800), "L", (800, 1_000, 3)),
    ],
)
def test_a_photo_is_made_smaller_in_its_own_colours(
    form: str, size: tuple[int, int], mode: str, worked_on: tuple[int, ...]
) -> None:
    """Whatever the camera writes becomes red, green and blue, at about two million pixels."""
    media_type: photo.MediaType = "image/jpeg" if form == "JPEG" else "image/png"
    assert worked_on == photo.read(saved(form, size, mode), media_type).shape


@pytest.mark.parametrize(
    ("make", "media_type", "told"),
    [
        (lambda: b"GIF89a" + bytes(100), "image/jpeg", "no picture of the type image/jpeg"),
        (lambda: saved("JPEG"), "image/png", "no picture of the type image/png"),
        (lambda: b"", "image/png", "no picture of the type image/png"),
        (lambda: b"\xff\xd8\xff" + bytes(range(256)) * 300, "image/jpeg", "damaged or cut short"),
        (lambda: saved("JPEG")[:600], "image/jpeg", "damaged or cut short"),
        (lambda: png(2_000, 1_500, zlib.compress(bytes(1_000))), "image/png", "damaged or cut short"),
        (lambda: png(60_000, 60_000, b"x"), "image/png", "60000 x 60000 pixels; of its kind at most 14 million"),
        (lambda: png(2**31 - 1, 2**31 - 1, b"x"), "image/png", "of its kind at most 14 million"),
        (lambda: with_size(saved("JPEG"), 65_500, 65_500), "image/jpeg", "of its kind at most 26 million"),
        (
            lambda: png(2_000, 1_500, b"x", chunk(b"iCCP", b"a\0\0" + zlib.compress(bytes(30_000_000)))),
            "image/png",
            "damaged or cut short",
        ),
        (
            lambda: png(2_000, 1_500, b"x", chunk(b"zTXt", b"a\0\0" + zlib.compress(bytes(30_000_000)))),
            "image/png",
            "damaged or cut short",
        ),
        (lambda: layered(saved("JPEG", progressive=True)), "image/jpeg", "more than 64 layers"),
        (lambda: saved("JPEG", mode="CMYK"), "image/jpeg", "colours that no camera writes"),
        (lambda: saved("PNG", (399, 800)), "image/png", "too few for a whole sheet"),
        (lambda: saved("PNG", (2_000, 480)), "image/png", "too few for a whole sheet"),
    ],
    ids=lambda value: value if isinstance(value, str) else "a body",
)
def test_what_is_no_photo_is_refused_at_once(make: Callable[[], bytes], media_type: photo.MediaType, told: str) -> None:
    """Each sort of hostile or broken file is refused by its header, in a fraction of what it would take to decode."""
    content = make()

    begun = time.process_time()
    with pytest.raises(RefusalError, match=told):
        photo.read(content, media_type)

    assert time.process_time() - begun < 0.2
