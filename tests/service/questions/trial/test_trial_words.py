from __future__ import annotations

from collections.abc import Iterable
from typing import get_args

import pytest
from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.shoes import Face, Surface
from featherline_service.book.shop_book import Book
from featherline_service.messages.values import Said
from featherline_service.questions.trial import trial_words


class Upper(Struct, frozen=True):
    """An upper by its id and name."""

    id: str
    name: str


SUEDE, CANVAS, WEBBING = (Upper(name, name) for name in ("suede", "canvas", "webbing"))


def sentences(words: Iterable[Said]) -> list[str]:
    """Return messages as they are said in English."""
    return [said.sentence for said in words]


def test_every_surface_can_be_told_by_eye_or_thumb() -> None:
    """Each in words of its own."""
    surfaces = get_args(get_args(Surface)[0])

    assert len(surfaces) == len({trial_words.tell(surface).sentence for surface in surfaces})


def test_a_trial_stops_at_harm_smoke_a_bond_and_its_end() -> None:
    """Four rules, in this order."""
    told = ("sign of harm", "smoke", "first rung that holds", "last rung")

    assert [True] * 4 == [words in rule for words, rule in zip(told, sentences(trial_words.stop()), strict=True)]


@pytest.mark.parametrize("face", get_args(get_args(Face)[0]))
def test_a_place_is_the_panel_itself_or_known_by_its_upper(face: str) -> None:
    """A mark stays on the panel; a place of an unknown upper is to be compared first."""
    itself, same, other = (
        trial_words.place(face, itself=itself, same=same).sentence  # type: ignore[arg-type]
        for itself, same in ((True, True), (False, True), (False, False))
    )
    where = {"tongue": "tongue", "inner": "inner side", "heel": "heel", "toe": "toe", "outer": "outer side"}[face]

    assert all(f"The {where}" in sentence for sentence in (itself, same, other))
    assert "the panel itself" in itself
    assert "A mark stays" in itself
    assert same.endswith(": it is of the same upper.")
    assert ": only if eye and thumb find it of the same upper" in other


@pytest.mark.parametrize(("uppers", "steps"), [(1, 6), (2, 7)])
def test_an_owner_agrees_before_the_first_rung(uppers: int, steps: int) -> None:
    """A customer in writing; of several uppers eye and thumb settle first which they can."""
    customer, shop = (sentences(trial_words.before(owner, uppers)) for owner in ("customer", "shop"))  # type: ignore[arg-type]

    assert [steps, steps] == [len(customer), len(shop)]
    assert "have a yes in writing" in customer[0]
    assert "second-choice pair" in shop[0]
    assert (uppers > 1) == ("`surface`" in customer[1])
    assert customer[1:] == shop[1:]
    assert "pencil dots 20 mm apart" in customer[-4]
    assert "a scrap 10 mm square" in customer[-1]


@pytest.mark.parametrize(("when", "said"), [("hot", "while hot"), ("warm", "once warm"), ("cold", "once cold")])
def test_signs_of_harm_stop_a_trial_and_a_bond_does_not(book: Book, when: str, said: str) -> None:
    """Smell at the opening, all others when cold; the carrier is peeled as its film asks."""
    film = book.films["smooth"]
    looks = trial_words.looks(replace(film, peel=replace(film.peel, when=when)))

    assert ["smell", "gloss", "shrinkage", "print-through", "softness", "bond-by-thumb", "bond-by-peel"] == [
        look.at for look in looks
    ]
    assert [True] * 5 + [False] * 2 == [look.stops for look in looks]
    assert ["opening"] + ["cold"] * 6 == [look.when for look in looks]
    assert f"Peel the carrier {said};" in looks[5].sentence


def test_what_a_trial_showed_is_used_in_the_next_request() -> None:
    """Of a known shoe by its recipe; what is sold from stock is tried on a second pair."""
    known, unknown = (sentences(trial_words.afterwards("customer", known=known)) for known in (True, False))
    stock = sentences(trial_words.afterwards("shop", known=True))

    assert (4, 4, 5) == (len(known), len(unknown), len(stock))
    assert "press it by its recipe" in known[0]
    assert "`upper`" in unknown[0]
    assert "try a second pair" in stock[-1]
    assert known == stock[:4]


def test_a_bond_names_what_the_upper_may_be() -> None:
    """And, of several, the one whose setting is the nearest."""
    one = trial_words.bond([SUEDE], SUEDE).sentence
    two = trial_words.bond([SUEDE, CANVAS], CANVAS).sentence
    three = trial_words.bond([SUEDE, CANVAS, WEBBING], None).sentence

    assert one.endswith("The upper is, or behaves as, suede.")
    assert "behaves as, suede or canvas. Name canvas, whose own setting is the nearest" in two
    assert three.endswith("behaves as, suede or canvas or webbing.")


def test_nothing_seen_leads_onwards_or_ends_the_trial() -> None:
    """At the end it is said which limit would be passed; where no upper is left the press is suspected."""
    onwards = trial_words.nothing([SUEDE, CANVAS], onwards=True, blocked=None).sentence
    blocked = trial_words.nothing([SUEDE], onwards=False, blocked=SUEDE).sentence
    ended = trial_words.nothing([SUEDE], onwards=False, blocked=None).sentence
    none = trial_words.nothing([], onwards=False, blocked=SUEDE).sentence

    assert "The upper may be suede or canvas: go on to the next rung." == onwards
    assert "a limit of the film or of the upper would be passed if it is suede." in blocked
    assert "would be passed" not in ended
    assert "the film does not hold at the last setting that is safe" in ended
    assert none.startswith("The upper is none of those that it may be")
    assert "do not mark this shoe yet" in none


def test_harm_ends_a_trial() -> None:
    """It names what the upper may be, or that nobody knows it."""
    assert "The upper is, or behaves as, suede or canvas: ask again" in trial_words.harm([SUEDE, CANVAS]).sentence
    assert "nobody knows what it is" in trial_words.harm([]).sentence
