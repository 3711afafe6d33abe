"""Pseudo-locales."""

from __future__ import annotations

from featherline_service.messages.pseudo import ACCENTED, CHANGES, CLOSE, MIRRORED, OPEN, isolated

SENTENCE = f"It may be {OPEN}12.0 mm{CLOSE} high."


def test_the_accented_one_changes_all_but_the_values() -> None:
    """Every letter of the message has an accent, a value is as it was, and brackets show where it ends."""
    assert "[Îţ ɱåý ƀé 12.0 mm ĥîĝĥ.]" == CHANGES[ACCENTED](SENTENCE)


def test_the_mirrored_one_turns_words_and_isolates_values() -> None:
    """Words run from right to left (UAX 9: RLO and PDF), a value is an isolate (FSI and PDI)."""
    assert "\u202eIt\u202c \u202emay\u202c \u202ebe\u202c \u206812.0 mm\u2069 \u202ehigh\u202c." == (
        CHANGES[MIRRORED](SENTENCE)
    )
    assert "\u2068x\u2069" == isolated("x")
