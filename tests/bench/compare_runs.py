"""Compare runs of the measurements: ``python compare_runs.py --before FILE... --after FILE...``, as --json wrote them.

Prints for each measure its ratio to its baseline before and after, and the quotient of the two; for what has no
baseline, the figures themselves. Of several runs on a side the median counts: on a shared machine a ratio moves by a
tenth from run to run, so give three of each. Returns 1 if a measure got worse by more than `--most` percent.
"""

from __future__ import annotations

import argparse
import json
import re
import statistics
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

_NUMBER: Final = re.compile(r"\d[\d.,]*(?:e-?\d+)?")
_SHARES: Final = "%"  # of a whole: more of one is less of another, so neither is worse

Key = tuple[str, str, int]


class Change(NamedTuple):
    """A measure before and after: ratios to its baseline, or figures of a unit."""

    name: str
    baseline: str
    before: float
    after: float

    @property
    def quotient(self) -> float:
        """How many times the former figure the new one is; less is better. Infinite where the former is zero."""
        if self.before == self.after:
            return 1.0
        return self.after / self.before if self.before else float("inf")


def changes(before: Iterable[dict[str, Any]], after: Iterable[dict[str, Any]]) -> list[Change]:
    """Return the change of everything that was measured on both sides, in the order of the new side."""
    old, new = (_medians(side) for side in (before, after))
    return [Change(name, baseline, old[key][2], value) for key, (name, baseline, value) in new.items() if key in old]


def worse(found: Sequence[Change], most_percent: float) -> list[Change]:
    """Return what got worse by more than so many percent."""
    return [each for each in found if each.baseline != _SHARES and each.quotient > 1.0 + most_percent / 100.0]


def _medians(runs: Iterable[dict[str, Any]]) -> dict[Key, tuple[str, str, float]]:
    """Return name, baseline or unit, and median of each figure of some runs."""
    values: dict[Key, list[float]] = {}
    names: dict[Key, tuple[str, str]] = {}
    for run in runs:
        seen: Counter[tuple[str, str]] = Counter()
        figures = [(each["name"], each["baseline"], each["ratio"]) for each in run["results"]]
        figures += [(each["name"], each["unit"], each["value"]) for each in run["facts"]]
        for name, baseline, value in figures:
            # Numbers in a name may be figures themselves ("flood of 315/s"): those of a kind are told apart by order.
            kind = (_NUMBER.sub("#", name), _NUMBER.sub("#", baseline))
            key = (*kind, seen[kind])
            seen[kind] += 1
            values.setdefault(key, []).append(value)
            names[key] = (name, baseline)
    return {key: (*names[key], statistics.median(several)) for key, several in values.items()}


def main(arguments: Sequence[str] | None = None) -> int:
    """Compare, print, and return 1 if something got worse."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--before", type=Path, nargs="+", required=True, metavar="FILE")
    parser.add_argument("--after", type=Path, nargs="+", required=True, metavar="FILE")
    parser.add_argument("--most", type=float, default=5.0, metavar="PERCENT", help="how much worse may be (5)")
    chosen = parser.parse_args(arguments)
    before, after = ([json.loads(file.read_bytes()) for file in side] for side in (chosen.before, chosen.after))
    found = changes(before, after)
    print(f"{'':42} {'before':>9} {'after':>9} {'quotient':>9}  of")
    for each in found:
        print(f"{each.name:42} {each.before:9.4g} {each.after:9.4g} {each.quotient:9.3f}  {each.baseline}")
    late = worse(found, chosen.most)
    if late:
        print(f"Worse by more than {chosen.most:g} %: {', '.join(each.name for each in late)}")
    else:
        print(f"Nothing is worse by more than {chosen.most:g} %.")
    return 1 if late else 0


if __name__ == "__main__":
    sys.exit(main())
