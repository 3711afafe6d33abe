from __future__ import annotations

import pytest

from featherline.wire.verdicts import Verdict
from featherline_service.questions.verdicts import worst


@pytest.mark.parametrize(
    ("verdicts", "expected"),
    [((), "ready"), (("ready", "trial"), "trial"), (("decline", "ready", "trial"), "decline")],
)
def test_the_worst_verdict_counts(verdicts: tuple[Verdict, ...], expected: Verdict) -> None:
    """Declined beats trial beats ready."""
    assert expected == worst(verdicts)
