"""From the sheet to the photo and back: a plane seen by a camera whose lens bends straight lines a little.

References:
    R. Hartley, A. Zisserman, Multiple View Geometry in Computer Vision, 2nd edition (2004), algorithm 4.2 (normalised
    direct linear transformation) and section 7.4 (radial distortion) (from memory).
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_BEND_SPREAD: Final = (0.05, 0.03)
"""Of the two radial terms at the corner of a photo: cameras straighten their pictures to about so much; a guess."""
_CORNER_PX: Final = 0.15
"""How exactly a corner is seen; a guess."""
_STEPS: Final = 8
_SMALL: Final = 1e-6
_UNBEND_STEPS: Final = 12
_FOCAL_SHARE: Final = 0.60
"""[-] Of the diagonal: a phone's main camera has about 26 mm to a 43 mm diagonal (from memory)."""


class Camera(NamedTuple):
    """How a photo shows the plane of a sheet.

    `plane` maps millimetres to straightened pixels (3, 3); around `middle` [px], at distances in `unit` [px], the lens
    draws a point at ``1 + bend[0] r^2 + bend[1] r^4`` times its distance.
    """

    plane: Floats
    bend: tuple[float, float]
    middle: tuple[float, float]
    unit: float

    def project(self, points: Floats) -> Floats:
        """Return where points of the sheet [mm] are in the photo [px], shape (..., 2)."""
        straight = _apply(self.plane, points)
        away = (straight - self.middle) / self.unit
        square = np.sum(away**2, axis=-1, keepdims=True)
        return np.asarray(self.middle + self.unit * away * (1.0 + self.bend[0] * square + self.bend[1] * square**2))

    def locate(self, pixels: Floats) -> Floats:
        """Return where on the sheet [mm] points of the photo are [px], shape (..., 2)."""
        seen: Floats = (pixels - self.middle) / self.unit
        away = seen
        for _ in range(_UNBEND_STEPS):
            square = np.sum(away**2, axis=-1, keepdims=True)
            away = seen / (1.0 + self.bend[0] * square + self.bend[1] * square**2)
        straight: Floats = self.middle + self.unit * away
        back: Floats = np.asarray(np.linalg.inv(self.plane), dtype=np.float64)
        return _apply(back, straight)

    def scale(self, points: Floats) -> Floats:
        """Return the pixels of a millimetre at points of the sheet, the fewest of any direction."""
        step = 0.5
        step_x, step_y = np.array([step, 0.0]), np.array([0.0, step])
        by_x = (self.project(points + step_x) - self.project(points - step_x)) / (2.0 * step)
        by_y = (self.project(points + step_y) - self.project(points - step_y)) / (2.0 * step)
        smallest: Floats = np.linalg.svd(np.stack([by_x, by_y], axis=-1), compute_uv=False)[..., -1]
        return smallest

    def slant(self, points: Floats) -> Floats:
        """Return the tangent of the angle at which the camera sees the sheet there, off from above.

        By so much, for each millimetre that the sheet is raised, a point seems to lie further away from the camera. The
        focal length is taken from what most phones have.
        """
        focal = _FOCAL_SHARE * 2.0 * self.unit
        inside = np.array([[focal, 0.0, self.middle[0]], [0.0, focal, self.middle[1]], [0.0, 0.0, 1.0]])
        pose = np.linalg.solve(inside, self.plane)
        pose /= math.sqrt(float(np.linalg.norm(pose[:, 0]) * np.linalg.norm(pose[:, 1])))
        upright = np.cross(pose[:, 0], pose[:, 1])
        upright /= np.linalg.norm(upright)
        rays = points[..., 0:1] * pose[:, 0] + points[..., 1:2] * pose[:, 1] + pose[:, 2]
        cosine = np.abs(rays @ upright) / np.linalg.norm(rays, axis=-1)
        return np.asarray(np.sqrt(1.0 / cosine**2 - 1.0))


def fit(sheet: Floats, photo: Floats, size: tuple[int, int]) -> Camera:
    """Return the camera that shows points of the sheet [mm] where they are in the photo [px], by least squares.

    Args:
        sheet: The points, shape (n, 2), four or more of them in general position.
        photo: Where they are, shape (n, 2).
        size: Width and height of the photo [px].
    """
    middle = (0.5 * (size[0] - 1), 0.5 * (size[1] - 1))
    unit = 0.5 * math.hypot(*size)
    plane = _homography(sheet, photo)
    values = np.concatenate((plane.ravel()[:8] / plane[2, 2], (0.0, 0.0)))
    # Each of the ten numbers in steps of its own size.
    sizes = np.maximum(np.abs(values), 1e-9)
    sizes[6:8] = 1e-4
    sizes[8:] = 1.0

    def camera(numbers: Floats) -> Camera:
        matrix = np.append(numbers[:8], 1.0).reshape(3, 3)
        return Camera(matrix, (float(numbers[8]), float(numbers[9])), middle, unit)

    def left(numbers: Floats) -> Floats:
        prior = _CORNER_PX * numbers[8:] / _BEND_SPREAD
        return np.concatenate(((camera(numbers).project(sheet) - photo).ravel(), prior))

    for _ in range(_STEPS):
        now = left(values)
        slopes = np.stack(
            [(left(values + _SMALL * sizes * (np.arange(10) == index)) - now) / _SMALL for index in range(10)], axis=1
        )
        step = np.linalg.lstsq(slopes, -now, rcond=None)[0]
        values = values + sizes * step
        if np.max(np.abs(step)) < 1e-9:  # noqa: PLR2004 - nothing moves any more
            break
    return camera(values)


def _apply(plane: Floats, points: Floats) -> Floats:
    mapped = points @ plane[:, :2].T + plane[:, 2]
    return np.asarray(mapped[..., :2] / mapped[..., 2:])


def _homography(sheet: Floats, photo: Floats) -> Floats:
    first, second = _normal(sheet), _normal(photo)
    a, b = _apply(first, sheet), _apply(second, photo)
    ones, none = np.ones(len(a)), np.zeros((len(a), 3))
    known = np.column_stack((a, ones))
    rows = np.concatenate(
        (np.hstack((known, none, -b[:, :1] * known)), np.hstack((none, known, -b[:, 1:] * known))), axis=0
    )
    _, _, axes = np.linalg.svd(rows)
    return np.asarray(np.linalg.solve(second, axes[-1].reshape(3, 3) @ first))


def _normal(points: Floats) -> Floats:
    """Return the similarity that takes points to the origin, at a distance of about the root of two."""
    middle = points.mean(axis=0)
    scale = math.sqrt(2.0) / max(float(np.mean(np.hypot(*(points - middle).T))), 1e-12)
    return np.array([[scale, 0.0, -scale * middle[0]], [0.0, scale, -scale * middle[1]], [0.0, 0.0, 1.0]])
