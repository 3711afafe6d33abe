"""How much what the recipes leave out would change a dwell: the platen's dip at closing, and a warm pad.

``python tests/outside/heat_left_out.py`` prints the figures that service/heat.md has. A pressing of smooth film on the
demo book's deck shoe, computed by finite volumes with the platen as a plate of metal under a heater, and pair after
pair on the same pad.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lu_factor, lu_solve

from featherline_service.book.loader import load
from featherline_service.heat.bond import dose
from featherline_service.heat.conduction import Stack
from featherline_service.questions.recipe.stacks import pile
from featherline_service.questions.recipe.windows import adhesive, published

Floats = NDArray[np.float64]

STEP_S: Final = 0.05
CELLS: Final = 24  # in each layer
SET_C: Final = 160.0
LONGEST_S: Final = 120.0

# Aluminium, EN 12524: 160 W/mK, 2800 kg/m3, 880 J/kgK. A plate of 12 mm, and the heat flow of 1.8 kW over 38 x 50 cm:
# round figures of a press of the trade (common practice, no source).
PLATE_M: Final = 0.012
PLATE_W_MK: Final = 160.0
PLATE_J_M3K: Final = 2800.0 * 880.0
HEATER_W_M2: Final = 1800.0 / (0.38 * 0.50)
OPEN_S: Final = 30.0  # from opening to the next closing: a shoe off, another on


class Figure(NamedTuple):
    """A case, the dwell [s] that bonds, and how far [K] the plate's face is below its setting at the most."""

    case: str
    dwell_s: float
    dip_k: float


class Press:
    """A stack under a plate of metal, or under a platen of constant temperature, in finite volumes."""

    def __init__(
        self, stack: Stack, upper: int, *, plate: bool, heater_w_m2: float = 0.0, above_c: float = SET_C
    ) -> None:
        """Lay out the cells from the platen down.

        Args:
            stack: the closed stack.
            upper: index of the upper's first layer.
            plate: whether the platen is a plate of metal; else its face has the set temperature throughout.
            heater_w_m2: heat flow into the plate while its face is below the set temperature.
            above_c: temperature of what lies over the stack where it is no plate.
        """
        thickness, conductivity, capacity, conductance = (np.asarray(part, dtype=np.float64) for part in stack)
        if plate:
            thickness, conductivity = np.insert(thickness, 0, PLATE_M), np.insert(conductivity, 0, PLATE_W_MK)
            capacity, conductance = np.insert(capacity, 0, PLATE_J_M3K), np.insert(conductance, 0, 1e-9)
        self.plate, self.heater_w_m2, self.above_c, self.upper = plate, heater_w_m2, above_c, upper + plate
        width = np.repeat(thickness / CELLS, CELLS)
        self.half = 0.5 * width / np.repeat(conductivity, CELLS)
        contact = np.zeros(width.size + 1)
        contact[::CELLS] = 1.0 / conductance
        self.flow = 1.0 / (np.concatenate(([0.0], self.half)) + contact + np.concatenate((self.half, [0.0])))
        self.store = width * np.repeat(capacity, CELLS)
        matrix = np.diag(-(self.flow[:-1] + self.flow[1:]) / self.store)
        matrix += np.diag(self.flow[1:-1] / self.store[1:], -1) + np.diag(self.flow[1:-1] / self.store[:-1], 1)
        self.solve = lu_factor(np.eye(width.size) - STEP_S * matrix)

    def start(self, room_c: float, pad: Floats | None = None) -> Floats:
        """Return the temperatures at closing; those of the pad's cells if they are not the room's."""
        cells = np.full(self.store.size, room_c)
        if self.plate:
            cells[:CELLS] = SET_C
        if pad is not None:
            cells[-CELLS:] = pad
        return cells

    def run(self, cells: Floats, below_c: float) -> Iterator[Floats]:
        """Yield the temperatures after each step: implicit Euler, the heater on while the plate is too cold."""
        while True:
            drive = np.zeros(cells.size)
            drive[-1] = self.flow[-1] * below_c / self.store[-1]
            if not self.plate:
                drive[0] = self.flow[0] * self.above_c / self.store[0]
            elif cells[CELLS - 1] < SET_C:
                drive[0] = self.heater_w_m2 / self.store[0]
            cells = lu_solve(self.solve, cells + STEP_S * drive)
            yield cells

    def bond_c(self, cells: Floats) -> float:
        """Return the temperature of the upper's upper face."""
        first = self.upper * CELLS
        through = (cells[first - 1] - cells[first]) * self.flow[first]
        return float(cells[first] + through * self.half[first])


def figures() -> Iterator[Figure]:
    """Yield the cases, the first with what the recipes assume."""
    book = load()
    film, upper = book.films["smooth"], book.uppers["leather-lined"]
    platen = book.platens["shoe-form"]
    pressed = pile(book, film, upper, book.pads[platen.pad], cover=book.covers["silicone-thin"], pressure_kpa=276.0)
    reference = pile(
        book, film, book.uppers[book.bench.reference_upper], book.pads[book.bench.reference_pad], cover=None,
        pressure_kpa=book.bench.reference_pressures.medium_kpa,
    )  # fmt: skip
    room_c, bonding, setting = book.bench.room_c, adhesive(film), published(film)
    kinetics = (setting.platen_c, bonding.onset_c, bonding.activation_j_mol)

    def followed(press: Press, cells: Floats) -> tuple[Floats, list[Floats]]:
        steps = [cells]
        runs = press.run(cells, room_c)
        while len(steps) * STEP_S <= LONGEST_S:
            steps.append(next(runs))
        bond = np.array([press.bond_c(step) for step in steps])
        return np.asarray(dose(STEP_S * np.arange(bond.size), bond, *kinetics)), steps

    def dwell_of(gathered: Floats) -> float:
        reached = int(np.searchsorted(gathered, needed))
        return reached * STEP_S if reached < gathered.size else math.inf

    cloth = Press(reference.closed, reference.upper, plate=False)
    gathered, _ = followed(cloth, cloth.start(room_c))
    needed = float(gathered[round(setting.shortest_s / STEP_S)])

    ideal = Press(pressed.closed, pressed.upper, plate=False)
    gathered, steps = followed(ideal, ideal.start(room_c))
    yield Figure("a platen of constant temperature, a pad as cold as the room", dwell_of(gathered), 0.0)
    for words, heater in (("no heater", 0.0), ("its heater", HEATER_W_M2)):
        plate = Press(pressed.closed, pressed.upper, plate=True, heater_w_m2=heater)
        gathered, cells = followed(plate, plate.start(room_c))
        dip = SET_C - min(float(step[CELLS - 1]) for step in cells)
        yield Figure(f"a plate of {PLATE_M * 1000:g} mm aluminium with {words}", dwell_of(gathered), dip)

    # The pad in the open press: the pressed shoe comes off at once, and the pad lies bare until the next closing.
    pad = Stack(
        *(part[-1:] for part in pressed.opened[:3]), np.array([book.bench.room_air_w_m2k, pressed.opened[3][-1]])
    )
    idle = Press(pad, 0, plate=False, above_c=room_c)
    warm, dwell_s = None, dwell_of(followed(ideal, ideal.start(room_c))[0])
    for pair in range(2, 21):
        _, steps = followed(ideal, ideal.start(room_c, warm))
        cells = steps[round(dwell_s / STEP_S)][-CELLS:]
        open_steps = idle.run(cells, room_c)
        for _ in range(round(OPEN_S / STEP_S)):
            cells = next(open_steps)
        warm = cells
        if pair in {2, 5, 20}:
            gathered, _ = followed(ideal, ideal.start(room_c, warm))
            yield Figure(
                f"pair {pair} of a run, its pad {float(warm.max()):.0f} degC at the most", dwell_of(gathered), 0.0
            )


if __name__ == "__main__":
    for figure in figures():
        print(f"{figure.dwell_s:5.1f} s, {figure.dip_k:4.1f} K: {figure.case}")
