from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from msgspec.structs import astuple

from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import Order, Placement
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.loader import load
from featherline_service.book_command import new_book
from featherline_service.book_command.new_book import AnswerError
from featherline_service.questions.quote import quotes

Command = Callable[..., tuple[int, str, str]]

ADULTS, CHILDREN = new_book.Sizes("EU", 36.0, 47.0), new_book.Sizes("EU", 22.0, 35.0)
SOME = new_book.Known(
    ("deck", "trainer"), ("grain-leather", "textile-lining"), {"deck": ADULTS, "trainer": ADULTS, "child": CHILDREN}
)


def test_a_book_of_ones_own_is_at_most_sixty_lines(written: Path) -> None:
    """A shop in pounds with tax, two films, two shoes and a press starts from 60 lines of TOML at most."""
    lines = [line for file in written.rglob("*.toml") for line in file.read_text("utf-8").splitlines() if line]
    assert len(lines) <= 60

    book = load([written])
    assert (["gull", "tern"], ["cob", "flats"], ["our-press"]) == (
        list(book.films), list(book.shoes), list(book.presses),
    )  # fmt: skip
    assert ("Curlew Marking", False, "GBP") == (book.bench.name, book.bench.invented, book.rates["rates"].currency)
    tax = book.policies["counter"].tax
    assert tax is not None
    assert ("0.20", "gross", "0.60") == (tax.rate, tax.shown, book.policies["counter"].share)


def test_a_book_of_ones_own_prices_an_order(written: Path) -> None:
    """An order of its film on its shoe has a price in its currency, with tax."""
    text = TextArtwork(text="AMY", font="plain", height="12 mm", fit_letters="space")
    placement = Placement(panel="outer", film="gull", colour="black", artwork=text)
    shoe = BookShoe(shoe="cob", size=Size(system="EU", value="42"))
    quote = quotes.compose(load([written]), Order(shoe=shoe, placements=(placement,)))
    assert "ready" == quote.verdict
    assert quote.price is not None
    assert quote.price.tax is not None
    assert "GBP" == quote.price.tax.gross.currency


def test_what_is_not_given_is_asked(command: Command, tmp_path: Path) -> None:
    """Questions are asked one by one, again where an answer cannot be used, with what would do."""
    answers = (
        "Curlew Marking", "POUND", "gbp", "0", "21", "50 %", "Clamshell", "clm", "clam", "",
        "Gull", "smoth", "smooth", "155", "15", "medium", "hot", "500", "25", "150.00", "Black", "", "",
        "Cob", "deck", "grain-leather + textile-lining", "80", "outer", "95x42", "", "UK4", "UK 5-11.5", "",
    )  # fmt: skip
    code, out, err = command("new", tmp_path / "book", answers=answers)
    assert (0, "") == (code, err)
    assert "'POUND' is not a currency in use; give an ISO 4217 code, such as 'EUR'" in out
    assert "'clm' is not one of clam, swing-away, self-opening" in out
    assert "the temperature on its maker's sheet, in degrees Celsius" in out
    assert "'smoth' is not one of smooth, " in out
    assert "'UK4' are no sizes; write a system (mondopoint, JP, EU, UK, " in out
    book = load([tmp_path / "book"])
    assert ("UK", 5.0, 11.5) == astuple(book.shoes["cob"].sizes)
    assert (None, "0.50", "21") == (
        book.policies["counter"].tax, book.policies["counter"].share, book.rates["rates"].labour_per_hour.amount,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("usual", "currency", "expected"),
    [
        (ADULTS, "GBP", new_book.Sizes("UK", 4.0, 12.0)),
        (CHILDREN, "GBP", new_book.Sizes("UK-child", 6.0, 13.0)),
        (ADULTS, "USD", new_book.Sizes("US-men", 5.0, 13.0)),
        (CHILDREN, "JPY", new_book.Sizes("JP", 13.0, 22.0)),
        (ADULTS, "EUR", None),
        (new_book.Sizes("UK", 4.0, 12.0), "GBP", None),
    ],
)
def test_sizes_that_are_not_said_are_marked_as_where_the_shop_is(
    usual: new_book.Sizes, currency: str, expected: new_book.Sizes | None
) -> None:
    """EU 36 to 47 are feet of 227 to 300 mm: UK 3.8 to 12.4, by 3 foot[in] - 23 (cfm-calculator.com, "shoe size")."""
    assert expected == new_book.in_system(usual, currency)


def test_questions_without_answers_end(command: Command, tmp_path: Path) -> None:
    """A script that gives too little is told how to give it."""
    code, _, err = command("new", tmp_path / "book", "--name", "Curlew")
    assert (2, True) == (code, "give them as options" in err)
    assert not (tmp_path / "book").exists()


def test_an_option_that_cannot_be_used_is_named(command: Command, tmp_path: Path) -> None:
    """Of many options, the one with the fault is told, and where its choices are."""
    code, _, err = command("new", tmp_path / "book", *OPTIONS, "--shoe", COB.replace("grain", "grian"))
    assert 2 == code
    assert err.startswith(
        "--shoe 'Cob:deck:grian-leather:80:outer:95x42': 'grian-leather' is not one of grain-leather, "
    )
    assert err.endswith("; `featherline-service book new --help` has every choice\n")

    _, _, err = command("new", tmp_path / "book", *OPTIONS, "--tax", "20")
    assert err.startswith("--tax '20': '20' may be percent or times; write 20% for percent")


def test_the_help_has_every_choice(
    command: Command, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Families, kinds and layers are in the help of the options that take them."""
    monkeypatch.setenv("COLUMNS", "5000")  # lines break at hyphens
    with pytest.raises(SystemExit):
        command("new", "--help")
    words = set(re.findall(r"[a-z-]+", capsys.readouterr().out))
    assert {"swing-away", "reflective", "sandal", "textile-lining", "foam-padding", "tongue"} <= words


def test_a_new_book_says_how_to_start(command: Command, tmp_path: Path) -> None:
    """The book is checked once it is written, and the next command is told."""
    code, out, _ = command("new", tmp_path / "book", *OPTIONS)
    first, *_, shoes, films, last = out.splitlines()
    assert (0, f"Wrote {tmp_path / 'book'}, and checked it:") == (code, first)
    assert f"Start the service with it: FEATHERLINE_BOOK={tmp_path / 'book'} featherline-service" == last
    assert (
        "Note: grey until you give their `colour` in shoes/shoes.toml: cob. Contrast and pictures go by it.",
        "Note: grey until you give the `hex` of their colours in films/films.toml: gull.",
    ) == (shoes, films)

    coloured = [f"{GULL}:#111111" if option == GULL else option for option in OPTIONS]
    assert "films/films.toml" not in command("new", tmp_path / "other", *coloured)[1]


def test_a_book_is_not_written_over(command: Command, own: Path) -> None:
    """A folder with a book stays as it is."""
    code, _, err = command("new", own, *("--name", "X", "--currency", "EUR", "--tax", "0", "--hourly", "1"),
                           *("--markup", "0.9", "--press", "P:clam", "--film", GULL, "--shoe", COB))  # fmt: skip
    assert (2, f"There is a book in {own} already; name another folder, or edit that one\n") == (code, err)


GULL = "Gull:smooth:155:15:medium:hot:500:25:150.00:Black"
COB = "Cob:deck:grain-leather:80:outer:95x42"
OPTIONS = (
    "--name", "Curlew", "--currency", "GBP", "--tax", "20%", "--hourly", "21", "--markup", "60%",
    "--press", "Ours:clam", "--film", GULL, "--shoe", COB,
)  # fmt: skip
PRESS, FILM, SHOE = (
    partial(new_book.read, parts)
    for parts in (new_book.press_parts(), new_book.film_parts(), new_book.shoe_parts(SOME))
)


@pytest.mark.parametrize(
    ("read", "text", "said"),
    [
        (new_book.identifier, "!?", "Give a name with letters or digits"),
        (new_book.currency, "XAU", "'XAU' is not a currency in use"),
        (new_book.amount, "12,50", "'12,50' is not an amount; write it with a point, such as 24.50"),
        (new_book.share, "20", "'20' may be percent or times; write 20% for percent, or a share below 1"),
        (new_book.number, "-1", "'-1' is not a number above zero"),
        (new_book.number, "warm", "'warm' is not a number above zero"),
        (new_book.hex_of, "black", "'black' is not a colour; write it as #1d2b44"),
        (PRESS, "Clam", "'Clam' has 1 parts; write NAME:OPENING"),
        (FILM, "Gull:smooth", "'Gull:smooth' has 2 parts; write NAME:FAMILY:DEGREES_C:"),
        (FILM, GULL.replace("medium", "hard"), "'hard' is not one of light, medium, firm"),
        (SHOE, COB.replace("grain", "grin"), "'grin-leather' is not one of grain-"),
        (SHOE, COB.replace("95x42", "95"), "'' is not a number above zero"),
        (SHOE, COB + ":perhaps", "'perhaps' is not one of yes, no"),
    ],
)
def test_an_answer_that_cannot_be_used_says_what_would_do(read: Callable[[str], object], text: str, said: str) -> None:
    """Every answer is read at once, and refused with its form or its choices."""
    with pytest.raises(AnswerError) as told:
        read(text)
    assert str(told.value).startswith(said)


@pytest.mark.parametrize(("text", "share"), [("20%", "0.20"), ("5.5 %", "0.055"), ("0.2", "0.2"), ("120%", "1.20")])
def test_a_share_is_given_in_percent_or_as_such(text: str, share: str) -> None:
    """Percent become an exact decimal share."""
    assert share == new_book.share(text)


def test_a_shoe_may_be_protective() -> None:
    """Certified protective footwear says so; what is not said is not."""
    *_, said, _ = new_book.read(new_book.shoe_parts(SOME), f"{COB}:protective")
    *_, unsaid, _ = new_book.read(new_book.shoe_parts(SOME), COB)
    assert (True, False) == (said, unsaid)


def test_a_form_says_what_may_be_left_out() -> None:
    """Parts in brackets need not be given."""
    assert "NAME:KIND:LAYER+LAYER:PAIR_VALUE:FACE:WIDTHxHEIGHT_MM[:protective][:SIZES]" == new_book.form(
        new_book.shoe_parts(SOME)
    )


def test_the_printed_guide_starts(written: Path, tmp_path: Path) -> None:
    """The files that the guide has an owner write by hand are a book, the same as `new` writes."""
    guide = (Path(__file__).parents[3] / "service" / "book.md").read_text("utf-8")
    (block,) = re.findall(r"```toml\n(# book.toml\n.*?)```", guide, re.DOTALL)
    for part in re.split(r"^# (?=\S+\.toml$)", block, flags=re.MULTILINE)[1:]:
        name, _, text = part.partition("\n")
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, "utf-8")
    new, guided = load([written]), load([tmp_path])
    assert (new.bench, new.presses, new.rates, new.policies) == (
        guided.bench, guided.presses, guided.rates, guided.policies,
    )  # fmt: skip
    assert (new.films["gull"], new.shoes["cob"]) == (guided.films["gull"], guided.shoes["cob"])


@pytest.mark.parametrize(
    ("environment", "language"),
    [
        ({}, "en"),
        ({"LANG": "de_AT.UTF-8"}, "de"),
        ({"LANG": "de_DE.UTF-8", "LC_ALL": "", "LC_MESSAGES": "fr_FR@euro"}, "fr"),
        ({"LC_ALL": "C.UTF-8", "LANG": "es_ES.UTF-8"}, "en"),
    ],
)
def test_the_cards_are_in_the_language_of_who_writes_the_book(environment: dict[str, str], language: str) -> None:
    """The first of LC_ALL, LC_MESSAGES and LANG that is set (POSIX); English where there are no messages in it."""
    assert language == new_book.language_of(environment)


@pytest.mark.parametrize(("language", "written"), [("de", True), ("en", False)])
def test_a_given_language_is_in_the_bench(command: Command, tmp_path: Path, language: str, written: bool) -> None:
    """English need not be written: a book that names no language has it."""
    assert 0 == command("new", tmp_path / "book", *OPTIONS, "--language", language)[0]
    text = (tmp_path / "book" / "benches" / "bench.toml").read_text("utf-8")
    assert written == (f'language = "{language}"' in text)
    assert language == load([tmp_path / "book"]).bench.language


def test_a_language_without_messages_is_refused(command: Command, tmp_path: Path) -> None:
    """It is told with those that there are."""
    code, _, err = command("new", tmp_path / "book", *OPTIONS, "--language", "nl")
    assert (2, True) == (code, err.startswith("--language 'nl': 'nl' is not one of en, de, es, fr"))
