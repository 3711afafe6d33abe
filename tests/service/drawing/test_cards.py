from __future__ import annotations

import io
import re
from html.parser import HTMLParser

import pytest
from pypdf import PdfReader

from featherline_service.drawing import card_pages, card_pdfs
from featherline_service.drawing.cards import SCALES, Card, Pressing, Rung, Steps, Tile, Trial, drawn
from featherline_service.drawing.placements import Placed

HOSTILE = "</dd><script>alert(1)</script><img src=x onerror=alert(2)>{{ 7 * 7 }}&amp;\x00\u202e"
VOID = {"meta", "link", "img", "br", "hr", "input"}


@pytest.fixture
def card(placed: Placed) -> Card:
    """A card with something in each of its places."""
    return Card(
        shop="Saltmarsh Quay (invented)",
        subject="Regatta deck shoe, EU 42",
        facts=(("Pairs", "1, the customer's own"), ("Placement", "Outer quarter: MARLOW / 7")),
        verdict="trial",
        verdict_words="Try it first",
        reasons=("The shoe is known by a ruler alone.",),
        drawings=(placed,),
        pressings=(Pressing("Pressing 1", "loading 1", (Tile("Platen", "160 °C", "320 °F"), Tile("Dwell", "36 s"))),),
        steps=(Steps("Steps", ("Fit the lower platen.", "Press for 36 s.", "Peel the carrier warm.")),),
        trials=(
            Trial(
                "Trial first: outer quarter",
                "The tongue.",
                (Rung("146 °C, 26 s", "the cover sheet alone", "harms none of them", "-"),),
                ("Look at the gloss.",),
                ("Stop at the first sign of harm.",),
            ),
        ),
        cautions=("The upper platen burns skin.", "A closing press crushes."),
        by_hand=("Date", "Done by"),
        footing="book 0123456789abcdef, engine 0.1.0",
        letter=False,
    )


class Page(HTMLParser):
    """An HTML page, its tags counted and its words gathered."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: set[str] = set()
        self.attributes: list[tuple[str, str | None]] = []
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        self.tags.add(tag)
        self.attributes += attrs
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag that ends itself."""
        self.tags.add(tag)
        self.attributes += attrs

    def handle_endtag(self, tag: str) -> None:
        """Close the tag that is open."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Gather words."""
        if "style" not in self.open:
            self.words.append(data)

    @property
    def said(self) -> str:
        """All words, on one line."""
        return re.sub(r"\s+", " ", " ".join(self.words))


def said(card: Card) -> list[str]:
    """Return what a card must say, wherever it is shown."""
    trial = card.trials[0]
    return [
        card.shop, card.subject, *(each for fact in card.facts for each in fact), card.verdict_words, *card.reasons,
        "160 °C", "320 °F", "36 s", *card.steps[0].sentences, trial.heading, trial.where, *trial.rungs[0], *trial.looks,
        *trial.stop, *card.cautions, *card.by_hand, card.footing, *(each.words for each in drawn(card)),
    ]  # fmt: skip


def text_of(pdf: bytes) -> str:
    """Return the words of a PDF on one line."""
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages))


def test_the_page_says_everything_and_loads_nothing(card: Card) -> None:
    """All of the card is there; no script, no frame, no reference to anything outside the page."""
    written = card_pages.write(card)
    page = Page(written)

    assert [] == [words for words in said(card) if words not in page.said]
    assert [] == page.open
    assert not page.tags & {"script", "link", "img", "iframe", "object", "embed", "base", "form", "video", "audio"}
    assert not [
        name for name, _ in page.attributes if name in {"src", "href", "srcset", "data", "action", "background"}
    ]
    assert not re.search(r"url\(|@import|@font-face", written)


@pytest.mark.parametrize(("letter", "paper"), [(False, "A4"), (True, "Letter")])
def test_the_page_names_its_paper(card: Card, paper: str, *, letter: bool) -> None:
    """In print it is one of A4 or Letter (CSS Paged Media, the size property)."""
    assert f"@page {{ size: {paper} portrait;" in card_pages.write(card._replace(letter=letter))


def test_hostile_words_are_shown_as_words(card: Card, placed: Placed) -> None:
    """Markup and template marks in a caller's words do nothing, on the page and in the PDF."""
    hostile = card._replace(
        subject=HOSTILE,
        facts=((HOSTILE, HOSTILE),),
        reasons=(HOSTILE,),
        steps=(Steps(HOSTILE, (HOSTILE,)),),
        cautions=(HOSTILE,),
        drawings=(placed._replace(title=HOSTILE, description=HOSTILE),),
    )
    page = Page(card_pages.write(hostile))
    plain = Page(card_pages.write(card))

    assert plain.tags == page.tags
    assert [] == page.open
    assert "</dd><script>alert(1)</script><img src=x onerror=alert(2)>{{ 7 * 7 }}&amp;��" in page.said
    assert "<script>alert(1)</script>" in text_of(card_pdfs.write(hostile))


@pytest.mark.parametrize(("letter", "size"), [(False, (595.28, 841.89)), (True, (612.0, 792.0))])
def test_the_pdf_is_one_page_that_says_everything(card: Card, size: tuple[float, float], *, letter: bool) -> None:
    """One page of A4 (210 x 297 mm, ISO 216) or Letter (8.5 x 11 in), with all of the card's words."""
    pdf = card_pdfs.write(card._replace(letter=letter))
    (page,) = PdfReader(io.BytesIO(pdf)).pages
    text = text_of(pdf)

    assert pytest.approx(size, abs=0.01) == (float(page.mediabox.width), float(page.mediabox.height))
    assert [] == [words for words in said(card) if words not in text]


def test_the_pdf_is_the_same_again_byte_for_byte(card: Card) -> None:
    """No clock and no chance is in it."""
    assert card_pdfs.write(card) == card_pdfs.write(card)


def test_the_pdf_carries_its_fonts_and_runs_nothing(card: Card) -> None:
    """Every font is embedded, and there is no script, action, link or file in it (ISO 32000-1, 12.6)."""
    reader = PdfReader(io.BytesIO(card_pdfs.write(card)))
    fonts = reader.pages[0]["/Resources"]["/Font"].values()
    embedded = {font.get_object()["/BaseFont"]: "/FontDescriptor" in font.get_object() for font in fonts}

    assert {"Roboto-Regular", "Roboto-Bold"} <= {
        str(name).partition("+")[2] for name, there in embedded.items() if there
    }
    assert not {"/OpenAction", "/AA", "/Names", "/AcroForm"} & set(reader.trailer["/Root"])
    assert "/Annots" not in reader.pages[0]


def test_a_character_that_the_face_lacks_is_named(card: Card) -> None:
    """Hebrew, which Roboto does not have, is set as code points in the PDF, not dropped and not as boxes."""
    assert "[U+05E9][U+05DC]" in text_of(card_pdfs.write(card._replace(subject="של")))


@pytest.mark.parametrize("count", [1, 2, 3, 12])
def test_any_number_of_drawings_stays_on_the_page(card: Card, placed: Placed, count: int) -> None:
    """With twelve placements and as many pressings the card is still one page, its drawings at named scales."""
    many = card._replace(
        drawings=tuple(placed._replace(name=f"placement-{number}") for number in range(count)),
        pressings=card.pressings * count,
        steps=card.steps * count,
    )

    assert 1 == len(PdfReader(io.BytesIO(card_pdfs.write(many))).pages)
    assert count == len(drawn(many))
    assert all(re.search(r"Scale 1 : (1|1\.25|1\.5|2|2\.5|3|4|5|10)\.", words) for _, words in drawn(many))


def test_a_card_with_one_small_drawing_shows_it_at_full_size(card: Card) -> None:
    """A panel of 100 x 50 mm is drawn 1 : 1 where no trial takes the room, smaller where one does."""
    (full,), (less,) = drawn(card._replace(trials=())), drawn(card)

    assert "Scale 1 : 1." in full.words
    assert SCALES[0] == 1.0
    assert less.scene.height <= full.scene.height
