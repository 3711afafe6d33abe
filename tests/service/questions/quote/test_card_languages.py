"""Bench cards in the language of the shop, whoever asks for them."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest
from msgspec.structs import force_setattr
from pypdf import PdfReader

from featherline.wire.costs import Order
from featherline_service.book.shop_book import Book
from featherline_service.drawing import card_pages, card_pdfs
from featherline_service.drawing.cards import Card
from featherline_service.messages.catalogues import catalogues, signatures
from featherline_service.messages.pseudo import ACCENTED
from featherline_service.questions.quote import bench_cards, quotes
from featherline_service.questions.translation import translated

DECK: dict[str, Any] = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}
MARLOW: dict[str, Any] = {
    "panel": "outer-quarter",
    "film": "smooth",
    "colour": "gorse",
    "artwork": {"kind": "text", "text": "MARLOW", "font": "plain", "height": "12 mm"},
}
TONGUE: dict[str, Any] = {
    "panel": "tongue",
    "film": "reflective",
    "colour": "beacon",
    "artwork": {"kind": "text", "text": "7", "font": "plain", "height": "18 mm"},
}
WALK_IN: dict[str, Any] = {
    "kind": "measured",
    "label": "leather",
    "panels": [
        {
            "panel": "outer-quarter",
            "shape": {"kind": "rectangle", "width": "90 mm", "height": "40 mm"},
            "curvature": "gentle",
        }
    ],
    "inside_length": "275 mm",
}
ORDERS: dict[str, Any] = {
    "ready": {"shoe": DECK, "placements": [MARLOW]},
    "two loadings": {"shoe": DECK, "placements": [MARLOW, TONGUE], "pairs": 3, "units": "us", "reference": "SQ-2041"},
    "trial": {"shoe": WALK_IN, "placements": [MARLOW]},
}
LANGUAGES = ("en", "de", "es", "fr")


def card(book: Book, name: str, language: str) -> Card:
    """Return the card of an order in a language, with what was computed for another: the bench is the same record."""
    force_setattr(book.bench, "language", language)
    try:
        return bench_cards.compose(book, msgspec.convert(ORDERS[name], Order))
    finally:
        force_setattr(book.bench, "language", "en")


def sentences(card: Card) -> Iterator[str]:
    """Yield what a card says in words of its own: all but the names of records and what was asked for."""
    yield from (card.verdict_words, card.footing, *card.by_hand, *card.reasons, *card.cautions)
    for label, value in card.facts[2:]:
        yield from (label, value)
    for pressing in card.pressings:
        yield from (pressing.heading, pressing.where, *(tile.label for tile in pressing.tiles))
    for steps in card.steps:
        yield from (steps.heading, *steps.sentences)
    for cut in card.cuts:
        yield from (cut.pieces, cut.source, cut.way)
    for trial in card.trials:
        yield from (trial.heading, trial.where, *trial.before, *trial.looks, *trial.stop, *trial.afterwards)
        yield from (words for rung in trial.rungs for words in (rung.lay, rung.heat))


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_card_is_in_the_language_of_the_shop(book: Book, language: str) -> None:
    """Page and PDF say that they are; an order of one loading has one page in each language."""
    told = card(book, "ready", language)
    page, pdf = card_pages.write(told), PdfReader(io.BytesIO(card_pdfs.write(told)))
    assert f'<html lang="{language}">' in page
    assert language == pdf.trailer["/Root"]["/Lang"]
    assert 1 == len(pdf.pages)
    text = re.sub(r"\s+", " ", " ".join(sheet.extract_text() for sheet in pdf.pages)).replace("\u00a0", " ")
    heading = catalogues()[language].messages["card.cautions"]
    assert heading in text
    assert heading in page
    assert catalogues()[language].messages["card.rules-first"].replace("\u00a0", " ") in text


@pytest.mark.parametrize("name", ORDERS)
def test_all_words_of_a_card_are_made_of_messages(book: Book, name: str) -> None:
    """In the pseudo-locale each begins with its bracket: nothing is left of a sentence in English."""
    told = list(sentences(card(book, name, ACCENTED)))
    assert len(told) > 20
    assert [] == [sentence for sentence in told if sentence and not sentence.startswith("[")]


def test_numbers_days_and_figures_follow_the_language(book: Book) -> None:
    """A decimal comma in German, also in the figures of the drawing; the number that a test has of it in English."""
    english, german = (card(book, "ready", language) for language in ("en", "de"))
    assert "12.0 mm" in english.cuts[0].pieces
    assert "12,0\u00a0mm" in german.cuts[0].pieces
    assert ("24.7", "24,7") == (english.drawings[0].say(24.7), german.drawings[0].say(24.7))
    assert ("toe", "Spitze") == (english.drawings[0].ways.toe, german.drawings[0].ways.toe)


def test_records_are_said_by_the_shops_names(book: Book) -> None:
    """Shoe, panel and film have the names that the book has in the language."""
    told = card(book, "ready", "de")
    assert told.subject.startswith("Bootsschuh Regatta")
    assert told.facts[2][1].startswith("Äußeres Seitenteil, beide Schuhe: MARLOW, in Glatte Polyurethanfolie, ")


def test_every_message_of_the_bench_says_what_the_english_one_says() -> None:
    """No language has a caution, a step or a line of a trial in English words, but for numbers and field names."""
    english = catalogues()["en"].messages
    for language in LANGUAGES[1:]:
        messages = catalogues()[language].messages
        same = {
            message
            for message in signatures()
            if message.startswith(("step.", "caution.", "try.")) and messages[message] == english[message]
        }
        assert set() == same, language


@pytest.mark.parametrize("language", LANGUAGES)
def test_cautions_defer_to_rules_practice_and_makers(language: str) -> None:
    """The first of all names local rules, licensed practice and the makers' sheets; limits are the same numbers."""
    messages = catalogues()[language].messages
    names = {
        "en": ("Local rules", "licensed practice", "makers' sheets"),
        "de": ("Örtliche Vorschriften", "zugelassener Fachleute", "Merkblätter der Hersteller"),
        "es": ("normas locales", "profesionales autorizados", "fichas de los fabricantes"),
        "fr": ("règles locales", "professionnels agréés", "fiches des fabricants"),
    }[language]
    assert all(name in messages["caution.rules-first"] for name in names)
    numbers = {message: re.findall(r"\d+", messages[message]) for message in signatures() if "caution." in message}
    assert numbers == {message: re.findall(r"\d+", catalogues()["en"].messages[message]) for message in numbers}


def test_a_recipe_s_steps_and_cautions_follow_the_reader(book: Book) -> None:
    """In JSON they have their messages, and are put into the reader's language by them, as reasons are."""
    quote = quotes.compose(book, msgspec.convert(ORDERS["ready"], Order))
    recipe, german = (answer.pressings[0].recipe for answer in (quote, translated(quote, book, "de")))
    assert [(step.do, step.message) for step in recipe.steps] == [(step.do, step.message) for step in german.steps]
    assert "Schuh nicht vorwärmen." in [step.sentence for step in german.steps]
    assert all(step.message.startswith("step.") for step in recipe.steps)
    assert [f"caution.{caution.code}" for caution in german.cautions] == [it.message for it in recipe.cautions]
    assert not {caution.sentence for caution in german.cautions} & {caution.sentence for caution in recipe.cautions}
