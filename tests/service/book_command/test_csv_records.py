from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import pytest

from featherline_service.book.loader import load

Command = Callable[..., tuple[int, str, str]]


@pytest.mark.parametrize("kind", ["films", "shoes", "sizes"])
def test_what_is_exported_and_imported_changes_nothing(own: Path, tmp_path: Path, command: Command, kind: str) -> None:
    """A spreadsheet that comes back as it went leaves every file as it was."""
    _, text, _ = command("export", kind, own)
    (tmp_path / "sheet.csv").write_text(text, "utf-8")
    files = {file: file.read_text("utf-8") for file in own.rglob("*.toml")}

    code, out, err = command("import", kind, tmp_path / "sheet.csv", own)

    assert (0, "") == (code, err)
    assert 2 == out.count(": unchanged\n")
    assert files == {file: file.read_text("utf-8") for file in own.rglob("*.toml")}


def test_a_changed_cell_changes_one_value(own: Path, tmp_path: Path, command: Command) -> None:
    """Comments, order and all other values stay."""
    file = own / "films" / "films.toml"
    file.write_text(
        "# Ours, by the list of May.\n" + file.read_text("utf-8").replace("peel", "# hot!\npeel", 1), "utf-8"
    )
    before = file.read_text("utf-8")
    _, text, _ = command("export", "films", own)
    (tmp_path / "sheet.csv").write_text(text.replace("150.00", "165.50"), "utf-8")

    _, out, _ = command("import", "films", tmp_path / "sheet.csv", own)

    assert "films/gull: changed roll.price" in out.splitlines()
    assert before.replace("150.00", "165.50") == file.read_text("utf-8")


def test_new_films_and_shoes_come_from_a_spreadsheet(own: Path, tmp_path: Path, command: Command) -> None:
    """A line is a film; a shoe has a line for each panel, traced or measured."""
    films = (
        "id,name,family,setting.coolest_c,setting.shortest_s,setting.pressure,peel.when,roll.width_mm,roll.price,"
        "colours\n"
        'plover,Plover,reflective,150,16,medium,hot,500,300.00,"grey Grey #b4b7ba reflective; white White #ffffff"\n'
    )
    shoes = (
        "id,name,kind,upper,colour,pair_value,panel,panel.face,panel.width_mm,panel.height_mm,panel.outline\n"
        "dune,Dune,sandal,grain-leather; textile-lining,#998877,45.00,strap,outer,60,22,\n"
        "dune,,,,,,front,toe,,,M0 0H50V20H0Z\n"
    )
    for kind, text in (("films", films), ("shoes", shoes)):
        (tmp_path / "sheet.csv").write_text(text, "utf-8")
        code, out, err = command("import", kind, tmp_path / "sheet.csv", own)
        assert (0, "") == (code, err)
        assert ": added " in out

    book = load([own])
    assert [("grey", "reflective"), ("white", "none")] == [
        (colour.id, colour.effect) for colour in book.films["plover"].colours
    ]
    assert "maker-sheet" in {cite.source for cite in book.films["plover"].cites}
    assert [("strap", "outer", "M0 0H60V22H0Z"), ("front", "toe", "M0 0H50V20H0Z")] == [
        (panel.id, panel.face, panel.outline) for panel in book.shoes["dune"].panels
    ]
    assert "dune" == book.shoes["dune"].panels[0].upper


def test_a_panel_is_changed_by_its_id(own: Path, tmp_path: Path, command: Command) -> None:
    """A panel that is measured anew takes its place; a further one is added; others stay."""
    text = "id,panel,panel.face,panel.width_mm,panel.height_mm\ncob,outer,,99,42\ncob,tongue,tongue,60,30\n"
    (tmp_path / "sheet.csv").write_text(text, "utf-8")
    command("import", "shoes", tmp_path / "sheet.csv", own)
    assert ["M0 0H99V42H0Z", "M0 0H60V30H0Z"] == [panel.outline for panel in load([own]).shoes["cob"].panels]


def test_a_film_of_the_demo_book_is_changed_in_an_overlay(tmp_path: Path, command: Command) -> None:
    """What differs from the book before is all that the overlay says."""
    (tmp_path / "book").mkdir()
    (tmp_path / "book" / "book.toml").write_text('mode = "overlay"', "utf-8")
    (tmp_path / "sheet.csv").write_text("id,roll.price,source\nsmooth,190.00,maker-sheet\nflock,240.00,\n", "utf-8")
    _, out, _ = command("import", "films", tmp_path / "sheet.csv", tmp_path / "book")
    assert "films/flock: unchanged" in out.splitlines()
    expected = '[[record]]\nid = "smooth"\nroll = {price = "190.00"}\nsource = "maker-sheet"\n'
    assert expected == (tmp_path / "book" / "films" / "films.toml").read_text("utf-8")


@pytest.mark.parametrize(
    ("kind", "text", "said"),
    [
        ("films", "name\nGull", "line 1: id: Missing; the columns are id, name, family"),
        ("films", "id,nmae\ngull,Gull", "line 1: nmae: Unknown; take it out, or correct it to one of name, "),
        ("films", "id,name\n,Gull", "line 2: id: Missing; give each record an id"),
        ("films", "id,roll.width_mm\ngull,50 cm", "line 2: roll.width_mm: '50 cm' is no number; write it with a point"),
        ("films", "id,colours\ngull,black", 'line 2: colours: Not a colour; write each as "black Jet black #101010"'),
        ("shoes", "id,protective\ncob,perhaps", "line 2: protective: 'perhaps' is neither yes nor no; write one of"),
        (
            "shoes",
            "id,panel,panel.width_mm\ncob,a,9",
            "line 2: panel.width_mm: Give both sides of the rectangle",
        ),
    ],
)
def test_a_line_that_cannot_be_read_is_told(  # noqa: PLR0917 - a file
    own: Path, tmp_path: Path, command: Command, kind: str, text: str, said: str
) -> None:
    """Nothing is written, and the message has the line, the column and what would do."""
    files = {file: file.read_text("utf-8") for file in own.rglob("*.toml")}
    (tmp_path / "sheet.csv").write_text(text, "utf-8")
    code, out, err = command("import", kind, tmp_path / "sheet.csv", own)
    assert (2, "", True) == (code, out, err.startswith(said))
    assert files == {file: file.read_text("utf-8") for file in own.rglob("*.toml")}


def test_a_truth_is_yes_or_no(own: Path, tmp_path: Path, command: Command) -> None:
    """A shoe that is certified says yes."""
    (tmp_path / "sheet.csv").write_text("id,protective\nflats,yes\n", "utf-8")
    command("import", "shoes", tmp_path / "sheet.csv", own)
    assert load([own]).shoes["flats"].protective


def test_what_a_shoe_does_not_say_is_an_empty_cell(command: Command) -> None:
    """A shoe of the demo book without a kind has none in the spreadsheet, and every panel has a line."""
    _, text, _ = command("export", "shoes", "demo")
    rows = [row for row in csv.DictReader(io.StringIO(text)) if row["id"] == "turf-boot"]
    assert ("", "Turf boot (invented)", "no") == (rows[0]["kind"], rows[0]["name"], rows[0]["protective"])
    assert ["outer-quarter", "inner-quarter", "toe", "heel"] == [row["panel"] for row in rows]


def test_a_panel_may_be_named_for_its_face_alone(own: Path, tmp_path: Path, command: Command) -> None:
    """What a line does not say of a panel stays as it is."""
    (tmp_path / "sheet.csv").write_text("id,panel,panel.face\ncob,outer,outer\n", "utf-8")
    assert "shoes/cob: unchanged" in command("import", "shoes", tmp_path / "sheet.csv", own)[1].splitlines()


@pytest.mark.parametrize(
    ("content", "said"), [(None, "No such file or directory"), (b"id\xff", "can't decode byte 0xff")]
)
def test_a_file_that_cannot_be_read_is_told(
    own: Path, tmp_path: Path, command: Command, content: bytes | None, said: str
) -> None:
    """A spreadsheet that is not there, or that is no UTF-8, is a message and not a failure of the program."""
    if content is not None:
        (tmp_path / "sheet.csv").write_bytes(content)
    code, out, err = command("import", "films", tmp_path / "sheet.csv", own)
    assert (2, "") == (code, out)
    assert err.startswith("A file cannot be used: ")
    assert said in err
