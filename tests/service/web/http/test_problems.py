"""Titles and details of problems in the reader's language."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from featherline.wire.verdicts import Parameter
from featherline_service.messages.catalogues import catalogues, samples, signatures
from featherline_service.messages.pseudo import ACCENTED, MIRRORED
from featherline_service.messages.texts import Texts, english
from featherline_service.messages.values import Said, said
from featherline_service.questions.checks import RefusedError
from featherline_service.web.http import problems
from featherline_service.web.http.problems import BUSY, PROBLEM, TOO_HEAVY, ProblemError, ProblemKind, told

DETAILS = [message for message in signatures() if message.startswith(PROBLEM) and message.count(".") > 1]
KINDS = {kind.name: kind for kind in vars(problems).values() if isinstance(kind, ProblemKind)}


def words(language: str) -> Texts:
    """Return the service's messages of a language, or of a pseudo-locale."""
    return Texts(language, catalogues().get(language, catalogues()["en"]).messages)


def parameters(message: str) -> Iterator[Parameter]:
    """Yield values for a message: words where it takes them, 2 for a number, and a word of ours for a text."""
    first = next(samples(signatures()[message]))
    for name, kind in signatures()[message].items():
        if isinstance(kind, tuple):
            yield Parameter(name=name, value=str(first[name]))
        elif kind == "text":
            yield Parameter(name=name, value="TIDE")
        else:
            yield Parameter(name=name, value=2.0, unit="s" if kind == "time" else None, decimals=0)


def test_every_problem_that_customers_meet_has_a_title_and_a_detail() -> None:
    """Kinds that are told to customers are those with messages; each has one for its title and one or more details."""
    told_names = {kind.name for kind in KINDS.values() if kind.told}
    titles = {message.removeprefix(PROBLEM) for message in signatures() if message.startswith(PROBLEM)} - {
        message.removeprefix(PROBLEM) for message in DETAILS
    }
    assert {"busy", "too-heavy", "too-many-requests", "too-late", "refused", "picture-expired"} < told_names == titles
    assert told_names == {message.split(".")[1] for message in DETAILS}
    assert {kind.title for kind in KINDS.values() if kind.told} == {
        catalogues()["en"].messages[f"{PROBLEM}{name}"] for name in told_names
    }


@pytest.mark.parametrize("language", ["de", "es", "fr", ACCENTED, MIRRORED])
def test_title_and_detail_are_in_the_readers_language(language: str) -> None:
    """All of them, and the languages are said: in the pseudo-locales nothing but values stays plain."""
    for message in DETAILS:
        detail = Said(message, tuple(parameters(message)), "-")
        error = ProblemError(KINDS[message.split(".")[1]], detail)
        document: dict[str, Any] = json.loads(problems.document(error, "tide-7", words(language)))
        in_english = told(error, english())
        assert (language,) == told(error, words(language)).languages
        assert document["title"] != in_english.title, message
        assert document["detail"] != in_english.detail, message
        if language == ACCENTED:
            assert ("[", "[") == (document["title"][0], document["detail"][0])


def test_a_detail_of_no_message_is_in_english_with_its_title() -> None:
    """So is whatever only the writer of a request causes: title, detail and the language that is named agree."""
    error = ProblemError(BUSY, "Too many streams at once.")
    assert ("The service is busy", "Too many streams at once.", ("en",)) == told(error, words("de"))


def test_a_language_that_lacks_a_message_names_both() -> None:
    """A shop's own language may have a title and no detail: that is then in English."""
    dutch = Texts("nl", {f"{PROBLEM}too-heavy": "De vraag is te zwaar"}, english())
    error = ProblemError(TOO_HEAVY, said(f"{PROBLEM}too-heavy.memory"))
    assert ("De vraag is te zwaar", ("nl", "en")) == told(error, dutch)[::2]


def test_faults_are_counted() -> None:
    """One fault is one, two are two, in each language's own way."""
    faults = RefusedError(()).faults
    assert () == faults
    one, two = (problems.from_exception(RefusedError((FAULT,) * count)) for count in (1, 2))
    assert one is not None
    assert two is not None
    assert ("1 fault in the request", "2 faults in the request") == (one.detail[:22], two.detail[:23])
    assert told(two, words("fr")).detail.startswith("2 erreurs dans la demande")


def test_a_record_has_no_place_in_a_problem() -> None:
    """None of the messages names one."""
    with pytest.raises(AssertionError, match="names the record"):
        problems._no_name("films", "smooth")


FAULT = problems.Fault(pointer="/pairs", detail="-")
