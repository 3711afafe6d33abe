"""Rosters as CSV files, as spreadsheets save them."""

from __future__ import annotations

import codecs
import csv
import io
from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from featherline.command import roster_csv
from featherline.command.requests import UsageError
from featherline.wire import Fault, Problem, RosterAnswer

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"
ANSWER: RosterAnswer = msgspec.json.decode((EXAMPLES / "roster-answer.json").read_bytes(), type=RosterAnswer)
CREW = "name,number\r\nMARLOW,7\r\nTIDEWAY,12\r\n"


@pytest.mark.parametrize(
    "content",
    [
        CREW.encode(),
        CREW.replace("\r\n", "\n").encode(),
        CREW.replace("\r\n", "\r").encode(),
        codecs.BOM_UTF8 + CREW.encode(),
        CREW.replace(",", ";").encode(),
        codecs.BOM_UTF16_LE + CREW.replace(",", "\t").encode("utf-16-le"),
        codecs.BOM_UTF16_BE + CREW.replace(",", "\t").encode("utf-16-be"),
        b"sep=,\r\n" + CREW.encode(),
        b'"sep=|"\r\n' + CREW.replace(",", "|").encode(),
        b"\r\n\r\n" + CREW.encode() + b"  ,\r\n,\r\n",
        b"Number,NAME\n7,MARLOW\n12,TIDEWAY",
        b'"number"," name "\n="7","MARLOW"\n"12","TIDEWAY"',
    ],
    ids=repr,
)
def test_every_form_of_a_file_is_read(content: bytes) -> None:
    """Byte order marks, delimiters, line ends, blank lines, quotes and the order of columns make no difference."""
    sheet = roster_csv.read(content, None)
    columns = {"name": ("MARLOW", "TIDEWAY"), "number": ("7", "12")}
    assert columns == {name: tuple(line.cells[at] for line in sheet.lines) for at, name in enumerate(sheet.names)}


@pytest.mark.parametrize(
    ("header", "delimiter"),
    [("name;number,both;size", ";"), ("name\tnumber", "\t"), ("name", ","), ('"last; first",size', ",")],
)
def test_the_delimiter_is_the_one_with_the_most_columns(header: str, delimiter: str) -> None:
    """The first line decides; without a delimiter it is a comma."""
    assert delimiter == roster_csv.read(f"{header}\nx\n".encode(), None).delimiter


def test_an_encoding_is_never_guessed() -> None:
    """A file in an old code page is read if its encoding is named, else refused."""
    content = "name;größe\nJÖRN;42,5\n".encode("cp1252")
    [line] = roster_csv.read(content, "cp1252").lines
    assert ("JÖRN", "42,5") == line.cells
    with pytest.raises(UsageError, match=r"not in UTF-8 \(line 1\).*--encoding cp1252"):
        roster_csv.read(content, None)
    with pytest.raises(UsageError, match="--encoding is 'saltwater'"):
        roster_csv.read(content, "saltwater")


def test_a_row_has_the_number_of_its_first_line() -> None:
    """Blank lines, the line of the delimiter, and line ends inside quotes are counted."""
    sheet = roster_csv.read(b'sep=;\nname\n"MAR\r\nLOW"\n\nTIDE\n', None)
    assert [(3, ("MAR\nLOW",)), (6, ("TIDE",))] == [tuple(line) for line in sheet.lines]


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "no columns"),
        ("sep=;\n", "no columns"),
        ("name,number\n", "no rows"),
        ("name,Name\nMARLOW,7\n", "two columns 'name'"),
        ("name,Price Each\nMARLOW,7\n", "a column 'price_each', in which the answer goes"),
        ('"name,number\nMARLOW,7\n', "quotes of line 1, which names the columns, do not pair"),
    ],
)
def test_a_file_without_a_roster_is_refused(text: str, complaint: str) -> None:
    """The message says what is wrong, in which line, and what to do."""
    with pytest.raises(UsageError, match=complaint):
        roster_csv.read(text.encode(), None)


def test_a_line_whose_quotes_do_not_pair_is_a_line_of_its_own() -> None:
    """An open quote, and text after a closed one, take no other line with them; the cells are divided all the same."""
    sheet = roster_csv.read(
        b'Crew, "spring\nname,number\nEDDY,"1\n"MAR\nLOW",7\n"TIDE"WAY,12\n\nSHOAL,"3\n', None, ("name", "number")
    )
    assert [
        (3, ("EDDY", '"1')), (4, ("MAR\nLOW", "7")), (6, ('"TIDE"WAY', "12")), (8, ("SHOAL", '"3')),
    ] == [tuple(line) for line in sheet.lines]  # fmt: skip
    assert {3, 6, 8} == sheet.unpaired


def test_a_fault_of_a_row_names_its_line() -> None:
    """The line of the file is put before the detail; the pointers stay the same."""
    faults = (
        *(
            Fault(pointer=at, detail=why)
            for at, why in (("/rows/1/fields/name", "too long"), ("/rows/7", "?"), ("/order", "no"))
        ),
    )
    problem = Problem(type="about:blank", title="", status=422, detail="", instance="", errors=faults)
    changed = roster_csv.with_line_numbers(problem, roster_csv.read(b"name\nA\n\nB\n", None))
    assert ["line 4 of the file: too long", "?", "no"] == [fault.detail for fault in changed.errors]
    assert [fault.pointer for fault in faults] == [fault.pointer for fault in changed.errors]


def written(content: bytes, answer: RosterAnswer = ANSWER, units: Any = "metric") -> bytes:  # noqa: ANN401
    """Return a file of five rows with the answers to them."""
    return roster_csv.write(roster_csv.read(content, None), answer, units)


def test_the_answers_are_beside_the_rows() -> None:
    """Columns after those of the file have the verdict, recipe, price and reasons of each row."""
    table = list(csv.DictReader(io.StringIO(written(b"id,name\n1,A\n2,B\n3,C\n4,D\nspare,E\n").decode())))
    assert ["id", "name", *roster_csv.ANSWER_COLUMNS] == list(table[0])
    assert ["1", "2", "3", "4", "spare"] == [row["id"] for row in table]
    for line, row in zip(table, ANSWER.rows, strict=True):
        assert (row.verdict or "fault") == line["verdict"]
        assert [row.price.each.amount, row.price.total.amount, row.price.total.currency] == [
            line["price_each"], line["price_total"], line["currency"],
        ] if row.price else ["", ""] == [line["price_each"], line["currency"]]  # fmt: skip
        assert bool(line["recipe"]) == (row.plan is not None)
        assert all(reason.sentence in line["reasons"] for reason in row.reasons)
        assert all(fault.detail.rstrip(".") in line["reasons"] for fault in row.faults)
    assert {"fault", "decline", "ready"} <= {line["verdict"] for line in table}


def test_a_recipe_is_on_one_line() -> None:
    """It has the setting of each pressing, with the reader's scale first."""
    [metric, american] = [
        next(csv.DictReader(io.StringIO(written(b"id\n1\n2\n3\n4\n5\n", units=units).decode())))["recipe"]
        for units in ("metric", "us")
    ]
    row = ANSWER.rows[0]
    assert row.plan is not None
    pressings = ANSWER.plans[row.plan].pressings
    assert len(pressings) == len(metric.split("; "))
    setting = pressings[0].recipe.setting
    assert setting is not None
    scales = f"{setting.temperature_c:g} degC", f"{setting.temperature_f:g} degF"
    rest = f"{setting.dwell_s:g} s, {setting.pressure}, under {setting.cover}, peel hot at once"
    assert f"smooth on outer: {scales[0]} ({scales[1]}), {rest}" == metric.split("; ")[0]
    assert f"smooth on outer: {scales[1]} ({scales[0]}), {rest}" == american.split("; ")[0]


def test_a_recipe_without_cover_or_setting() -> None:
    """A missing cover is written as such, a missing setting as an empty text."""
    [pressing, *_] = ANSWER.plans[0].pressings
    setting = pressing.recipe.setting
    assert setting is not None
    bare = replace(pressing, recipe=replace(pressing.recipe, setting=replace(setting, cover=None), peel=None))
    none = replace(pressing, recipe=replace(pressing.recipe, setting=None))
    answer = replace(ANSWER, plans=(replace(ANSWER.plans[0], pressings=(bare, none)), *ANSWER.plans[1:]))
    first = next(csv.DictReader(io.StringIO(written(b"id\n1\n2\n3\n4\n5\n", answer).decode())))
    assert first["recipe"].endswith(f"{setting.pressure}, no cover; ")


def test_a_recipe_with_a_wait_before_the_peel() -> None:
    """How long to wait is said in whole seconds."""
    [pressing, *_] = ANSWER.plans[0].pressings
    assert pressing.recipe.peel is not None
    late = replace(pressing.recipe.peel, when="warm", wait_s=61.4)
    waits = replace(pressing, recipe=replace(pressing.recipe, peel=late))
    answer = replace(ANSWER, plans=(replace(ANSWER.plans[0], pressings=(waits,)), *ANSWER.plans[1:]))
    first = next(csv.DictReader(io.StringIO(written(b"id\n1\n2\n3\n4\n5\n", answer).decode())))
    assert first["recipe"].endswith(", peel warm after 61 s")


def test_a_file_keeps_its_form() -> None:
    """The delimiter, its line, the byte order mark and the decimal comma stay; lines end as in RFC 4180."""
    content = written(codecs.BOM_UTF8 + b"sep=;\r\nid\n1\n2\n3\n4\n5\n")
    assert content.startswith(codecs.BOM_UTF8 + b"sep=;\r\nid;verdict;")
    assert 7 == content.count(b"\r\n") == content.count(b"\n")
    price = ANSWER.rows[0].price
    assert price is not None
    assert f";{price.each.amount.replace('.', ',')};" in content.decode()
    assert b"id,verdict" not in content
    assert written(b"id,name\n1\n2\n3\n4\n5\n").startswith(b"id,name,verdict")


def test_another_encoding_becomes_utf8_with_a_mark() -> None:
    """Sentences may have letters that an old code page lacks, and a spreadsheet recognises UTF-8 by its mark."""
    sheet = roster_csv.read("name;n\nJÖRN\n2\n3\n4\n5\n".encode("cp1252"), "cp1252")
    assert roster_csv.write(sheet, ANSWER, "metric").startswith(codecs.BOM_UTF8 + b"name;n;verdict")


@pytest.mark.parametrize("begin", ["=", "+", "-", "@", "\N{FULLWIDTH EQUALS SIGN}"])
def test_no_cell_begins_a_formula(begin: str) -> None:
    """A cell that a spreadsheet would compute gets an apostrophe (OWASP, CSV Injection), a column's name, too."""
    content = written(f'"{begin}h",name\n"{begin}cmd|x!A1",A\n2\n3\n4\n5\n'.encode()).decode()
    cells = [cell for row in csv.reader(io.StringIO(content)) for cell in row]
    assert f"'{begin}h" == cells[0]
    assert f"'{begin}cmd|x!A1" in cells
    assert not [cell for cell in cells if cell.startswith(begin)]


@pytest.mark.parametrize("opened_with", [",", ";", "\t", "|", ":", " "])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_no_cell_begins_a_formula_whichever_delimiter_opens_the_file(delimiter: str, opened_with: str) -> None:
    """A cell may begin a formula after a delimiter, a quote or a line end inside it (OWASP, CSV Injection)."""
    before = ["a;", "a,", "a|", "a:", "a\t", "a ", "a; ", 'a"', 'a";"', "a\n", "a\n;;", ""]
    content = io.StringIO(newline="")
    writer = csv.writer(content, delimiter=delimiter)
    writer.writerows([["id", "note"], *([str(at), f"{text}{sign}SUM(A1)"] for at, (text, sign) in enumerate(
        zip(before, "=+-@=+-@=+-@", strict=True)
    ))])  # fmt: skip
    answer = replace(ANSWER, rows=tuple(ANSWER.rows[at % len(ANSWER.rows)] for at in range(len(before))))
    opened = list(csv.reader(io.StringIO(written(content.getvalue().encode(), answer).decode()), delimiter=opened_with))
    cells = [cell.lstrip() for row in opened for cell in row]

    assert [] == [cell for cell in cells if cell.startswith(("=", "+", "-", "@")) and "SUM" in cell]
    assert len(before) <= sum("SUM(A1)" in cell for cell in cells)


def test_a_sentence_keeps_its_numbers_and_dashes() -> None:
    """After a space, a number or a lone dash is no formula, so reasons stay readable."""
    content = written(b"id;n\na - b;by -0.3 mm\n2\n3\n4\n5\n").decode()
    assert "\r\na - b;by -0.3 mm;" in content


def test_titles_above_the_columns_stay_in_the_file() -> None:
    """The columns are named by the first line that has most of the names that count."""
    sheet = roster_csv.read(
        b"Saltmarsh Quay crew\n\nWearer,,Shoe\nid,name,size\n1,A,41\n", None, ("id", "name", "size", "shoe")
    )
    assert (("id", "name", "size"), (5,)) == (sheet.names, tuple(line.number for line in sheet.lines))
    answer = replace(ANSWER, rows=ANSWER.rows[:1])
    lines = roster_csv.write(sheet, answer, "metric").decode().split("\r\n")
    assert ["Saltmarsh Quay crew,,", "Wearer,,Shoe"] == lines[:2]
    assert lines[2].startswith("id,name,size,verdict,")


def test_the_delimiter_is_the_one_that_makes_known_columns() -> None:
    """A comma in the title is no delimiter of a list with semicolons."""
    content = b"Crew, spring, at Saltmarsh Quay\nname;number\nMARLOW;7\n"
    assert ";" == roster_csv.read(content, None, ("name", "number")).delimiter


def test_a_number_is_no_formula() -> None:
    """A number with a sign stays unchanged."""
    content = written(b"id;n\n-7;+49\n2\n3\n4\n5\n").decode()
    assert "\r\n-7;+49;" in content
