"""Faults and sentences: codes, whom they are for, and that each is made of its values."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import get_args

import featherline_service
from featherline.wire.problems import CallerFaultCode, CustomerFaultCode
from featherline_service.messages.catalogues import catalogues, signatures
from featherline_service.questions.checks import FAULT

SOURCES = Path(featherline_service.__file__).parent
TOLD = frozenset(
    {"told", "ToldError", "AnchorError", "DrawingError", "MoneyError", "QuantityError", "RefusalError", "TemplateError"}
)
"""What makes a sentence of a code, a pattern and the values in it."""
MAKERS = {
    "questions/checks.py": 2,  # of a message, and of what is told
}
"""How often a fault is made, by module: everywhere else one of these makes it."""
COMMANDS = ("book/", "book_command/", "reprice/")
"""What speaks to the owner of a book, or to whoever starts a run, and makes no answer."""


@cache
def calls() -> tuple[tuple[str, ast.Call], ...]:
    """Return every call in the service whose name is known, with its module."""
    found = []
    for file in sorted(SOURCES.rglob("*.py")):
        module = file.relative_to(SOURCES).as_posix()
        if not module.startswith(COMMANDS):
            tree = ast.parse(file.read_text("utf-8"))
            found += [(module, node) for node in ast.walk(tree) if isinstance(node, ast.Call)]
    return tuple(found)


def name_of(call: ast.Call) -> str:
    """Return the name of what is called, without where it is from."""
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def is_written_out(pattern: ast.expr) -> bool:
    """Return whether a pattern is a text, or texts and words of a table put together: no value is in it."""
    if isinstance(pattern, ast.BinOp):
        return is_written_out(pattern.left) and is_written_out(pattern.right)
    return isinstance(pattern, ast.Name) or (isinstance(pattern, ast.Constant) and isinstance(pattern.value, str))


def in_words(call: ast.Call) -> Iterator[str]:
    """Yield the fields of an answer that a call gives a sentence written there."""
    for keyword in call.keywords:
        parts = list(ast.walk(keyword.value))
        if keyword.arg in {"sentence", "tell", "fault"} and any(isinstance(part, ast.JoinedStr) for part in parts):
            yield keyword.arg


def test_a_customers_fault_has_a_message_in_every_language_and_no_other_has_one() -> None:
    """Each code of a customer is the id of a message of English, German, French and Spanish; a caller's is of none."""
    told = {message.removeprefix(FAULT) for message in signatures() if message.startswith(FAULT)}
    assert set(get_args(CustomerFaultCode)) == told
    assert not told & set(get_args(CallerFaultCode))
    for language, catalogue in catalogues().items():
        assert told <= {message.removeprefix(FAULT) for message in catalogue.messages}, language


def test_a_fault_is_made_of_a_message_or_of_what_is_told() -> None:
    """So each has a code and its values: nowhere else is one made of words."""
    made = [module for module, call in calls() if name_of(call) == "Fault"]
    assert [module for module, count in MAKERS.items() for _ in range(count)] == made


def test_every_code_of_a_caller_is_told_somewhere() -> None:
    """And none that is not declared; `refused` is what older services said."""
    told = [call for _, call in calls() if name_of(call) in TOLD]
    codes = {call.args[0].value for call in told if call.args and isinstance(call.args[0], ast.Constant)}
    assert set(get_args(CallerFaultCode)) - {"refused"} == codes


def test_a_pattern_has_no_value_in_it() -> None:
    """What is told is written out, and its values stand beside it: they are the parameters of the fault."""
    told = [(module, call) for module, call in calls() if name_of(call) in TOLD and len(call.args) > 1]
    assert [] == [f"{module}:{call.lineno}" for module, call in told if not is_written_out(call.args[1])]
    assert len(told) > 150


ENGLISH_AS_YET = {
    "questions/calibration/calibrations.py",
    "questions/calibration/next_readings.py",
    "questions/calibration/records.py",
}
"""Modules with sentences of answers that are made of no message: what a calibration says."""


def test_a_sentence_of_an_answer_is_made_of_a_message() -> None:
    """No sentence of an answer is put together where it is made, but for those that are known to be English yet."""
    assert ENGLISH_AS_YET == {module for module, call in calls() if [*in_words(call)]}
