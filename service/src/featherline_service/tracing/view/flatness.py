"""The pale crosses of the field: where the paper is not flat, they are not where they are drawn."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from featherline_service.tracing.sheet import CROSS_ARM_MM, CROSS_WIDE_MM
from featherline_service.tracing.view.camera import Camera
from featherline_service.tracing.view.illumination import Bytes
from featherline_service.tracing.view.sampling import sample

Floats = NDArray[np.float64]

_STEP_MM: Final = 0.2
_SEARCH: Final = 9
"""Steps to each side in which a cross is sought."""
_TEMPLATE: Final = 15
"""Steps from the middle of a cross that are compared."""
_LIKE: Final = 0.8
"""Correlation from which on it is a whole cross, and not one that the tape covers in part."""
_LEAST: Final = 8.0
"""Deviation of its red, of 200, from which on something is drawn there at all."""


def offsets(red: Bytes, camera: Camera, crosses: Floats) -> Floats:
    """Return how far each visible cross is from its place as it is drawn [mm], shape (visible, 2)."""
    reach = _SEARCH + _TEMPLATE
    steps = _STEP_MM * np.arange(-reach, reach + 1)
    grid = np.stack(np.meshgrid(steps, steps), axis=-1)
    patches = sample(red, camera.project(crosses[:, None, None, :] + grid))
    template = _template()
    windows = np.lib.stride_tricks.sliding_window_view(patches, template.shape, axis=(1, 2))
    count = template.size
    means = windows.mean(axis=(-1, -2))
    deviations = np.sqrt(np.maximum((np.einsum("nijkl,nijkl->nij", windows, windows) / count) - means**2, 1e-6))
    scores = np.einsum("nijkl,kl->nij", windows, template) / (count * deviations)
    found = []
    for score, deviation in zip(scores, deviations, strict=True):
        row, column = np.unravel_index(np.argmax(score), score.shape)
        inside = 0 < row < 2 * _SEARCH and 0 < column < 2 * _SEARCH
        if inside and score[row, column] > _LIKE and deviation[row, column] > _LEAST:
            found.append(
                (_peak(score[row, column - 1 : column + 2]) + column, _peak(score[row - 1 : row + 2, column]) + row)
            )
    return _STEP_MM * (np.array(found).reshape(-1, 2) - _SEARCH)


def _template() -> Floats:
    """Return a cross a little blurred, dark on light, its mean 0 and its deviation 1."""
    steps = np.abs(_STEP_MM * np.arange(-_TEMPLATE, _TEMPLATE + 1))
    across = np.clip((0.5 * CROSS_WIDE_MM - steps) / 0.6 + 0.5, 0.0, 1.0)
    along = np.clip((CROSS_ARM_MM - steps) / 0.6 + 0.5, 0.0, 1.0)
    cross = -np.maximum(np.outer(across, along), np.outer(along, across))
    return np.asarray((cross - cross.mean()) / cross.std())


def _peak(values: Floats) -> float:
    """Return where between three values the parabola through them has its top, from the middle."""
    before, middle, after = values
    bend = before - 2.0 * middle + after
    return float(0.5 * (before - after) / bend) if bend < 0.0 else 0.0
