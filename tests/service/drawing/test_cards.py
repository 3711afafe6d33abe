from __future__ import annotations

import io
import re
from html.parser import HTMLParser
from importlib import resources

import pytest
from fontTools.ttLib import TTFont
from pypdf import PdfReader

from featherline_service.drawing import card_pages, card_pdfs
from featherline_service.drawing.cards import (
    DENSITIES,
    SCALES,
    SETTING_PT,
    TILES_ABREAST,
    Card,
    Cut,
    Pressing,
    Rung,
    Steps,
    Tile,
    Trial,
    drawn,
    sheets,
    spans,
)
from featherline_service.drawing.placements import Placed, Ways
from featherline_service.drawing.scene import Words
from featherline_service.messages.catalogues import catalogues
from featherline_service.messages.texts import Texts
from featherline_service.messages.values import Speaker

HOSTILE = "</dd><script>alert(1)</script><img src=x onerror=alert(2)>{{ 7 * 7 }}&amp;\x00\u202e"
VOID = {"meta", "link", "img", "br", "hr", "input"}


@pytest.fixture
def card(placed: Placed) -> Card:
    """A card of an order that is ready, with something in each of its places."""
    return Card(
        shop="Saltmarsh Quay (invented)",
        subject="Regatta deck shoe, EU 42",
        facts=(("Pairs", "1, the customer's own"), ("Placement", "Outer quarter: MARLOW / 7")),
        verdict="ready",
        verdict_words="Ready",
        reasons=("The mark is tone on tone.",),
        drawings=(placed,),
        pressings=(
            Pressing(
                "Pressing 1",
                "loading 1",
                (
                    Tile("Platen", "160 °C", "320 °F"),
                    Tile("Dwell", "36 s"),
                    Tile("Pressure", "medium"),
                    Tile("Cover sheet", "Thin flexible siliconised sheet"),
                    Tile("Peel", "warm", "60 s after opening", large=False),
                ),
                evidence="Evidence: film assumed to need 0.53 to 1.06 of its published dose. "
                "Chance to bond 98.2 %, to harm nothing 99.9 %.",
            ),
        ),
        steps=(Steps("Steps", ("Fit the lower platen.", "Press for 36 s.", "Peel the carrier warm.")),),
        trials=(),
        cautions=("The upper platen burns skin.", "A closing press crushes."),
        by_hand=("Date", "Done by"),
        footing="book 0123456789abcdef, engine 0.1.0",
        letter=False,
        cuts=(Cut("2 of MARLOW / 7", "Smooth film, Gorse", "the roll", "mirrored"),),
        reference="SQ-2041",
    )


@pytest.fixture
def trial_card(card: Card) -> Card:
    """A card of an order to be tried first, with two rungs."""
    tiles = (Tile("Platen", "160 °C", "320 °F"), Tile("Dwell", "29 s"), Tile("Pressure", "medium"))
    return card._replace(
        verdict="trial",
        verdict_words="Try it first",
        reasons=("The shoe is known by a ruler alone.",),
        trials=(
            Trial(
                "Trial first: outer quarter",
                "The tongue.",
                ("Draw two dots.", "Let the shoe cool between rungs."),
                (
                    Rung("146 °C, 26 s", "the cover sheet alone", "harms none of the uppers it may be of", ""),
                    Rung("160 °C, 29 s", "a scrap of film", "may harm suede", "keep to it: suede.", tiles),
                ),
                ("Look at the gloss.",),
                ("Stop at the first sign of harm.",),
                ("Wait a day.",),
            ),
        ),
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
    words = [
        card.shop, card.subject, card.reference, *(each for fact in card.facts for each in fact), card.verdict_words,
        *card.reasons, *card.cautions, *card.by_hand, card.footing, card.drawings[0].title,
    ]  # fmt: skip
    for trial in card.trials:
        words += [trial.heading, trial.where, *trial.before]
        words += [part for heading, sentences in trial.rules for part in (card.tell(heading), *sentences)]
        for rung in trial.rungs:
            words += [rung.lay, rung.heat, rung.holds]
            words += [part for tile in rung.tiles for part in tile[:3]] or [rung.setting]
    if not card.trials:
        words += [part for pressing in card.pressings for tile in pressing.tiles for part in tile[:3]]
        words += [pressing.evidence for pressing in card.pressings]
        words += [pressing.heading for pressing in card.pressings] + [part for cut in card.cuts for part in cut[:4]]
        words += [part for steps in card.steps for part in (steps.heading, *steps.sentences)]
    return words


def text_of(pdf: bytes) -> str:
    """Return the words of a PDF on one line."""
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages))


@pytest.mark.parametrize("name", ["card", "trial_card"])
def test_the_page_says_everything_and_loads_nothing(name: str, request: pytest.FixtureRequest) -> None:
    """All of the card is there; no script, no frame, no reference to anything outside the page."""
    card: Card = request.getfixturevalue(name)
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


@pytest.mark.parametrize("name", ["card", "trial_card"])
@pytest.mark.parametrize(("letter", "size"), [(False, (595.28, 841.89)), (True, (612.0, 792.0))])
def test_the_pdf_is_one_page_that_says_everything(
    name: str, size: tuple[float, float], request: pytest.FixtureRequest, *, letter: bool
) -> None:
    """One page of A4 (210 x 297 mm, ISO 216) or Letter (8.5 x 11 in), with all of the card's words."""
    card: Card = request.getfixturevalue(name)
    pdf = card_pdfs.write(card._replace(letter=letter))
    (page,) = PdfReader(io.BytesIO(pdf)).pages
    text = text_of(pdf)

    assert pytest.approx(size, abs=0.01) == (float(page.mediabox.width), float(page.mediabox.height))
    assert [] == [words for words in said(card) if words not in text]
    assert "page 1 of 1" in text


def sizes(pdf: bytes) -> dict[str, float]:
    """Return the largest size [pt] in which each run of words of a PDF is set."""
    found: dict[str, float] = {}

    def note(text: str, _ctm: object, matrix: list[float], _font: object, size: float) -> None:
        words = re.sub(r"\s+", " ", text).strip()
        found[words] = max(found.get(words, 0.0), size * abs(matrix[3]))

    for page in PdfReader(io.BytesIO(pdf)).pages:
        page.extract_text(visitor_text=note)
    return found


def size_of(pdf: bytes, words: str) -> float:
    """Return the largest size [pt] of a run of words in a PDF that has all of some words."""
    return max(size for text, size in sizes(pdf).items() if words in text)


def test_settings_are_read_from_two_metres(card: Card, trial_card: Card) -> None:
    """Capitals of settings are 8 mm high, 1/250 of two metres; steps 10 pt, cautions 9 (common practice, no source)."""
    with resources.files("font_roboto").joinpath("files/Roboto-Bold.ttf").open("rb") as file:
        font = TTFont(file)
    capital = font["OS/2"].sCapHeight / font["head"].unitsPerEm
    ready, trial = card_pdfs.write(card), card_pdfs.write(trial_card)

    assert 8.0 <= SETTING_PT * capital * 25.4 / 72.0
    for words in ("160 °C", "36 s", "medium", "Thin flexible siliconised"):
        assert pytest.approx(SETTING_PT) == size_of(ready, words)
    for words in ("146 °C, 26 s", "29 s", "medium"):
        assert pytest.approx(SETTING_PT) == size_of(trial, words)
    assert 10.0 <= size_of(ready, "Fit the lower platen.")
    assert 10.0 <= size_of(trial, "Stop at the first sign of harm.")
    assert 9.0 <= size_of(ready, "A closing press crushes.")
    assert 9.0 <= size_of(ready, "Evidence: film assumed")
    assert f".value {{ font-size: {SETTING_PT:g}pt;" in card_pages.write(card)


def test_evidence_stands_beside_the_peel(card: Card) -> None:
    """What a pressing stands on takes no line of its own beside a peel; without a peel it has the whole line."""
    (pressing,) = card.pressings

    def places(tiles: tuple[Tile, ...], evidence: str) -> dict[str, tuple[float, float]]:
        found: dict[str, tuple[float, float]] = {}

        def note(text: str, ctm: list[float], matrix: list[float], _font: object, _size: float) -> None:
            for word in ("Peel", "Evidence", "Cut"):
                if text.strip().startswith(word):
                    found.setdefault(word, (ctm[4] + matrix[4], ctm[5] + matrix[5]))

        pdf = card_pdfs.write(card._replace(pressings=(pressing._replace(tiles=tiles, evidence=evidence),)))
        PdfReader(io.BytesIO(pdf)).pages[0].extract_text(visitor_text=note)
        return found

    both, no_peel = places(pressing.tiles, pressing.evidence), places(pressing.tiles[:-1], pressing.evidence)
    no_evidence, neither = places(pressing.tiles, ""), places(pressing.tiles[:-1], "")

    assert both["Peel"][0] + 100.0 < both["Evidence"][0]
    assert both["Peel"][1] == pytest.approx(both["Evidence"][1], abs=6.0)
    assert no_peel["Evidence"][0] == pytest.approx(both["Peel"][0], abs=0.1)
    assert "Evidence" not in no_evidence
    assert 0.0 < no_evidence["Cut"][1] - both["Cut"][1] < 3.0
    assert neither["Cut"][1] > no_evidence["Cut"][1] + 10.0


def test_each_loading_has_a_page(card: Card, placed: Placed) -> None:
    """Two loadings are two pages, each with its settings, cuts, drawings and steps, numbered; the blanks are last."""
    two = card._replace(
        pressings=(card.pressings[0], Pressing("Pressing 2", "inner face", (Tile("Platen", "152 °C"),), loading=2)),
        steps=(*card.steps, Steps("Steps of the second", ("Turn the shoe.",), loading=2)),
        cuts=(*card.cuts, Cut("2 of 7", "Flock film", "an offcut", "mirrored", loading=2)),
        drawings=(placed, placed._replace(title="Inner quarter: 7")),
        drawing_loadings=(1, 2),
    )
    first, second = (
        re.sub(r"\s+", " ", page.extract_text()) for page in PdfReader(io.BytesIO(card_pdfs.write(two))).pages
    )
    page = card_pages.write(two)

    assert all(words in first for words in ("Loading 1 of 2", "160 °C", "MARLOW", "Outer quarter: 7", "page 1 of 2"))
    assert all(words in second for words in ("Loading 2 of 2", "152 °C", "2 of 7", "Inner quarter: 7", "Turn the shoe"))
    assert "page 2 of 2" in second
    assert "152 °C" not in first
    assert "160 °C" not in second
    assert "Done by" not in first
    assert "Done by" in second
    assert all(card.reference in text for text in (first, second))
    assert 2 == page.count('<section class="sheet"')


def test_a_card_to_be_tried_first_has_one_recipe(trial_card: Card) -> None:
    """With a trial neither pressings nor cuts nor steps are shown: the rungs are the only settings."""
    pdf, page = text_of(card_pdfs.write(trial_card)), Page(card_pages.write(trial_card)).said

    for words in ("36 s", "Peel the carrier warm.", "2 of MARLOW / 7", "Thin flexible siliconised"):
        assert words not in pdf
        assert words not in page


def test_a_trial_is_told_in_the_order_of_its_work(trial_card: Card) -> None:
    """What comes before the ladder, the rungs, what to look for, when to stop, what comes after; no empty label."""
    for words in (text_of(card_pdfs.write(trial_card)), Page(card_pages.write(trial_card)).said):
        told = (
            "Draw two dots.",
            "Let the shoe cool between rungs.",
            "146 °C, 26 s",
            "160 °C",
            "Look at the gloss.",
            "Stop at the first sign of harm.",
            "Wait a day.",
        )
        places = [words.index(sentence) for sentence in told]

        assert sorted(places) == places
        assert 1 == words.count("If it holds")


def test_a_declined_card_has_no_settings(card: Card) -> None:
    """What must not be pressed shows neither settings nor steps, even where a part of the order has some."""
    declined = card._replace(verdict="decline", verdict_words="Do not press")

    for words in (text_of(card_pdfs.write(declined)), Page(card_pages.write(declined)).said):
        assert "Do not press" in words
        assert not [setting for setting in ("160 °C", "36 s", "Press for", "2 of MARLOW / 7") if setting in words]


def test_what_is_too_long_for_a_page_goes_on(card: Card) -> None:
    """Forty long steps take several pages, all words are there, none smaller, and every page says which it is."""
    sentences = tuple(f"Step {number}: " + "press, lift, wait and look again. " * 8 for number in range(40))
    long = card._replace(steps=(Steps("Steps", sentences),))
    pdf = card_pdfs.write(long)
    pages = [re.sub(r"\s+", " ", page.extract_text()) for page in PdfReader(io.BytesIO(pdf)).pages]

    assert 2 < len(pages)
    assert [] == [number for number in range(40) if f"Step {number}:" not in " ".join(pages)]
    assert [] == [number for number, page in enumerate(pages, 1) if f"page {number} of {len(pages)}" not in page]
    assert 10.0 <= size_of(pdf, "Step 39:")
    (sheet,) = sheets(long)
    assert (DENSITIES[0], False) == (card_pdfs.layout_of(long, sheet).density, card_pdfs.layout_of(long, sheet).fits)


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        (("160 °C", "36 s", "medium"), (1, 1, 1)),
        (("160 °C", "36 s", "medium", "Thin flexible siliconised sheet"), (1, 1, 1, 3)),
        (("160 °C", "36 s", "medium", "Soft silicone sheet", "warm"), (1, 1, 1, 2, 1)),
        (("160 °C",), (3,)),
        (("Thin flexible siliconised sheet", "Soft silicone sheet"), (3, 3)),
        ((), ()),
    ],
)
def test_settings_fill_their_rows(values: tuple[str, ...], expected: tuple[int, ...]) -> None:
    """A long value goes over two columns, and the last of a row over the rest of it."""
    found = spans(tuple(Tile("", value) for value in values))

    assert expected == found
    assert 0 == sum(found) % TILES_ABREAST


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
def test_any_number_of_drawings_is_shown(card: Card, placed: Placed, count: int) -> None:
    """With twelve placements and as many pressings all are shown, at named scales, on as many pages as they take."""
    many = card._replace(
        drawings=tuple(placed._replace(title=f"Placement {number}") for number in range(count)),
        pressings=tuple(
            pressing._replace(heading=f"Pressing {n}") for n in range(count) for pressing in card.pressings
        ),
    )
    text = text_of(card_pdfs.write(many))
    (sheet,) = sheets(many)

    assert [] == [n for n in range(count) if f"Placement {n}." not in text or f"Pressing {n}:" not in text]
    assert all(
        re.search(r"Scale 1 : (1|1\.25|1\.5|2|2\.5|3|4|5|10)\.", words)
        for _, words, _ in drawn(sheet, 60.0 * count, card.tell)
    )


def test_a_drawing_is_as_large_as_its_room(card: Card) -> None:
    """A panel of 100 x 50 mm is drawn 1 : 1 in 96 mm, smaller in 44 mm, and always within its room."""
    (sheet,) = sheets(card)
    (full,), (less,) = drawn(sheet, 96.0, card.tell), drawn(sheet, 44.0, card.tell)

    assert "Scale 1 : 1." in full.words
    assert SCALES[0] == 1.0
    assert less.scene.height <= 44.0
    assert less.scene.height < full.scene.height


def test_drawings_on_one_page_have_ids_of_their_own(card: Card, placed: Placed) -> None:
    """Several drawings in a page share no id, though they have one name, and have no class that the page styles."""
    other = placed._replace(label="2", title="Inner quarter: 7")
    page = card_pages.write(card._replace(drawings=(placed, other)))
    ids = re.findall(r' id="([^"]+)"', page)
    drawings = "".join(re.findall(r"<svg.*?</svg>", page, re.DOTALL))

    assert 4 == len(ids) == len(set(ids))
    assert " class=" not in drawings
    assert " style=" not in drawings


def test_words_that_are_too_wide_for_a_drawing_are_left_out(card: Card) -> None:
    """The drawing keeps its scale: the words under it name the shoe, too."""
    placed = card.drawings[0]._replace(shoe="left")
    wide = placed._replace(ways=Ways(toe="toe", left="the shoe that is worn on the left foot of the pair " * 4))
    (usual,), (without,) = (
        drawn(sheets(card._replace(drawings=(each,)))[0], 60.0, card.tell) for each in (placed, wide)
    )
    assert usual.words == without.words
    assert {"left shoe"} == {item.text for item in usual.scene.items if isinstance(item, Words)} - {
        item.text for item in without.scene.items if isinstance(item, Words)
    }


def test_a_shops_words_for_pages_are_no_style(card: Card) -> None:
    """In the style sheet all but letters, digits and spaces of a message are escapes (CSS Syntax Level 3, 4.3.7)."""
    english = catalogues()["en"].messages
    hostile = {**english, "card.page": '“{page}” "; }} </style><script> {pages}'.replace("}}", "'}'")}
    page = card_pages.write(card._replace(tell=Speaker(Texts("en", hostile))))
    assert 1 == page.count("</style>")
    assert "<script>" not in page
    assert 'content: "\\201c " counter(page) "\\201d  \\22 ' in page


def test_letters_below_the_line_have_room() -> None:
    """A setting whose letters reach below the line stands higher above the words under it."""
    light, medium = (Tile("Pressure", level, "40 psi (276 kPa) at the platen") for level in ("light", "medium"))
    styles = card_pdfs._styles(DENSITIES[0])
    assert len(card_pdfs._tile(medium, styles)) + 1 == len(card_pdfs._tile(light, styles))
