"""Reasons made of messages: the code, whom it is for, the sentence in English, and the values in it."""

from __future__ import annotations

from featherline.wire.verdicts import Evidence, Reason, ReasonCode, Verdict
from featherline_service.messages.values import Said
from featherline_service.questions.reason_audiences import AUDIENCES


def reason(
    code: ReasonCode,
    verdict: Verdict,
    subject: str,
    said: Said,
    *,
    measure: float | None = None,
    limit: float | None = None,
    unit: str | None = None,
    evidence: Evidence | None = None,
) -> Reason:
    """Return a reason of the service."""
    return Reason(
        code=code,
        verdict=verdict,
        subject=subject,
        sentence=said.sentence,
        measure=measure,
        limit=limit,
        unit=unit,
        evidence=evidence,
        audience=AUDIENCES[code],
        message=said.message,
        parameters=said.parameters,
    )
