from __future__ import annotations

import pytest

from featherline.wire.verdicts import Verdict
from featherline_service.questions.verdicts import SEVERITY, worst


@pytest.mark.parametrize(
    ("verdicts", "expected"),
    [
        ((), "ready"),
        (("ready", "trial"), "trial"),
        (("trial", "ready"), "trial"),
        (("trial", "decline"), "decline"),
        (("decline", "trial"), "decline"),
        (("decline", "ready", "trial"), "decline"),
    ],
)
def test_the_worst_verdict_counts(verdicts: tuple[Verdict, ...], expected: Verdict) -> None:
    """Declined beats trial beats ready."""
    assert expected == worst(verdicts)


def test_severities_are_numbered_from_ready() -> None:
    """Mends are in their order."""
    assert {"ready": 0, "trial": 1, "decline": 2} == SEVERITY
