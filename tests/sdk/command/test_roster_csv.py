"""Rosters as CSV files, as spreadsheets write them."""

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
from featherline.wire import BookShoe, Fault, Problem, RosterAnswer, RosterRow, Size

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"
ORDER: Any = msgspec.json.decode((EXAMPLES / "roster-request.json").read_bytes())["order"]
ANSWER: RosterAnswer = msgspec.json.decode((EXAMPLES / "roster-answer.json").read_bytes(), type=RosterAnswer)
EU42 = Size(system="EU", value="42")
CREW = "name,number\r\nMARLOW,7\r\nTIDEWAY,12\r\n"


def rows(text: str, size: Size | None = EU42, fields: tuple[str, ...] = ("name",)) -> list[RosterRow]:
    """Return the rows that a file makes."""
    return list(roster_csv.rows(roster_csv.read(text.encode(), None), fields, size))


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
def test_a_file_is_read_however_it_was_written(content: bytes) -> None:
    """Marks, dividers, line ends, blank lines, quotes and the order of columns make no difference."""
    sheet = roster_csv.read(content, None)
    named = {"name": ("MARLOW", "TIDEWAY"), "number": ("7", "12")}
    assert named == {name: tuple(line.cells[place] for line in sheet.lines) for place, name in enumerate(sheet.names)}


@pytest.mark.parametrize(
    ("header", "divider"),
    [("name;number,both;size", ";"), ("name\tnumber", "\t"), ("name", ","), ('"last; first",size', ",")],
)
def test_the_divider_is_the_one_that_makes_most_columns(header: str, divider: str) -> None:
    """Of the first line; without any it is a comma."""
    assert divider == roster_csv.read(f"{header}\nx\n".encode(), None).delimiter


def test_letters_are_coded_as_said() -> None:
    """An old code page is read when it is named, and never guessed."""
    content = "name;größe\nJÖRN;42,5\n".encode("cp1252")
    [line] = roster_csv.read(content, "cp1252").lines
    assert ("JÖRN", "42,5") == line.cells
    with pytest.raises(UsageError, match=r"not in UTF-8 \(line 1\).*--encoding cp1252"):
        roster_csv.read(content, None)
    with pytest.raises(UsageError, match="--encoding is 'saltwater'"):
        roster_csv.read(content, "saltwater")


def test_a_line_is_known_by_where_it_begins_in_the_file() -> None:
    """Blank lines, the line of the divider, and line ends inside of quotes are counted."""
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
        ("name\nMARLOW\nTIDE,WAY\n", "Line 3 has more cells"),
        ('name,number\n"MARLOW,7\n', "no CSV from line 2 on"),
    ],
)
def test_a_file_that_is_no_roster_is_refused(text: str, complaint: str) -> None:
    """What is wrong is said, with the line, and what to do."""
    with pytest.raises(UsageError, match=complaint):
        roster_csv.read(text.encode(), None)


def test_columns_fill_rows() -> None:
    """The five columns that count, and the fields that are asked for; blank cells are the order's; no more is sent."""
    text = (
        "name;email;Size;pairs;owner;shoe;id\nMARLOW;m@saltmarsh.test;41,5;2,0;Shop;;a\n"
        ";;UK 7;;;regatta-deck;\n;;;;;x;\nE\n"
    )
    expected = [
        RosterRow(id="a", fields={"name": "MARLOW"}, size=Size(system="EU", value="41.5"), pairs=2, owner="shop"),
        RosterRow(shoe=BookShoe(shoe="regatta-deck", size=Size(system="UK", value="7"))),
        RosterRow(shoe=BookShoe(shoe="x", size=EU42)),
        RosterRow(fields={"name": "E"}),
    ]
    assert expected == rows(text)


@pytest.mark.parametrize(
    ("text", "size", "complaint"),
    [
        ("number\n7\n", EU42, r"asks for \{name\}, but the file has no such column; it has: number"),
        ("name,pairs\nE,two\n", EU42, "Line 2: pairs is 'two'"),
        ("name,owner\nE,club\n", EU42, "Line 2: owner is 'club'; give customer or shop"),
        ("name,size\nE,huge\n", EU42, "Line 2: 'huge' is no size"),
        ("name,size\nE,42\n", None, "Line 2: '42' is no size"),
        ("name,shoe\nE,regatta-deck\n", None, "Line 2: a shoe of the book needs a size"),
    ],
)
def test_a_cell_that_cannot_be_is_refused(text: str, size: Size | None, complaint: str) -> None:
    """The message names the line and the cell."""
    with pytest.raises(UsageError, match=complaint):
        rows(text, size)


def test_the_first_line_s_size_stands_for_the_order_s() -> None:
    """Where every line has a size and the first one its system."""
    assert Size(system="EU", value="42.5") == roster_csv.first_size(roster_csv.read(b'size\n"EU 42,5"\n43\n', None))
    for text, complaint in (
        (b"name\nE\n", "Line 2 has no size"),
        (b"name,size\nE,EU 42\nF\n", "Line 3 has no size"),
        (b"size\n42\n", "Line 2: '42' is no size.*or give --size"),
    ):
        with pytest.raises(UsageError, match=complaint):
            roster_csv.first_size(roster_csv.read(text, None))


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        (ORDER, (("name", "number"), EU42)),
        ({"placements": [{"artwork": {"text": "{{x}} {a_1} {a_1}"}}], "shoe": {"kind": "measured"}}, (("a_1",), None)),
        ({"placements": 3, "shoe": {"size": "EU 42"}}, ((), None)),
        ({"placements": [{"artwork": "MARLOW"}, 3]}, ((), None)),
    ],
)
def test_an_order_asks_for_fields(order: Any, expected: object) -> None:  # noqa: ANN401
    """The names in braces, each once, and the size; what is not as an order has it is the service's to refuse."""
    assert expected == roster_csv.fields_and_size(order)


def test_a_fault_of_a_row_is_told_with_its_line() -> None:
    """Pointers stay as they are; the line of the file stands in front of what is wrong."""
    faults = (
        *(
            Fault(pointer=at, detail=why)
            for at, why in (("/rows/1/fields/name", "too long"), ("/rows/7", "?"), ("/order", "no"))
        ),
    )
    problem = Problem(type="about:blank", title="", status=422, detail="", instance="", errors=faults)
    told = roster_csv.with_line_numbers(problem, roster_csv.read(b"name\nA\n\nB\n", None))
    assert ["line 4 of the file: too long", "?", "no"] == [fault.detail for fault in told.errors]
    assert [fault.pointer for fault in faults] == [fault.pointer for fault in told.errors]


def written(content: bytes, answer: RosterAnswer = ANSWER, units: Any = "metric") -> bytes:  # noqa: ANN401
    """Return a file of five rows with their answers."""
    return roster_csv.write(roster_csv.read(content, None), answer, units)


def test_the_answer_stands_beside_the_rows() -> None:
    """Verdict, recipe, price and reasons of each row are those of the answer, in columns after the file's own."""
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


def test_a_recipe_is_read_off_on_one_line() -> None:
    """What the press is set to, in the scale that the reader uses first, for each pressing of the row."""
    [metric, american] = [
        next(csv.DictReader(io.StringIO(written(b"id\n1\n2\n3\n4\n5\n", units=units).decode())))["recipe"]
        for units in ("metric", "us")
    ]
    row = ANSWER.rows[0]
    assert row.plan is not None
    pressings = ANSWER.plans[row.plan].pressings
    assert len(pressings) == len(metric.split("; "))
    setting, peel = pressings[0].recipe.setting, pressings[0].recipe.peel
    assert setting is not None
    assert peel is not None
    scales = f"{setting.temperature_c:g} degC", f"{setting.temperature_f:g} degF"
    rest = (
        f"{setting.dwell_s:g} s, {setting.pressure}, under {setting.cover}, peel {peel.when} after {peel.wait_s:.0f} s"
    )
    assert f"smooth on outer: {scales[0]} ({scales[1]}), {rest}" == metric.split("; ")[0]
    assert f"smooth on outer: {scales[1]} ({scales[0]}), {rest}" == american.split("; ")[0]


def test_a_recipe_may_have_no_cover_and_no_setting() -> None:
    """Nothing is written of a setting that there is not."""
    [pressing, *_] = ANSWER.plans[0].pressings
    setting = pressing.recipe.setting
    assert setting is not None
    bare = replace(pressing, recipe=replace(pressing.recipe, setting=replace(setting, cover=None), peel=None))
    none = replace(pressing, recipe=replace(pressing.recipe, setting=None))
    answer = replace(ANSWER, plans=(replace(ANSWER.plans[0], pressings=(bare, none)), *ANSWER.plans[1:]))
    first = next(csv.DictReader(io.StringIO(written(b"id\n1\n2\n3\n4\n5\n", answer).decode())))
    assert first["recipe"].endswith(f"{setting.pressure}, no cover; ")


def test_a_file_is_written_as_it_came() -> None:
    """Divider, its line, the mark and the decimal comma are kept; lines end as RFC 4180 has it."""
    content = written(codecs.BOM_UTF8 + b"sep=;\r\nid\n1\n2\n3\n4\n5\n")
    assert content.startswith(codecs.BOM_UTF8 + b"sep=;\r\nid;verdict;")
    assert 7 == content.count(b"\r\n") == content.count(b"\n")
    price = ANSWER.rows[0].price
    assert price is not None
    assert f";{price.each.amount.replace('.', ',')};" in content.decode()
    assert b"id,verdict" not in content
    assert written(b"id,name\n1\n2\n3\n4\n5\n").startswith(b"id,name,verdict")


def test_another_code_is_written_as_marked_utf8() -> None:
    """Sentences may hold letters that an old code page lacks, and a spreadsheet knows UTF-8 by its mark."""
    sheet = roster_csv.read("name;n\nJÖRN\n2\n3\n4\n5\n".encode("cp1252"), "cp1252")
    assert roster_csv.write(sheet, ANSWER, "metric").startswith(codecs.BOM_UTF8 + b"name;n;verdict")


@pytest.mark.parametrize("begin", ["=", "+", "-", "@", "\N{FULLWIDTH EQUALS SIGN}"])
def test_no_cell_begins_a_formula(begin: str) -> None:
    """A cell that a spreadsheet would compute gets an apostrophe (OWASP, CSV Injection), a header's too."""
    content = written(f'"{begin}h",name\n"{begin}cmd|x!A1",A\n2\n3\n4\n5\n'.encode()).decode()
    cells = [cell for row in csv.reader(io.StringIO(content)) for cell in row]
    assert f"'{begin}h" == cells[0]
    assert f"'{begin}cmd|x!A1" in cells
    assert not [cell for cell in cells if cell.startswith(begin)]


def test_a_number_is_no_formula() -> None:
    """A plain number with a sign stays one."""
    content = written(b"id;n\n-7;+49\n2\n3\n4\n5\n").decode()
    assert "\r\n-7;+49;" in content
