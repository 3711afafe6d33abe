"""The rows of a roster from the cells of a sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from featherline.command import roster_csv, roster_rows
from featherline.command.requests import UsageError
from featherline.wire import BookShoe, Fault, RosterAnswer, RosterRow, Size

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"
ORDER: Any = msgspec.json.decode((EXAMPLES / "roster-request.json").read_bytes())["order"]
EU42 = Size(system="EU", value="42")


def rows(
    text: str, size: Size | None = EU42, fields: tuple[str, ...] = ("name",), *, has_default: bool = True
) -> list[RosterRow]:
    """Return the rows of a roster for a file."""
    sheet = roster_csv.read(text.encode(), None, (*fields, *roster_rows.COLUMNS))
    return list(roster_rows.rows(sheet, fields, size, has_default=has_default))


def test_columns_fill_rows() -> None:
    """The five special columns and the fields of the texts are sent, and no others; blank cells are left out."""
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
    ("text", "size", "fault"),
    [
        ("number\n7\n", EU42, "asks for {name}, but the file has no such column; it has: number"),
        ("nmae\nE\n", EU42, "did you mean 'nmae'?"),
        ("name,pairs\nE,two\n", EU42, "pairs is 'two'; give a whole number from 1 to 10000"),
        ("name,pairs\nE,0\n", EU42, "pairs is '0'"),
        ("name,pairs\nE,99999\n", EU42, "pairs is '99999'"),
        ("name,owner\nE,club\n", EU42, "owner is 'club'; give customer or shop"),
        ("name,size\nE,huge\n", EU42, "'huge' is not a size"),
        ("name,size\nE,42\n", None, "'42' is not a size"),
        ("name,shoe\nE,regatta-deck\n", None, "A shoe of the book needs a size"),
        ("name,shoe\nE,Regatta Deck\n", EU42, "shoe is 'Regatta Deck'; write its id"),
        (f"name\n{'X' * 201}\n", EU42, "201 characters; give at most 200"),
        ("name\n=A2&B2\n", EU42, "a formula: save the values"),
        ("name\n#REF!\n", EU42, "an error of the spreadsheet"),
        (f"name,id\nE,{'x' * 129}\n", EU42, "id has 129 characters"),
        ("name,size\nE,42,5\n", EU42, "Cell 3, '5', is below no column's name"),
        (
            "name,Shoe size\nE,41\n",
            EU42,
            "The column 'Shoe size' is not read; rename it 'size' if it is the size of the shoe",
        ),
        ("name,size\nE,42\n", None, """for a bare number or a blank cell, give '--size "EU 42"'"""),
        ("name,szie\nE,41\n", EU42, "The column 'szie' is not read; rename it 'size' if it is the size of the shoe"),
        ("name,Qty\nE,2\n", EU42, "The column 'Qty' is not read; rename it 'pairs' if it is the number of pairs"),
    ],
)
def test_a_cell_that_cannot_be_read_is_a_fault_of_its_row(text: str, size: Size | None, fault: str) -> None:
    """The fault names the cell and what to write; the row says nothing else."""
    [row] = rows(text, size)
    assert any(fault in sentence for sentence in row.faults)
    assert RosterRow(id=row.id, faults=row.faults) == row


def test_a_wrong_cell_spoils_no_other_row() -> None:
    """All that is wrong with a row is told at once, and the rows around it are as they would be without it."""
    before, wrong, after = rows("name,size,pairs\nA,41,1\nB,huge,two\nC,43,1\n")
    assert [before, after] == rows("name,size,pairs\nA,41,1\nC,43,1\n")
    assert 2 == len(wrong.faults)


def test_a_column_that_is_not_read_spoils_no_row_without_a_cell_in_it() -> None:
    """Nor where the column that it is like is there as well."""
    assert [1, 0] == [len(row.faults) for row in rows("name,Shoe size\nA,41\nB,\n")]
    assert [0] == [len(row.faults) for row in rows("name,Shirt size,size\nA,L,41\n")]


def test_a_line_whose_quotes_do_not_pair_is_a_fault_of_its_row() -> None:
    """The rows around it are as they would be without it."""
    before, torn, after = rows('name,size,pairs\nA,41,1\n"B,42,1\nC,43,1\n')
    assert [before, after] == rows("name,size,pairs\nA,41,1\nC,43,1\n")
    assert "quotes of the line do not pair" in torn.faults[0]


def test_rows_within_a_quoted_cell_are_told() -> None:
    """A quote that closes some rows later hides them in a cell; a text of two lines hides none."""
    hidden, two_lines = rows('name,size,pairs\n"A,41,1\nB,42,1\nC",43,1\n"D\nE, the first",44,1\n')
    assert ["Cell 1 runs over 3 lines, of which one looks like a row of its own"] == [
        fault.split(":")[0] for fault in hidden.faults
    ]
    assert ("D\nE, the first", ()) == (two_lines.fields["name"], two_lines.faults)


@pytest.mark.parametrize(
    "last",
    [
        *(
            "Total,,3",
            "TOTAL:,,",
            ",Sum,3",
            "Grand total,20,3",
            "Subtotal,,3\nTotal,,3",
            "Gesamt,20,3",
            "Total pairs,7,3",
        ),
        *(",,3", "Total 2,,2", "Total pairs: 2,,2", "Sum total,,2", "Total (2),,2", "2 pairs,,2", "Anzahl Paare,,2"),
        *("All of the crew,,3", "\N{N-ARY SUMMATION},,4", "Total,,9", "Total,,3\n,,3", ",,3\nTotal,,3"),
    ],
)
def test_a_total_at_the_end_of_a_list_is_not_priced(last: str) -> None:
    """Its row has a fault, whatever the spreadsheet has summed."""
    found = rows(f"name,number,pairs\nMARLOW,7,1\nEDDY,13,2\n{last}\n", fields=("name", "number"))
    assert [0, 0, *[1] * (last.count("\n") + 1)] == [len(row.faults) for row in found]
    assert all("reads like a total of the rows above" in row.faults[0] for row in found[2:])


@pytest.mark.parametrize(
    "text",
    [
        "name,number,pairs\nMARLOW,7,2\nTotal,3,1\n",
        "name,number,pairs\nSum,7,\nMARLOW,7,2\n",
        "name\nTotal\n",
        "name\nTotality\n",
        "name,pairs\nMARLOW,2\nTotality,1\n",
        "name,pairs\nMARLOW,2\nEDDY,2\n",
        "name,size,pairs\nMARLOW,41,1\nEDDY,42,1\nSHOAL,43,2\n",
        "name,pairs\nMARLOW,1\nEDDY,1\nSHOAL,3\n",
        "name,pairs\nMARLOW,2\nEDDY,2\nSHOAL,\n",
    ],
)
def test_a_pair_may_be_called_a_total(text: str) -> None:
    """Above other pairs, alone, or with all cells filled and another sum, the word is a text to press.

    So is a text whose pairs are the sum of those above by chance, below a single row or with a size of its own.
    """
    assert [] == [row.faults for row in rows(text) if row.faults]


def test_a_total_below_blank_lines_and_one_row() -> None:
    """A last row of nothing but the pairs above is a total, also of one row."""
    total = rows("name;pairs;size\nTOM;2;42\n;;\n;2;\n\n")[-1]
    assert ("The row reads like a total of the rows above; take it out, or put it higher up if it is a pair.",) == (
        total.faults
    )
    assert [0, 0, 1] == [len(row.faults) for row in rows("name;pairs;size\nTOM;2;42\nSUE;8;41\n;10;\n")]
    assert [0, 0, 1] == [len(row.faults) for row in rows("name;pairs;size\nTOM;2;42\nSUE;8;41\n;10;42\n")]
    assert [0, 0, 0] == [len(row.faults) for row in rows("name;pairs;size\nTOM;2;42\nSUE;8;41\n;9;42\n")]


def test_rows_that_all_have_sizes_of_their_own() -> None:
    """Where the order has none, a blank cell is a fault, and so is a bare number among sizes of several systems."""
    same = rows("name,size\nA,EU 42\nB,41\nC,\n", EU42, has_default=False)
    mixed = rows("name,size\nA,EU 42\nB,UK 8\nC,9\nD,\n", EU42, has_default=False)
    assert [0, 0, 1] == [len(row.faults) for row in same]
    assert [0, 0, 1, 1] == [len(row.faults) for row in mixed]
    assert "without its system" in mixed[2].faults[0]
    assert "has no size" in mixed[3].faults[0]


def test_the_size_of_the_first_row() -> None:
    """It is used for the order, from the first line whose size has a system."""
    assert Size(system="EU", value="42.5") == roster_rows.first_size(roster_csv.read(b'size\n"EU 42,5"\n43\n', None))
    assert Size(system="UK", value="8") == roster_rows.first_size(
        roster_csv.read(b"name,size\nE,\nF,x\nG,UK 8\n", None)
    )
    for text, complaint in (
        (b"name\nE\n", "Line 2 has no size"),
        (b"name,Shoe size\nE,EU 42\n", "the column 'Shoe size' is not read, name it size"),
        (b"size\n42\n", """Line 2: '42' is not a size.*for a bare number or a blank cell, give '--size "EU 42"'"""),
        (b"size\n1\n2\n3\n4\n", "and so 1 more"),
    ):
        with pytest.raises(UsageError, match=complaint):
            roster_rows.first_size(roster_csv.read(text, None))


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        (ORDER, (("name", "number"), EU42)),
        ({"placements": [{"artwork": {"text": "{{x}} {a_1} {a_1}"}}], "shoe": {"kind": "measured"}}, (("a_1",), None)),
        ({"placements": 3, "shoe": {"size": "EU 42"}}, ((), None)),
        ({"placements": [{"artwork": "MARLOW"}, 3]}, ((), None)),
    ],
)
def test_the_fields_and_the_size_of_an_order(order: Any, expected: object) -> None:  # noqa: ANN401
    """The fields are the names in braces, each once; malformed parts are left for the service to refuse."""
    assert expected == roster_rows.fields_and_size(order)


def test_columns_that_are_not_read_are_named() -> None:
    """With the nearest name that counts; and the size that all rows have, if no column has it."""
    sheet = roster_csv.read(b"name,phone,Sizes\nE,1,41\n", None)
    assert ["not read: phone, Sizes (did you mean size?)", "no column size: every row is EU 42"] == list(
        roster_rows.remarks(sheet, ("name",), EU42)
    )
    assert [] == list(roster_rows.remarks(roster_csv.read(b"name,size\nE,41\n", None), ("name",), EU42))


def test_the_faults_of_rows_are_written_as_they_are() -> None:
    """No sentence has a sign that the writer of CSV would take for the start of a formula."""
    wrong = rows(
        "name,number,size,Qty,owner\n\N{REPLACEMENT CHARACTER},1,42,1,x\n,,,,\n=A1,2,,,\n#REF!,2,huge,,\n",
        None,
        ("name", "number"),
        has_default=False,
    )
    sentences = {sentence for row in wrong for sentence in row.faults}
    assert 8 <= len(sentences)
    assert sentences == {*map(roster_csv._without_formula, sentences)}


def test_a_field_that_a_row_lacks_is_an_empty_cell() -> None:
    """The fault is told in words of the list where the cell is empty, and all others as the service tells them."""
    answer = msgspec.json.decode((EXAMPLES / "roster-answer.json").read_bytes(), type=RosterAnswer)
    sheet = roster_csv.read(b"name,number\nE,\n,7\n", None)
    faults = [
        Fault(pointer="/rows/0/fields", detail="Give the field 'number'"),
        Fault(pointer="/rows/0/pairs", detail="Give the field 'number'"),
        Fault(pointer="/rows/0/fields", detail="Give the field 'name'"),
    ]
    lines = (replace(answer.rows[0], faults=tuple(faults)), replace(answer.rows[1], faults=()))
    told = roster_rows.with_empty_cells(replace(answer, rows=lines), sheet, ("name", "number"))
    assert [("The cell 'number' is empty", faults[1].detail, faults[2].detail), ()] == [
        tuple(fault.detail for fault in row.faults) for row in told.rows
    ]
