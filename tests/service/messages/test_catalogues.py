"""The catalogues: that every language has every message, with the same parameters; patterns of a shop's book."""

from __future__ import annotations

import re
from typing import get_args

import pytest
from icu4py.messageformat import MessageFormat

from featherline.wire.shoes import Surface
from featherline_service.messages.catalogues import ENGLISH, catalogues, faults_of, samples, signatures

LANGUAGES = sorted(catalogues())
PARTS = {"unit": {"n"}, "money": {"n", "currency"}, "list": {"first", "second"}, "surface": set[str]()}
"""What messages beside those of sentences are given, by the start of their ids."""


def shown(sentence: str) -> set[str]:
    """Return the names of the values in a sentence, and the counts."""
    return set(re.findall(r"<\w+>|\b11\b", sentence))


def test_every_language_has_every_message() -> None:
    """English, German, French and Spanish have the same messages: those that are declared, units and the list."""
    assert ["de", "en", "es", "fr"] == LANGUAGES
    declared = set(signatures())
    parts = {message for message in catalogues()[ENGLISH].messages if message.partition(".")[0] in PARTS}
    assert dict.fromkeys(LANGUAGES, declared | parts) == {
        language: set(catalogue.messages) for language, catalogue in catalogues().items()
    }


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_message_says_the_same_values_in_every_language(language: str) -> None:
    """With each word, with and without each value and count, a sentence shows the values that the English one shows."""
    catalogue, english = catalogues()[language], catalogues()[ENGLISH]
    wrong = []
    for message, signature in signatures().items():
        assert [] == list(faults_of(message, catalogue.messages[message], language)), message
        own = MessageFormat(catalogue.messages[message], language)
        same = MessageFormat(english.messages[message], ENGLISH)
        sentences = [(own.format(arguments), same.format(arguments)) for arguments in samples(signature)]
        wrong += [(message, said) for said, same_said in sentences if shown(said) != shown(same_said)]
        wrong += [(message, said) for said, _ in sentences if "  " in said or said != said.strip() or not said]
        wrong += [(message, name) for name in signature if f"{{{name}" not in catalogue.messages[message]]
    assert [] == wrong


@pytest.mark.parametrize("language", LANGUAGES)
def test_units_lists_and_surfaces_say_all_their_parts(language: str) -> None:
    """The pattern of a unit has the number in it, that of a list both names, and a surface a word of its own."""
    messages = catalogues()[language].messages
    for message, pattern in messages.items():
        if message in signatures():
            continue
        parts = PARTS[message.partition(".")[0]]
        said = MessageFormat(pattern, language).format({part: f"<{part}>" for part in parts})
        assert {f"<{part}>" for part in parts} == shown(said), message
    assert {f"surface.{surface}" for surface in get_args(get_args(Surface)[0])} <= set(messages)


def test_only_english_is_checked_yet() -> None:
    """A translation says that nobody has checked it whose own language it is."""
    assert {"de": False, "en": True, "es": False, "fr": False} == {
        language: catalogue.checked for language, catalogue in catalogues().items()
    }


def test_samples_are_of_every_kind() -> None:
    """Words in turn, counts of each plural, a list with its number, and values that may be missing."""
    words = [*samples({"verdict": ("trial", "decline")})]
    assert [{"verdict": "trial"}, {"verdict": "decline"}] == words
    assert [0, 1, 2, 11] == [arguments["rows"] for arguments in samples({"rows": "count"})]
    lists = [*samples({"films": "films?"})]
    assert [1, 2, 11, 0] == [arguments["films_count"] for arguments in lists]
    assert "none" == lists[-1]["films"]
    assert 4 == len([*samples({"first": "length?", "second": "length?"})])


def test_a_shops_pattern_is_checked() -> None:
    """An unknown message, a hidden brace, a broken pattern and an unknown parameter are faults; a good one has none."""
    good = "Höchstens {largest}."
    assert [] == [*faults_of("customer.fit.outside", good, "de")]
    assert [] == [*faults_of("tide-check.too-wide", "Te breed: {width}.", "nl")]
    for message, pattern, fault in (
        ("customer.fit.inside", good, "no message customer.fit.inside"),
        ("customer.fit.outside", "D'{largest}", "straight apostrophe"),
        ("customer.fit.outside", "Bis {largest", "U_UNMATCHED_BRACES"),
        ("customer.fit.outside", "Bis {height}", "no parameter height; its parameters are:"),
        ("customer.shop.ask", "{verdict, select, trial {Bis {height}} other {}}", "no parameter height"),
    ):
        assert any(fault in said for said in faults_of(message, pattern, "de")), (pattern, fault)
