"""A photo from its bytes: what it may be, and how much of it is decoded.

Two formats, each read by its own reader: none is guessed, and nothing but the picture itself is looked at. What a
camera wrote beside it (place, time, turn, a small picture) is never read; the marks say which way is up. The size is
checked from the header before any of the picture is decoded.
"""

from __future__ import annotations

import io
import math
import warnings
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image, JpegImagePlugin, PngImagePlugin

from featherline_service.tracing.refusal import RefusalError

MediaType = Literal["image/jpeg", "image/png"]
Pixels = NDArray[np.uint8]

_BEGINS: Final[dict[MediaType, bytes]] = {"image/jpeg": b"\xff\xd8\xff", "image/png": b"\x89PNG\r\n\x1a\n"}
_READERS: Final = {"image/jpeg": JpegImagePlugin.JpegImageFile, "image/png": PngImagePlugin.PngImageFile}
_MOST_PIXELS: Final = 26_000_000
_MOST_PIXELS_WHOLE: Final = 14_000_000
"""Of a picture that its decoder holds as a whole: a progressive JPEG, a PNG."""
_SHORTEST: Final = 400
"""[px] Of the shorter side: fewer give no 2.2 for each millimetre of a sheet."""
_LONGEST_SHARE: Final = 4
"""How many times a photo's longer side is its shorter one at most, beyond any camera's."""
_WORKING: Final = 1_900_000
"""Pixels that a large photo keeps at least."""
_MOST_WORKING: Final = 2_600_000
_MOST_SCANS: Final = 64
"""Of a JPEG: a progressive one has about ten, and each takes as long as all of the picture."""
_START_OF_SCAN: Final = b"\xff\xda"
_AGAIN: Final = "Send it as the camera saved it, as JPEG or PNG."


def read(content: bytes, media_type: MediaType) -> Pixels:
    """Return the picture of a photo as it is worked on, red, green and blue, shape (height, width, 3).

    A large one is made smaller: of a JPEG, its finer part is not even decoded.

    Args:
        content: The bytes of a JPEG or PNG.
        media_type: Which of the two it is said to be.

    Raises:
        RefusalError: It is not of that type, too large, too small, of colours that no camera writes, or damaged.
    """
    if not content.startswith(_BEGINS[media_type]):
        raise RefusalError(
            "photo.other-type", "The body is no picture of the type {media_type}. " + _AGAIN, media_type=media_type
        )
    if media_type == "image/jpeg" and content.count(_START_OF_SCAN) > _MOST_SCANS:
        raise RefusalError(
            "photo.too-many-layers",
            "The picture comes in more than {most_scans} layers. " + _AGAIN,
            most_scans=_MOST_SCANS,
        )
    try:
        with warnings.catch_warnings(action="ignore"), _READERS[media_type](io.BytesIO(content)) as image:
            return _decoded(image)
    except RefusalError:
        raise
    except (OSError, SyntaxError, ValueError, LookupError, ArithmeticError, TypeError, AttributeError) as error:
        raise RefusalError("photo.damaged", "The picture is damaged or cut short. " + _AGAIN) from error


def _decoded(image: Image.Image) -> Pixels:
    wide, high = image.size
    longer, shorter = max(wide, high), min(wide, high)
    is_whole = image.format == "PNG" or "progressive" in image.info
    most = _MOST_PIXELS_WHOLE if is_whole else _MOST_PIXELS
    if wide * high > most:
        raise RefusalError(
            "photo.too-many-pixels",
            "The picture has {wide} x {high} pixels; of its kind at most {most} million can be "
            "taken. Set the camera to 12 megapixels or fewer.",
            wide=wide,
            high=high,
            most=most // 1000000,
        )
    if shorter < _SHORTEST or longer > _LONGEST_SHARE * shorter:
        raise RefusalError(
            "photo.too-few-pixels",
            "The picture has {wide} x {high} pixels, which is too few for a whole sheet. Send "
            "the photo itself, not a small copy or a part of it.",
            wide=wide,
            high=high,
        )
    if image.mode not in {"RGB", "RGBA", "L"}:
        raise RefusalError(
            "photo.colours", "The picture has colours that no camera writes ({mode}). " + _AGAIN, mode=image.mode
        )
    divisor = max(step for step in (1, 2, 4, 8) if step == 1 or wide * high >= _WORKING * step**2)
    image.draft("RGB", (-(-wide // divisor), -(-high // divisor)))  # of a PNG, it does nothing
    picture = image if image.mode == "RGB" else image.convert("RGB")
    left = divisor // max(1, round(longer / max(picture.size)))
    if left > 1:
        picture = picture.reduce(left)
    over = math.sqrt(picture.width * picture.height / _MOST_WORKING)
    if over > 1.0:
        size = round(picture.width / over), round(picture.height / over)
        picture = picture.resize(size, Image.Resampling.HAMMING)
    return np.asarray(picture)
