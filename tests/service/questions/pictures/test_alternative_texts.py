"""Alternative texts of pictures, in the languages that there are."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from featherline_service.messages.catalogues import catalogues
from featherline_service.messages.texts import Texts, english
from featherline_service.questions.pictures.alternative_texts import Alternative, MarkWords, say

MARK = MarkWords(text="MARLOW\n7", colour="Brass", effect="metallic", panel="Outer quarter", backing="Pitch")
PICTURE = Alternative(shoe="Deck shoe", colour="Navy", face="outer", foot="right", in_place=True, marks=(MARK,))


@pytest.mark.parametrize(
    ("language", "expected"),
    [
        (
            "en",
            "Deck shoe in Navy, right shoe, outer side: “MARLOW / 7” in Brass (metallic) on a backing in Pitch, on Outer quarter.",  # noqa: E501 - one text
        ),
        (
            "de",
            "Deck shoe in Navy, rechter Schuh, Außenseite: „MARLOW / 7“ in Brass (metallisch) auf einer Unterlage in Pitch, auf Outer quarter.",  # noqa: E501 - one text
        ),
        (
            "fr",
            "Deck shoe, Navy, pied droit, côté extérieur\u00a0: «\u00a0MARLOW / 7\u00a0», Brass (métallisé), sur un fond Pitch, sur Outer quarter.",  # noqa: E501 - one text
        ),
        (
            "es",
            "Deck shoe, Navy, pie derecho, lado exterior: «MARLOW / 7» en Brass (metálico) sobre un fondo en Pitch, en Outer quarter.",  # noqa: E501 - one text
        ),
    ],
)
def test_a_text_says_what_is_seen(language: str, expected: str) -> None:
    """Shoe, colour, foot and face; then text, colour, effect and place of each mark."""
    assert expected == say(PICTURE, Texts(language, catalogues()[language].messages, english()))


def test_what_is_not_known_is_left_out() -> None:
    """A measured shoe of no known colour, a panel that is shown alone, and a drawing in a plain colour."""
    mark = MarkWords(text=None, colour="Chalk", effect="none", panel="Toe")
    alone = replace(
        PICTURE, shoe=None, colour=None, in_place=False, face="toe", marks=(mark, replace(MARK, text="none"))
    )

    assert (
        "A shoe, right shoe, toe, the panel alone: a drawing in Chalk, on Toe; "
        "“none” in Brass (metallic) on a backing in Pitch, on Outer quarter."
    ) == say(alone, english())


def test_a_text_is_bounded() -> None:
    """Twelve long texts are cut at a thousand characters, and say that they are."""
    long = say(replace(PICTURE, marks=(replace(MARK, text="W" * 200),) * 12), english())

    assert (1000, "…") == (len(long), long[-1])
