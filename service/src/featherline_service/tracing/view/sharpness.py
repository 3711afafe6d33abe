"""How sharp and how strong a photo shows the marks of its sheet."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.tracing.sheet import MARK_MM
from featherline_service.tracing.view.camera import Camera
from featherline_service.tracing.view.illumination import PAPER, Bytes, Levelled
from featherline_service.tracing.view.sampling import sample

Floats = NDArray[np.float64]

_REACH_MM: Final = 2.0
_STEP_MM: Final = 0.1
_SHARES: Final = np.linspace(0.25, 0.75, 11)
_USUAL: Final = 80.0
"""Percentile of all marks that counts: the worst may lie under a finger."""


class Sharpness(NamedTuple):
    """How wide an edge is [mm], in the worse of two directions, and how much darker ink is than paper, of 255."""

    blur_mm: float
    contrast: float


def measure(levelled: Levelled, camera: Camera, marks: Floats) -> Sharpness:
    """Return how sharp and how strong the marks are.

    Across each side of each mark the value rises from ink to paper; the rise by the steepest slope is the edge's width:
    2.5 deviations of a Gaussian blur, all of the way of a motion.

    Args:
        levelled: The photo without its light.
        camera: How it shows the sheet.
        marks: The top left corner of each mark that was seen, as it is drawn [mm], shape (n, 2).
    """
    away = np.arange(-_REACH_MM, _REACH_MM + 0.5 * _STEP_MM, _STEP_MM)
    along, across = np.meshgrid(MARK_MM * _SHARES, away, indexing="ij")
    sides = (
        np.stack([along, -across], axis=-1),
        np.stack([along, MARK_MM + across], axis=-1),
        np.stack([-across, along], axis=-1),
        np.stack([MARK_MM + across, along], axis=-1),
    )
    widths, rises = [], []
    for side in sides:
        profile = sample(levelled.value, camera.project(marks[:, None, None, :] + side)).mean(axis=1)
        rise = profile[:, -8:].mean(axis=1) - profile[:, :8].mean(axis=1)
        slope = np.max(profile[:, 2:] - profile[:, :-2], axis=1) / (2.0 * _STEP_MM)
        widths.append(rise / np.maximum(slope, 1e-3))
        rises.append(rise)
    by_direction = [float(np.percentile(np.concatenate(pair), _USUAL)) for pair in (widths[:2], widths[2:])]
    middles = camera.project(marks + 0.5 * MARK_MM)
    light = _light_at(levelled.light, middles, levelled.value)
    contrast = light * np.mean(rises, axis=0) / PAPER
    return Sharpness(max(by_direction), float(np.percentile(contrast, 100.0 - _USUAL)))


def _light_at(light: Bytes, pixels: Floats, value: Bytes) -> Floats:
    shrunk = np.array(light.shape[::-1]) / np.array(value.shape[::-1])
    return sample(light, pixels * shrunk)
