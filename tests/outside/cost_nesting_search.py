"""Find short nests of random rosters by a long random search, for `test_cost_nesting.py` to compare with.

It shares no code with the service. Every trial lays rows on the lowest segment of a skyline, each row filled by a
subset sum, with random noise in the choice among rows; the shortest trial within the time is kept.

    python tests/outside/cost_nesting_search.py 60 > tests/outside/cost_nesting_search.json
"""

from __future__ import annotations

import json
import math
import random
import sys
import time

STRIP_MM, GAP_MM, BORDER_MM = 500.0, 2.0, 3.0
ROSTERS, ROWS = 8, 30
STEPS_PER_MM = 10

Size = tuple[float, float]


def roster(seed: int) -> list[Size]:
    """Return the rectangles of thirty names and numbers, two of each, with their weed border [mm]."""
    drawn = random.Random(seed)  # noqa: S311 - nothing secret
    pieces = []
    for _ in range(ROWS):
        letters, digits = drawn.randint(4, 11), drawn.randint(1, 2)
        name = (round(letters * drawn.uniform(10, 12), 2) + 2 * BORDER_MM, 20 + 2 * BORDER_MM)
        number = (digits * 17 + 2 * BORDER_MM, 30 + 2 * BORDER_MM)
        pieces += [name, name, number, number]
    return pieces


def fullest(widths: list[int], room: int) -> list[int]:
    """Return the indices of the widths whose sum comes nearest to the room."""
    reached = [1]
    for width in widths:
        reached.append(reached[-1] | (reached[-1] << width) & ((1 << (room + 1)) - 1))
        if reached[-1] >> room:
            break
    target = reached[-1].bit_length() - 1
    chosen = []
    for which in range(len(reached) - 2, -1, -1):
        if not reached[which] >> target & 1:
            chosen.append(which)
            target -= widths[which]
    return chosen


def trial(sizes: list[Size], drawn: random.Random) -> float:  # noqa: C901 - one trial from start to end
    """Return the length of one random nest of rectangles that include their gap, on a strip that does."""
    strip = STRIP_MM + GAP_MM
    turn, blur, flat = drawn.random() < 0.8, drawn.choice((0.02, 0.05, 0.2, 0.5, 1)), drawn.choice((0, 0.1, 0.3, 1))
    classes: dict[float, list[tuple[float, int]]] = {}
    for which, (width, height) in enumerate(sizes):
        classes.setdefault(height, []).append((width, which))
        if turn:
            classes.setdefault(width, []).append((height, which))
    for own in classes.values():
        own.sort(reverse=True)
    laid: set[int] = set()
    line = [(0.0, strip)]  # height and width of every segment
    top = 0.0
    while len(laid) < len(sizes):
        at = min(range(len(line)), key=line.__getitem__)
        y, room = line[at]
        best: tuple[float, float, list[tuple[float, int]]] = (math.inf, 0, [])
        for height, own in classes.items():
            free = [one for one in own if one[1] not in laid and one[0] <= room + 1e-9]
            widths = [math.ceil(width * STEPS_PER_MM - 1e-6) for width, _ in free]
            row = [free[which] for which in fullest(widths, int(room * STEPS_PER_MM + 1e-6))]
            if row:
                unfilled = 1 - sum(width for width, _ in row) / room
                score = unfilled * height / 30 + flat * max(0, y + height - top) / 30 + blur * drawn.random()
                best = min(best, (score, height, row))
        _, height, row = best
        if row:
            width = sum(width for width, _ in row)
            laid |= {which for _, which in row}
            line[at : at + 1] = [(y + height, width), (y, room - width)]
            top = max(top, y + height)
        else:
            sides = [line[side][0] for side in (at - 1, at + 1) if 0 <= side < len(line)]
            line[at] = (min(sides), room)
        joined: list[tuple[float, float]] = []
        for y, width in line:
            if joined and abs(joined[-1][0] - y) < 1e-9:
                joined[-1] = (y, joined[-1][1] + width)
            elif width > 1e-9:
                joined.append((y, width))
        line = joined
    return top - GAP_MM


def search(sizes: list[Size], seconds: float, seed: int) -> tuple[float, int]:
    """Return the shortest length found in so many seconds, and the number of trials."""
    drawn = random.Random(seed)  # noqa: S311 - nothing secret
    grown = [(width + GAP_MM, height + GAP_MM) for width, height in sizes]
    best, trials, end = math.inf, 0, time.monotonic() + seconds
    while time.monotonic() < end:
        best, trials = min(best, trial(grown, drawn)), trials + 1
    return best, trials


def main() -> None:
    """Write the rosters and the shortest nests found."""
    seconds = float(sys.argv[1])
    found = []
    for seed in range(ROSTERS):
        sizes = roster(seed)
        best, trials = search(sizes, seconds, seed)
        found.append({"seed": seed, "sizes_mm": sizes, "shortest_mm": round(best, 6), "trials": trials})
    json.dump({"strip_mm": STRIP_MM, "gap_mm": GAP_MM, "seconds": seconds, "rosters": found}, sys.stdout)


if __name__ == "__main__":
    main()
