"""Shoe sizes: the foot length of a marked size, and the growth of panels with it.

Sizes are sizes of the foot. A last is taken to be two barleycorns (16.93 mm) longer than the foot.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

INCH_MM: Final = 25.4
BARLEYCORN_MM: Final = INCH_MM / 3.0
# Growth of the joint girth for each whole English size, shoemakersacademy.com glossary, "joint girth": a quarter inch.
GIRTH_PER_SIZE_MM: Final = 6.35
GIRTH_PER_LENGTH: Final = GIRTH_PER_SIZE_MM / BARLEYCORN_MM

_ROUNDING: Final = 1e-9
# Shortest and longest feet for which shoes are made; from memory.
SHORTEST_FOOT_MM: Final = 80.0
LONGEST_FOOT_MM: Final = 360.0


Steps = Literal["halves", "thirds", "mondopoint"]


class SizeError(ValueError):
    """A size that its system does not have: it goes in other `steps`, or within `bounds`."""

    def __init__(
        self, system: str, size: float, steps: Steps | None = None, bounds: tuple[float, float] | None = None
    ) -> None:
        self.system, self.size, self.steps, self.bounds = system, size, steps, bounds
        goes = f"in {_STEPS[steps]}" if steps is not None else "from {:g} to {:g}".format(*(bounds or ()))
        super().__init__(f"{system} has no size {size:g}: it goes {goes}")


_STEPS: Final[dict[Steps, str]] = {
    "halves": "whole and half sizes",
    "thirds": "whole and half sizes, and thirds",
    "mondopoint": "multiples of 2.5 mm",
}


@dataclass(frozen=True)
class Scale:
    """A size system: size = (foot length - zero) / interval, both in millimetres, marked in steps of `step` sizes.

    With `thirds` it is also marked in thirds of a size.
    """

    interval: float
    zero: float
    step: float
    largest: float
    convention: str
    thirds: bool = False


def _inches(offset: float, convention: str, largest: float) -> Scale:
    """Return a scale of three sizes to the inch whose size is ``3 foot[in] - offset``."""
    return Scale(BARLEYCORN_MM, offset * BARLEYCORN_MM, 0.5, largest, convention)


# ISO/TS 19407:2015 for Mondopoint, JP and EU; the inch scales after cfm-calculator.com, "shoe size". All on the foot.
SCALES: Final = {
    "mondopoint": Scale(
        1.0, 0.0, 2.5, LONGEST_FOOT_MM, "Mondopoint (ISO 9407): the foot length in millimetres"
    ),
    "JP": Scale(10.0, 0.0, 0.5, LONGEST_FOOT_MM / 10.0, "Japan: the foot length in centimetres"),
    "EU": Scale(
        20.0 / 3.0, -40.0 / 3.0, 0.5, 56.0,
        "EU: 1.5 foot[cm] + 2, in sizes of 2/3 cm (Paris points) on a last 2 sizes longer than the foot",
        thirds=True,  # common practice, no source: shoes graded in English half sizes are marked EU 42 2/3
    ),
    "UK": _inches(23.0, "UK adult: 3 foot[in] - 23", 20.0),
    "UK-child": _inches(10.0, "UK child: 3 foot[in] - 10; the adult scale begins again after 13", 13.5),
    "US-men": _inches(22.0, "US men: 3 foot[in] - 22, one more than UK", 22.0),
    "US-women": _inches(
        20.5, "US women, common marking: 3 foot[in] - 20.5, one and a half more than US men", 22.0
    ),
    # Half a size from the common scale: a shoe of the same number is 4.2 mm longer.
    "US-women-FIA": _inches(21.0, "US women, FIA: 3 foot[in] - 21, one more than US men", 22.0),
    "US-child": _inches(29.0 / 3.0, "US child: 3 foot[in] - 9 2/3", 13.5),
}  # fmt: skip


def number(text: str) -> float:
    """Return the number of a size as it is marked: ``42``, ``42.5`` or ``42 2/3``."""
    whole, _, thirds = text.partition(" ")
    return float(whole) + (float(thirds[0]) / 3.0 if thirds else 0.0)


def foot_length(system: str, size: float) -> float:
    """Return the foot length of a size [mm].

    Args:
        system: A key of `SCALES`.
        size: The marked size, in whole or half sizes (EU: also in thirds; Mondopoint: multiples of 2.5 mm).

    Raises:
        SizeError: The system has no such size; the message says which sizes it has.

    References:
        ISO 9407:2019 (Mondopoint); ISO/TS 19407:2015 (conversion of sizing systems).
    """
    scale = SCALES[system]
    if not any(abs(size / step - round(size / step)) <= _ROUNDING for step in _steps(scale)):
        raise SizeError(
            system, size, "mondopoint" if system == "mondopoint" else "thirds" if scale.thirds else "halves"
        )
    foot = size * scale.interval + scale.zero
    if not 0.0 <= size <= scale.largest or not SHORTEST_FOOT_MM <= foot <= LONGEST_FOOT_MM:
        low = max(0.0, (SHORTEST_FOOT_MM - scale.zero) / scale.interval)
        high = min(scale.largest, (LONGEST_FOOT_MM - scale.zero) / scale.interval)
        low, high = -(-low // scale.step) * scale.step, high // scale.step * scale.step
        raise SizeError(system, size, bounds=(low, high))
    return foot


def _steps(scale: Scale) -> tuple[float, ...]:
    return (scale.step, 1.0 / 3.0) if scale.thirds else (scale.step,)


def exact_size(system: str, foot_mm: float) -> float:
    """Return the exact size of a foot in a system, not rounded to a marked size.

    Args:
        system: A key of `SCALES`.
        foot_mm: Foot length [mm].
    """
    scale = SCALES[system]
    return (foot_mm - scale.zero) / scale.interval


def growth(foot_mm: float, reference_foot_mm: float, reference_girth_mm: float) -> tuple[float, float]:
    """Return the growth of a panel with the foot: its factors along the length and around the girth.

    Args:
        foot_mm: Foot length of the size asked for [mm].
        reference_foot_mm: Foot length for which the panel is drawn [mm].
        reference_girth_mm: Joint girth at the reference foot length [mm].

    References:
        Grading by whole English sizes: one barleycorn in length, a quarter inch in joint girth (shoemakersacademy.com).
    """
    girth = reference_girth_mm + GIRTH_PER_LENGTH * (foot_mm - reference_foot_mm)
    return foot_mm / reference_foot_mm, girth / reference_girth_mm
