from __future__ import annotations

import pytest

from featherline.wire.verdicts import Reason, Verdict
from featherline_service.questions.verdicts import SEVERITY, worst, worst_first


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


def test_the_reasons_that_decide_come_first() -> None:
    """Declines, trials, remarks; those of one verdict in the order in which they came, and equal ones once."""
    verdicts: tuple[Verdict, ...] = ("ready", "trial", "decline", "trial", "ready")
    reasons = [
        Reason(code="fit.edge", verdict=verdict, subject=f"/{at}", sentence="So.")
        for at, verdict in enumerate(verdicts)
    ]

    assert ["/2", "/1", "/3", "/0", "/4"] == [reason.subject for reason in worst_first([*reasons, reasons[0]])]
