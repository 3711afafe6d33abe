"""Whom faults are for: codes, and the languages of their details."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import featherline_service
from featherline.wire.problems import CallerFaultCode, CustomerFaultCode
from featherline_service.messages.catalogues import catalogues, signatures
from featherline_service.questions.checks import FAULT

SOURCES = Path(featherline_service.__file__).parent
CODE = re.compile(r"\bFault\((?:[^()]|\([^()]*\))*?code=\"([^\"]+)\"")


def test_a_customers_fault_has_a_message_in_every_language_and_no_other_has_one() -> None:
    """Each code of a customer is the id of a message of English, German, French and Spanish; a caller's is of none."""
    told = {message.removeprefix(FAULT) for message in signatures() if message.startswith(FAULT)}
    assert set(get_args(CustomerFaultCode)) == told
    assert not told & set(get_args(CallerFaultCode))
    for language, catalogue in catalogues().items():
        assert told <= {message.removeprefix(FAULT) for message in catalogue.messages}, language


def test_a_fault_in_words_has_a_callers_code() -> None:
    """Nowhere in the service is a fault made with a code that is not declared, or a customer's without a message."""
    codes = {code for file in SOURCES.rglob("*.py") for code in CODE.findall(file.read_text("utf-8"))}
    assert {"missing", "wrong-value", "unknown-field"} <= codes <= set(get_args(CallerFaultCode))
