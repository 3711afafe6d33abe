"""Messages in words of one language."""

from __future__ import annotations

import pytest

from featherline.wire.verdicts import Parameter
from featherline_service.messages.catalogues import ENGLISH, catalogues
from featherline_service.messages.texts import Texts, english

PATTERNS = {
    "club.wide": "{film} is {width} wide.",
    "club.films": "{films_count, plural, =0 {No film} one {# film} other {# films}}: {films}.",
    "club.pairs": "{pairs, plural, one {# pair} other {# pairs}}, {share}.",
}
WIDTH = Parameter(name="width", value=1234.5, unit="mm", decimals=2)
FILM = Parameter(name="film", value="smooth", record="films")


def name_of(kind: str, id_: str) -> str:
    """Return a name that shows kind and id."""
    return f"{kind}:{id_}"


@pytest.mark.parametrize(
    ("language", "sentence"),
    [
        ("en", "films:smooth is 1234.50 mm wide."),
        # CLDR 48: a comma in German, French and Spanish.
        ("de", "films:smooth is 1234,50 mm wide."),
        ("fr", "films:smooth is 1234,50 mm wide."),
        ("es", "films:smooth is 1234,50 mm wide."),
        ("en-XA", "[films:smooth îš 1234.50 mm ŵîđé.]"),
        # Hebrew is a shop's own here: values are isolated, and the unit is English.
        ("he", "\u2068films:smooth\u2069 is \u20681234.50 mm\u2069 wide."),
    ],
)
def test_numbers_units_and_names_follow_the_language(language: str, sentence: str) -> None:
    """A quantity has the language's decimal sign and unit, a record its name."""
    texts = Texts(language, PATTERNS)
    assert (sentence, None) == texts.say("club.wide", (FILM, WIDTH), name_of)


def test_lists_have_their_number() -> None:
    """Several records are joined, and counted for plurals; none of them selects `none`."""
    films = Parameter(name="films", value=("a", "b"), record="films")
    texts = Texts(ENGLISH, PATTERNS)
    assert "2 films: films:a; films:b." == texts.say("club.films", (films,), name_of).text
    uppers = Parameter(name="films", value=("a", "b"), record="uppers")
    assert "2 films: uppers:a, uppers:b." == texts.say("club.films", (uppers,), name_of).text
    assert "No film: none." == texts.say("club.films", (Parameter(name="films", value=()),), name_of).text
    assert "1 film: x." == texts.say("club.films", (Parameter(name="films", value=("x",)),), name_of).text


def test_counts_select_plurals_and_numbers_have_decimals() -> None:
    """A number without a unit is a count, or is said with its decimals."""
    texts = Texts(ENGLISH, PATTERNS)
    for pairs, sentence in ((1, "1 pair, 0.5."), (3, "3 pairs, 0.5.")):
        values = (Parameter(name="pairs", value=pairs, decimals=0), Parameter(name="share", value=0.5, decimals=1))
        assert sentence == texts.say("club.pairs", values, name_of).text


def test_a_message_that_a_language_lacks_is_english_and_says_so() -> None:
    """The sentence names its language; a message that is nowhere is a fault of ours."""
    dutch = Texts("nl", PATTERNS, english())
    assert (True, False, True) == (dutch.has("club.wide"), dutch.has("customer.fit.heel"), dutch.knows("club.wide"))
    told = dutch.say("customer.fit.heel", (), name_of)
    assert (catalogues()[ENGLISH].messages["customer.fit.heel"], ENGLISH) == told
    assert (True, False) == (dutch.knows("customer.fit.heel"), dutch.knows("club.narrow"))
    with pytest.raises(KeyError, match=r"club\.narrow"):
        dutch.say("club.narrow", (), name_of)


def test_a_missing_value_selects_none() -> None:
    """A parameter that has no value is there for patterns to select by, and a word selects, too."""
    texts = english()
    none = texts.say("customer.fit.outside", (Parameter(name="largest", value=None),), name_of).text
    assert "another place." in none
    trial = texts.say("customer.shop.ask", (Parameter(name="verdict", value="trial"),), name_of).text
    assert "The shop tries this on the shoe first: ask there before you order." == trial
