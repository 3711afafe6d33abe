"""Alternative texts of pictures, in English."""

from __future__ import annotations

from msgspec.structs import replace

from featherline_service.questions.pictures.alternative_texts import Alternative, MarkWords, in_english

MARK = MarkWords(text="MARLOW\n7", colour="Brass", effect="metallic", panel="Outer quarter", backing="Pitch")
PICTURE = Alternative(shoe="Deck shoe, EU 42", colour="Navy", face="outer", foot="right", in_place=True, marks=(MARK,))


def test_a_text_says_what_is_seen() -> None:
    """Shoe, colour, foot and face; then text, colour, effect and place of each mark."""
    assert (
        "Deck shoe, EU 42 in Navy, right shoe, outer face: "
        "“MARLOW / 7” in Brass, metallic, on a backing in Pitch, on Outer quarter."
    ) == in_english(PICTURE)


def test_what_is_not_known_is_left_out() -> None:
    """A shoe of no known colour, a panel that is shown alone, and a drawing in a plain colour."""
    mark = MarkWords(text=None, colour="Chalk", effect="none", panel="Toe")
    alone = replace(PICTURE, colour=None, in_place=False, face="toe", marks=(mark,))

    assert "Deck shoe, EU 42, right shoe, toe face, the panel alone: a drawing in Chalk, on Toe." == in_english(alone)


def test_a_text_is_bounded() -> None:
    """Twelve long texts are cut at a thousand characters, and say that they are."""
    long = in_english(replace(PICTURE, marks=(replace(MARK, text="W" * 200),) * 12))

    assert (1000, "…") == (len(long), long[-1])
