"""Light on a sheet taken out: each colour as a share of what paper would show at that place."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFilter

Bytes = NDArray[np.uint8]

_COARSE: Final = 320
"""[px] Of the longer side of the small picture in which the light is sought."""
_REACH: Final = 4
"""Times two pixels of it to each side: together more than the longest dark run in a mark, where the sheet fills it."""
_DARKEST: Final = 30.0
"""What is darker than this is no paper, and stays dark."""
PAPER: Final = 200
"""What paper has in the result, so that what is lighter than the paper around has room."""


class Levelled(NamedTuple):
    """A photo without its light, paper 200 everywhere, shape (height, width) each.

    `value` is the largest of red, green and blue: black is dark in it, and what is coloured is light, tape and hatching
    alike. `red` and `cool`, the larger of green and blue, tell which colour it has. `light` is what the paper had
    before, in a small picture.
    """

    value: Bytes
    red: Bytes
    cool: Bytes
    light: Bytes


def level(pixels: Bytes) -> Levelled:
    """Return a photo without its light.

    What is darker than its surroundings over less than a mark's size is filled up: largest, then smallest, of all in a
    window (a morphological closing), which follows the edge of a shadow.

    Args:
        pixels: Red, green and blue, shape (height, width, 3).
    """
    picture = Image.fromarray(pixels)
    size = picture.size
    factor = max(1, round(max(size) / _COARSE))
    small = picture.reduce(factor)
    for filter_ in (*[ImageFilter.MaxFilter(5)] * _REACH, *[ImageFilter.MinFilter(5)] * _REACH, ImageFilter.BoxBlur(3)):
        small = small.filter(filter_)
    channels = []
    for channel, light in zip(picture.split(), small.split(), strict=True):
        paper = np.asarray(light.resize(size, Image.Resampling.BILINEAR), dtype=np.float32)
        share = np.asarray(channel, dtype=np.float32)
        share *= PAPER / np.maximum(paper, _DARKEST)
        channels.append(np.minimum(share, 255.0, out=share).astype(np.uint8))
    red, green, blue = channels
    cool = np.maximum(green, blue)
    return Levelled(np.maximum(red, cool), red, cool, np.asarray(small.convert("L")))
