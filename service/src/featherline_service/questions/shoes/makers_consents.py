"""Consent of the maker of certified protective footwear, without which nothing is pressed on it."""

from __future__ import annotations

from featherline.wire.records import ShoeModel
from featherline.wire.verdicts import Reason
from featherline_service.messages.values import said
from featherline_service.questions.reasons import reason


def is_missing(model: ShoeModel | None, *, consented: bool) -> bool:
    """Return whether a shoe is protective footwear of the book whose maker is not said to consent."""
    return model is not None and model.protective and not consented


def without_consent(subject: str) -> Reason:
    """Return that protective footwear is not marked, and which field of the request states the consent."""
    return reason("shoe.protective", "decline", subject, said("shoe.protective.without-consent"))
