"""Values of a picture between its pixels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def sample(picture: NDArray[np.uint8], where: Floats) -> Floats:
    """Return the values of a picture at points [px], shape (..., 2), bilinearly; beyond its edge those at the edge.

    Args:
        picture: Shape (height, width), or (height, width, channels).
        where: x to the right and y downwards, from the middle of the first pixel.
    """
    rows, columns = picture.shape[:2]
    x = np.clip(where[..., 0], 0.0, columns - 1.001)
    y = np.clip(where[..., 1], 0.0, rows - 1.001)
    left, top = x.astype(np.intp), y.astype(np.intp)
    across, down = x - left, y - top
    if picture.ndim == 3:  # noqa: PLR2004 - colours
        across, down = across[..., None], down[..., None]
    above = picture[top, left] * (1.0 - across) + picture[top, left + 1] * across
    below = picture[top + 1, left] * (1.0 - across) + picture[top + 1, left + 1] * across
    return np.asarray(above * (1.0 - down) + below * down)
