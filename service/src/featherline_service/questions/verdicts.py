"""Verdicts by their severity."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from featherline.wire.verdicts import Verdict

SEVERITY: Final[dict[Verdict, int]] = {"ready": 0, "trial": 1, "decline": 2}


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the worst of verdicts; of none: ready."""
    return max(verdicts, key=SEVERITY.__getitem__, default="ready")
