from __future__ import annotations

import math

import numpy as np
import pytest

from featherline_service.tracing.view.camera import Camera, fit


def pinhole(tilt_deg: float, height_mm: float = 350.0, bend: tuple[float, float] = (0.0, 0.0)) -> Camera:
    """Return a camera of a known pose above the sheet's middle, by the pinhole model; a phone's focal length."""
    focal = 0.6 * math.hypot(1_600, 1_200)
    angle = math.radians(tilt_deg)
    turn = np.array(
        [[math.cos(angle), 0.0, math.sin(angle)], [0.0, 1.0, 0.0], [-math.sin(angle), 0.0, math.cos(angle)]]
    )
    middle = np.array([148.5, 105.0, 0.0])
    pose = np.column_stack((turn[:, 0], turn[:, 1], np.array([0.0, 0.0, height_mm]) - turn @ middle))
    inside = np.array([[focal, 0.0, 799.5], [0.0, focal, 599.5], [0.0, 0.0, 1.0]])
    return Camera(inside @ pose, bend, (799.5, 599.5), 0.5 * math.hypot(1_600, 1_200))


GRID = np.stack(np.meshgrid(np.linspace(10.0, 287.0, 6), np.linspace(10.0, 200.0, 5)), axis=-1).reshape(-1, 2)


@pytest.mark.parametrize("tilt", [0.0, 12.0, -20.0])
def test_a_camera_is_known_again_by_what_it_shows(tilt: float) -> None:
    """From points alone the plane and the bend come back; points of the photo are located where they are."""
    camera = pinhole(tilt, bend=(0.03, -0.01))

    found = fit(GRID, camera.project(GRID), (1_600, 1_200))

    between = GRID + np.array([3.0, 4.0])
    assert pytest.approx(camera.project(between), abs=0.01) == found.project(between)
    assert pytest.approx(between, abs=0.005) == found.locate(camera.project(between))
    assert pytest.approx(camera.bend, abs=0.004) == found.bend


@pytest.mark.parametrize("tilt", [0.0, 10.0, 20.0])
def test_the_slant_is_the_tangent_of_the_ray(tilt: float) -> None:
    """Below the middle of the photo it is that of the tilt; elsewhere that of the ray through the point."""
    slant = pinhole(tilt).slant(np.array([[148.5, 105.0], [248.5, 105.0]]))

    angle = math.radians(tilt)
    along = math.cos(angle) * 100.0, 350.0 - math.sin(angle) * 100.0
    assert pytest.approx(math.tan(angle), abs=1e-9) == slant[0]
    assert pytest.approx(abs(math.tan(math.atan2(*along) - angle))) == slant[1]


def test_the_scale_is_that_of_the_shorter_direction() -> None:
    """From straight above it is the focal length by the height; at a tilt, the foreshortened direction counts."""
    middle = np.array([[148.5, 105.0]])

    assert pytest.approx(0.6 * 2_000.0 / 350.0, rel=1e-3) == pinhole(0.0).scale(middle)[0]
    assert (
        pytest.approx(0.6 * 2_000.0 / 350.0 * math.cos(math.radians(20.0)), rel=1e-2) == pinhole(20.0).scale(middle)[0]
    )
