"""Verdicts by their severity."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from featherline.wire.verdicts import Reason, Verdict

SEVERITY: Final[dict[Verdict, int]] = {"ready": 0, "trial": 1, "decline": 2}


def worst_first(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """Return reasons with those that decide first, each once and otherwise in order."""
    return tuple(sorted(dict.fromkeys(reasons), key=lambda reason: -SEVERITY[reason.verdict]))


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the worst of verdicts; of none: ready."""
    return max(verdicts, key=SEVERITY.__getitem__, default="ready")
