from __future__ import annotations

from featherline_service.messages.values import said
from featherline_service.questions.reason_audiences import AUDIENCES
from featherline_service.questions.reasons import reason


def test_a_reason_is_of_its_message() -> None:
    """It has the sentence, the message's id and the values of what is said, and the audience of its code."""
    words = said("fit.heel", collapses="no")

    made = reason("fit.heel", "decline", "/placements/0", words, measure=1.0, limit=2.0, unit="mm")

    assert (words.sentence, "fit.heel", words.parameters) == (made.sentence, made.message, made.parameters)
    assert ("fit.heel", AUDIENCES["fit.heel"]) == (made.code, made.audience)
    assert ("decline", "/placements/0", 1.0, 2.0, "mm", None) == (
        made.verdict, made.subject, made.measure, made.limit, made.unit, made.evidence,
    )  # fmt: skip
