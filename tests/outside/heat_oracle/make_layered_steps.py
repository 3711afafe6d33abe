"""Writes `layered_steps.json`: temperatures in random stacks after a step, by Laplace transform, to 12 digits.

Run from the repository's root: ``python tests/outside/heat_oracle/make_layered_steps.py``. It shares no code with the
service. Each layer is Pipes' matrix of the transformed temperature and flux, each contact a resistance; the chain is
solved from the bottom up at every node of a fixed Talbot contour, in 40-digit arithmetic.

References:
    Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), section 3.7 (composite slabs by Laplace transform;
        section number from memory).
    Pipes, Philosophical Magazine 1957, matrix analysis of heat transfer problems (cited second-hand).
    Abate & Valko, International Journal for Numerical Methods in Engineering 60 (2004) 979-993: the fixed Talbot
        contour; ``mpmath.invertlaplace`` is a second implementation, compared below.
"""

from __future__ import annotations

import json
import random
from pathlib import Path

import mpmath

STACKS = 200
SEED = 20251125
CONTOUR = 24
DIGITS = 40
START_C, PLATEN_C = 20.0, 160.0


def log_uniform(draw: random.Random, low: float, high: float) -> float:
    """Return a number whose logarithm is uniform, with 4 significant digits, so that JSON holds it exactly."""
    return float(f"{low * (high / low) ** draw.random():.4g}")


def random_stack(draw: random.Random) -> dict:
    """Return layers from the top down, and the conductance above each and below the last; null: bonded."""
    layers = [
        {
            "thickness_m": log_uniform(draw, 0.05e-3, 12e-3),
            "conductivity_w_mk": log_uniform(draw, 0.03, 60.0),
            "capacity_j_m3k": log_uniform(draw, 0.1e6, 4e6),
        }
        for _ in range(draw.randint(2, 9))
    ]
    joints = [log_uniform(draw, 50.0, 20_000.0) for _ in range(len(layers) + 1)]
    for joint in range(1, len(layers)):
        if draw.random() < 0.4:
            joints[joint] = None
    times = sorted(log_uniform(draw, 0.2, 180.0) for _ in range(2))
    return {"layers": layers, "conductance_w_m2k": joints, "times_s": times}


def transformed(stack: dict, s: mpmath.mpc) -> list[mpmath.mpc]:
    """Return the transformed unit response at each layer's top, middle and bottom, from the top down."""
    joints = stack["conductance_w_m2k"]
    temperature, flux = mpmath.mpc(1), mpmath.mpc(joints[-1])
    found: list[mpmath.mpc] = []
    for layer, above in zip(reversed(stack["layers"]), reversed(joints[:-1]), strict=True):
        conductivity = mpmath.mpf(layer["conductivity_w_mk"])
        wave = mpmath.sqrt(s * mpmath.mpf(layer["capacity_j_m3k"]) / conductivity)
        found.append(temperature)
        for _ in range(2):
            half = wave * mpmath.mpf(layer["thickness_m"]) / 2
            cosh, sinh = mpmath.cosh(half), mpmath.sinh(half)
            temperature, flux = (
                temperature * cosh + flux * sinh / (conductivity * wave),
                temperature * conductivity * wave * sinh + flux * cosh,
            )
            found.append(temperature)
        if above is not None:
            temperature += flux / mpmath.mpf(above)
    return [value / (s * temperature) for value in reversed(found)]


def inverted(stack: dict, time_s: float) -> list[mpmath.mpf]:
    """Return the unit response at a time by the fixed Talbot contour."""
    t = mpmath.mpf(time_s)
    radius = mpmath.mpf(2 * CONTOUR) / (5 * t)
    total = [mpmath.exp(radius * t) * value.real / 2 for value in transformed(stack, mpmath.mpc(radius))]
    for node in range(1, CONTOUR):
        angle = node * mpmath.pi / CONTOUR
        cot = mpmath.cot(angle)
        s = radius * angle * (cot + 1j)
        weight = mpmath.exp(t * s) * (1 + 1j * (angle + (angle * cot - 1) * cot))
        total = [sum_ + (weight * value).real for sum_, value in zip(total, transformed(stack, s), strict=True)]
    return [radius / CONTOUR * value for value in total]


def main() -> None:
    """Draw the stacks, solve them, compare every fortieth with mpmath's own inversion, and write the file."""
    mpmath.mp.dps = DIGITS
    draw = random.Random(SEED)  # noqa: S311 - cases for a test
    stacks = []
    for number in range(STACKS):
        stack = random_stack(draw)
        stack["temperature_c"] = [
            [float(mpmath.nstr(START_C + (PLATEN_C - START_C) * value, 12)) for value in inverted(stack, time_s)]
            for time_s in stack["times_s"]
        ]
        if number % 40 == 0:
            second = mpmath.invertlaplace(
                lambda s, own=stack: transformed(own, s)[1], stack["times_s"][1], method="talbot"
            )
            assert abs(second - inverted(stack, stack["times_s"][1])[1]) < 1e-9, number
        stacks.append(stack)
    written = {"start_c": START_C, "platen_c": PLATEN_C, "stacks": stacks}
    Path(__file__).with_name("layered_steps.json").write_text(json.dumps(written, separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
