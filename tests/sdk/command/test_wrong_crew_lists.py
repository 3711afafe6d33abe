"""Crew lists as people make them, wrong in twelve ways: each is answered row by row, and what can be priced is priced.

The lists are invented; that people make such is common practice, no source. What begins a formula: OWASP, "CSV
Injection".
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import NamedTuple

import httpx2
import pytest
from command_lines import CREW_ORDER

from featherline.command import main

_DEFAULT = ("--size", "EU 42")


class CrewList(NamedTuple):
    """A list, its options, and a verdict and part of the reasons for each of its rows."""

    content: bytes
    rows: Sequence[tuple[str, str]]
    options: Sequence[str] = _DEFAULT


LISTS = {
    "wrong column names": CrewList(
        b"Name,Number,Shoe size,Qty\nMARLOW,7,41,\nSHOAL,3,,\nEDDY,1,,2\n",
        [
            ("fault", "The column 'Shoe size' is not read; rename it 'size' if it is"),
            ("ready", ""),
            ("fault", "The column 'Qty' is not read; rename it 'pairs' if it is"),
        ],
    ),
    "no column for the text": CrewList(
        b"Nmae,number,size\nMARLOW,7,41\nEDDY,1,42\n",
        [("fault", "the file has no such column; it has: nmae, number, size; did you mean 'Nmae'?")] * 2,
    ),
    "the divider and the decimal comma of another country": CrewList(
        b"name;number;size\nMARLOW;7;EU 41,5\nEDDY;1;44,25\nSHOAL;3;42\n",
        [("ready", ""), ("fault", "EU has no size 44.25"), ("ready", "")],
        (),
    ),
    "formulas": CrewList(
        b"name,number,size,note\n=A9&B9,7,41,\n#REF!,12,41,\nEDDY,1,=D2,\n"
        b'SHOAL,3,42,"x;=HYPERLINK(""http://saltmarsh.test"")"\nEDDY,"=""07""",42,\n',
        [
            ("fault", "a formula: save the values"),
            ("fault", "an error of the spreadsheet"),
            ("fault", "'=D2' is not a size"),
            ("ready", ""),
            ("ready", ""),
        ],
    ),
    "blank lines and blank cells": CrewList(
        b"\n,,\nname,number,size\n\nMARLOW,7,EU 41\n,,\nEDDY,,42\n,,43\nSHOAL,3,\n",
        [
            ("ready", ""),
            ("fault", "The cell 'number' is empty."),
            ("fault", "The cell 'name' is empty. The cell 'number' is empty."),
            ("fault", "The row has no size"),
        ],
        (),
    ),
    "a title and merged headers": CrewList(
        b"Spring crew of Saltmarsh Quay,,,\n,,,\nWearer,,Shoe,\nname,number,size,\nMARLOW,7,41,\nEDDY,1,42,43\n",
        [("ready", ""), ("fault", "Cell 4, '43', is below no column's name")],
    ),
    "sizes in three systems": CrewList(
        b"name,number,size\nMARLOW,7,EU 42 2/3\nSHOAL,3,8\xc2\xbd UK\nEDDY,1,US men's 9.5\nSHOAL,3,US 9\nEDDY,1,9\n",
        [
            ("ready", ""),
            ("ready", ""),
            ("ready", ""),
            ("fault", "write US-men, US-women or US-child"),
            ("fault", "'9' is not a size without its system"),
        ],
        (),
    ),
    "a byte order mark and ids that repeat": CrewList(
        b"\xef\xbb\xbfid,name,number,size\na,MARLOW,7,41\nb,EDDY,1,42\na,SHOAL,3,43\n",
        [("ready", "2 rows have the id 'a'"), ("ready", ""), ("ready", "2 rows have the id 'a'")],
    ),
    "Latin-1": CrewList(
        "name,number,size\nMARLOW,7,41\nJ\u00d6RN,1,42\n".encode("latin-1"),
        [("ready", ""), ("fault", "not in the file's encoding: save it as CSV UTF-8, or name it")],
    ),
    "words for numbers and a divider in a name": CrewList(
        b"name,number,size,pairs\nMARLOW,7,41,two\nEDDY,1,forty,1\nTIDE,WAY,12,42,1\nSHOAL,3,43,2\n",
        [
            ("fault", "pairs is 'two'; give a whole number"),
            ("fault", "'forty' is not a size"),
            ("fault", "Cell 5, '1', is below no column's name"),
            ("ready", ""),
        ],
    ),
    "a total at the end": CrewList(
        b"name,number,size,pairs\nMARLOW,7,41,2\nEDDY,1,42,1\nTotal,,,3\n",
        [("ready", ""), ("ready", ""), ("fault", "reads like a total of the rows above; take it out")],
    ),
    "a quote that is not closed": CrewList(
        b'name,number,size\nMARLOW,7,41\n"EDDY,1,42\nSHOAL,3,43\n',
        [("ready", ""), ("fault", "quotes of the line do not pair"), ("ready", "")],
    ),
}


def test_there_are_twelve() -> None:
    """Each is wrong in a way of its own."""
    assert 12 == len(LISTS)


@pytest.mark.parametrize("name", LISTS)
def test_a_wrong_list_is_answered_row_by_row(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str
) -> None:
    """Each row has its verdict and reasons; the total is of those that are ready, and says what it leaves out."""
    crew, out = tmp_path / "crew.csv", tmp_path / "answered.csv"
    crew.write_bytes(LISTS[name].content)
    faulty = sum(verdict == "fault" for verdict, _ in LISTS[name].rows)

    assert (3 if faulty else 0) == main(
        ["roster", str(crew), *CREW_ORDER, *LISTS[name].options, "--out", str(out)], service
    )

    table = answered(out)
    assert [verdict for verdict, _ in LISTS[name].rows] == [row["verdict"] for row in table]
    for (_, said), row in zip(LISTS[name].rows, table, strict=True):
        assert said in row["reasons"]
        assert (row["verdict"] == "ready") == bool(row["price_total"]) == bool(row["recipe"])
    screen = " ".join(capsys.readouterr().out.split())
    assert f"{faulty} faulty" in screen
    if faulty < len(table):
        assert (f"The total leaves out {faulty} row" in screen) == (faulty > 0)


@pytest.mark.parametrize("name", LISTS)
def test_the_answer_to_a_wrong_list_is_harmless_whichever_divider_opens_it(
    service: httpx2.BaseTransport, tmp_path: Path, name: str
) -> None:
    """No cell is a formula, with a comma, a semicolon, a tab, a bar or a space between cells."""
    crew, out = tmp_path / "crew.csv", tmp_path / "answered.csv"
    crew.write_bytes(LISTS[name].content)
    main(["roster", str(crew), *CREW_ORDER, *LISTS[name].options, "--out", str(out)], service)

    for divider in (",", ";", "\t", "|", " "):
        cells = [cell for row in csv.reader(io.StringIO(text_of(out)), delimiter=divider) for cell in row]
        assert [] == [cell for cell in cells if cell.lstrip().startswith(("=", "+", "-", "@"))]


def test_the_rows_that_can_be_read_cost_what_they_cost_without_the_others(
    service: httpx2.BaseTransport, tmp_path: Path
) -> None:
    """A faulty row takes nothing and adds nothing: neither film nor price."""
    prices = []
    for lines in ("MARLOW,7,41\nEDDY,one two,huge\nSHOAL,3,43\n", "MARLOW,7,41\nSHOAL,3,43\n"):
        crew, out = tmp_path / "crew.csv", tmp_path / "answered.csv"
        crew.write_text(f"name,number,size\n{lines}")
        main(["roster", str(crew), *CREW_ORDER, *_DEFAULT, "--out", str(out)], service)
        prices.append([Decimal(row["price_total"]) for row in answered(out) if row["price_total"]])

    assert 2 == len(prices[0])
    assert prices[0] == prices[1]


def text_of(file: Path) -> str:
    """Return the text of a written list."""
    return file.read_bytes().decode("utf-8-sig")


def answered(file: Path) -> list[dict[str, str]]:
    """Return the rows of a written list below the line that names the columns."""
    lines = text_of(file).splitlines(keepends=True)
    first = next(at for at, line in enumerate(lines) if "verdict" in line)
    delimiter = ";" if ";verdict;" in lines[first] else ","
    return list(csv.DictReader(io.StringIO("".join(lines[first:])), delimiter=delimiter))
