"""The language that a reader prefers."""

from __future__ import annotations

import pytest

from featherline_service.messages.negotiation import preferred

LANGUAGES = ("en", "de", "fr", "pt-BR")


@pytest.mark.parametrize(
    ("accept_language", "language"),
    [
        # The examples of RFC 9110 section 12.5.4, and of RFC 4647 section 3.4, with our languages.
        ("da, en-gb;q=0.8, en;q=0.7", "en"),
        ("de-Latn-CH-1996", "de"),
        ("de-AT, fr", "de"),
        ("fr;q=0.5, de;q=0.9", "de"),
        ("FR", "fr"),
        ("pt-br", "pt-BR"),
        ("pt", "en"),
        ("de;q=0, de-DE, fr;q=0.1", "fr"),
        ("*", "en"),
        ("", "en"),
        ("de;q=x", "en"),
        ("de;v=1", "de"),
        (", ;q=1,", "en"),
    ],
)
def test_the_best_of_the_languages_answers(accept_language: str, language: str) -> None:
    """By weight and then by order; a longer range is cut until a language matches; what weighs nothing is refused."""
    assert language == preferred(accept_language, LANGUAGES)


def test_of_a_long_header_the_first_ranges_count() -> None:
    """Whoever sends thousands of ranges does not make the service read them all."""
    assert "en" == preferred(",".join(["xx"] * 32 + ["de"]), LANGUAGES)
