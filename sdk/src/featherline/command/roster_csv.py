"""Rosters as CSV files: read as spreadsheets save them, and written again with the answers beside the rows.

The reader takes a byte order mark, a line ``sep=;``, semicolons, tabs or bars, titles above the columns, any line
ends, also inside quotes, ``="07"`` for leading zeros, and lines whose quotes do not pair, as such. The writer uses the
delimiter of the file, and no cell begins a formula, also where a spreadsheet opens the file with another delimiter.

References:
    RFC 4180, comma-separated values. OWASP, "CSV Injection": the characters that begin a formula, also after a
    delimiter or a quote within a cell.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from itertools import islice
from typing import Final, NamedTuple

from msgspec.structs import replace

from featherline.command.requests import UsageError
from featherline.command.text import row_reasons, temperatures
from featherline.wire import Fault, Pressing, Problem, RosterAnswer, RowAnswer, Units

ANSWER_COLUMNS: Final = ("verdict", "recipe", "price_each", "price_total", "currency", "reasons")
_BYTE_ORDER_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_DELIMITERS: Final = (",", ";", "\t", "|")
_FIRST_LINES: Final = 5  # among which the columns are named
UNREADABLE: Final = "\N{REPLACEMENT CHARACTER}"  # stands for bytes that are not in the file's encoding
_DELIMITER_LINE: Final = re.compile(r"\s*\"?sep=(.)\"?\s*?(?:\r\n|\r|\n)", re.IGNORECASE)
_ROW_POINTER: Final = re.compile(r"/rows/([0-9]+)(?:/|$)")
_QUOTED_TEXT: Final = re.compile(r'="([^"]*)"')
_NUMBER: Final = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?")
_SIGNS: Final = (
    r"[=+\-@\N{FULLWIDTH EQUALS SIGN}\N{FULLWIDTH PLUS SIGN}\N{FULLWIDTH HYPHEN-MINUS}\N{FULLWIDTH COMMERCIAL AT}]"
)
# A sign that begins the cell, or would begin one if the file were opened with another delimiter; after a space, which
# may delimit too, a number is none.
_FORMULA: Final = re.compile(
    rf"((?:^|[,;:|\"\t\r\n\v\f])\s*)(?={_SIGNS})|(?<=\s)(?={_SIGNS})(?![+-][0-9]*[.,]?[0-9]*(?:\s|$))"
)


class Line(NamedTuple):
    """A row of a sheet: the number of its first line in the file, and a cell for each column."""

    number: int
    cells: tuple[str, ...]


class Sheet(NamedTuple):
    """The rows of a CSV file that are not blank, and the form in which the file was written.

    `titles` are the lines above the columns. `columns` are the names in the file, empty for cells below no name;
    `names` are the same in lower case, with underscores. `unpaired` are the numbers of the lines whose quotes do not
    pair; their cells are those between the delimiters.
    """

    titles: tuple[Line, ...]
    columns: tuple[str, ...]
    names: tuple[str, ...]
    lines: tuple[Line, ...]
    delimiter: str
    has_delimiter_line: bool
    has_byte_order_mark: bool
    unpaired: frozenset[int]

    def cells(self, line: Line) -> dict[str, str]:
        """Return the cells of a line by the names of their columns; those of other columns are empty."""
        return defaultdict(str, zip(self.names, line.cells, strict=True))


def read(content: bytes, encoding: str | None, known: Collection[str] = ()) -> Sheet:
    """Return the rows of a CSV file.

    Args:
        content: The file.
        encoding: The encoding of its text; None: that of the byte order mark, else UTF-8.
        known: The names of columns that count. The first line that has most of them names the columns.

    Raises:
        UsageError: The file cannot be read, or its first line names no columns; the message says what to do.
    """
    text, has_mark = _decode(content, encoding)
    delimiter_line = _DELIMITER_LINE.match(text)
    if delimiter_line:
        delimiter, text, lines_before = delimiter_line[1], text[delimiter_line.end() :], 1
    else:
        delimiter, lines_before = max(_DELIMITERS, key=lambda candidate: _suits(text, candidate, known)), 0
    records = list(_records(text, delimiter, lines_before))
    width = max((_width(record.cells) for record in records), default=0)
    lines = [Line(record.number, (*record.cells, *[""] * width)[:width]) for record in records]
    unpaired = frozenset(record.number for record in records if not record.is_paired)
    first = max(range(len(lines[:_FIRST_LINES])), key=lambda at: _count_known(lines[at].cells, known), default=0)
    for number, cells in lines[: first + 1]:
        if any(UNREADABLE in cell for cell in cells):
            raise _not_in_encoding("UTF-8", number)
    if lines and lines[first].number in unpaired:
        raise UsageError(f"The quotes of line {lines[first].number}, which names the columns, do not pair; mend them")
    columns = lines[first].cells if lines else ()
    names = tuple(map(_name, columns))
    _check_names([name for name in names if name])
    if not lines[first + 1 :]:
        raise UsageError("The file has no rows below its columns")
    return Sheet(
        tuple(lines[:first]),
        columns,
        names,
        tuple(lines[first + 1 :]),
        delimiter,
        delimiter_line is not None,
        has_mark,
        unpaired,
    )


def _width(cells: Sequence[str]) -> int:
    """Return the number of cells up to the last that is not blank."""
    return max((at for at, cell in enumerate(cells, start=1) if cell), default=0)


def _name(column: str) -> str:
    return re.sub(r"[\s-]+", "_", column.casefold())


def _count_known(cells: Sequence[str], known: Collection[str]) -> int:
    return len({*map(_name, cells)}.intersection(known))


def _decode(content: bytes, encoding: str | None) -> tuple[str, bool]:
    """Return the text of a file, and whether the answer needs a byte order mark for a spreadsheet to read it."""
    needs_mark = encoding is not None
    for mark, code in _BYTE_ORDER_MARKS:
        if content.startswith(mark):
            content, encoding, needs_mark = content.removeprefix(mark), encoding or code, True
            break
    try:
        # Without a word on the encoding, a cell that cannot be read is a fault of its row alone.
        return content.decode(encoding or "utf-8", "strict" if encoding else "replace"), needs_mark
    except LookupError:
        raise UsageError(f"--encoding is {encoding!r}; give one such as utf-8 or cp1252") from None
    except UnicodeDecodeError as error:
        raise _not_in_encoding(str(encoding), content.count(b"\n", 0, error.start) + 1) from None


def _not_in_encoding(encoding: str, line: int) -> UsageError:
    return UsageError(
        f"The file is not in {encoding} (line {line}); save it as CSV UTF-8, or name its encoding, "
        "such as --encoding cp1252"
    )


def _suits(text: str, delimiter: str, known: Collection[str]) -> tuple[int, int, int]:
    """Return how well a delimiter suits a file: by the known columns it makes, those of the first line, and the most.

    Only the first lines that are not blank count.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    first = list(islice(filter(any, reader), _FIRST_LINES))
    return (
        max((_count_known([_cell(cell) for cell in cells], known) for cells in first), default=0),
        len(first[0]) if first else 0,
        max(map(len, first), default=0),
    )


def _check_names(names: Sequence[str]) -> None:
    if not names:
        raise UsageError("The file has no columns; its first line is to name them, such as name;number;size")
    if repeated := [name for name in names if names.count(name) > 1]:
        raise UsageError(f"The file has two columns {repeated[0]!r}; rename one")
    if taken := [name for name in ANSWER_COLUMNS if name in names]:
        raise UsageError(f"The file has a column {taken[0]!r}, in which the answer goes; rename it")


class _Record(NamedTuple):
    """A record of a file: the number of its first line, its cells, and whether its quotes pair."""

    number: int
    cells: tuple[str, ...]
    is_paired: bool


def _records(text: str, delimiter: str, lines_before: int) -> Iterator[_Record]:
    """Yield the records that are not blank; a line whose quotes do not pair is a record, and the next line another."""
    lines = list(io.StringIO(text, newline=""))
    first = 0
    while first < len(lines):
        reader = csv.reader(islice(lines, first, None), delimiter=delimiter, strict=True)
        begun = first
        try:
            for cells in reader:
                if any(cleaned := tuple(map(_cell, cells))):
                    yield _Record(lines_before + begun + 1, cleaned, is_paired=True)
                begun = first + reader.line_num
        except csv.Error:
            cells = lines[begun].split(delimiter)
            yield _Record(lines_before + begun + 1, tuple(map(_cell, cells)), is_paired=False)
            begun += 1
        first = begun


def _cell(text: str) -> str:
    text = text.strip()
    quoted = _QUOTED_TEXT.fullmatch(text)
    return (quoted[1] if quoted else text).replace("\r\n", "\n").replace("\r", "\n")


def with_line_numbers(problem: Problem, sheet: Sheet) -> Problem:
    """Return the problem with a roster, with the line in the file before the detail of each fault of a row."""
    return replace(problem, errors=tuple(_with_line_number(fault, sheet) for fault in problem.errors))


def _with_line_number(fault: Fault, sheet: Sheet) -> Fault:
    pointer = _ROW_POINTER.match(fault.pointer)
    if pointer is None or int(pointer[1]) >= len(sheet.lines):
        return fault
    return replace(fault, detail=f"line {sheet.lines[int(pointer[1])].number} of the file: {fault.detail}")


def write(sheet: Sheet, answer: RosterAnswer, units: Units) -> bytes:
    """Return the file with the answer to each row in further columns, in UTF-8, with a byte order mark if it had one.

    Where the delimiter is a semicolon, prices have decimal commas.
    """
    out = io.StringIO(newline="")
    if sheet.has_delimiter_line:
        out.write(f"sep={sheet.delimiter}\r\n")
    writer = csv.writer(out, delimiter=sheet.delimiter, lineterminator="\r\n")
    for title in sheet.titles:
        writer.writerow(map(_without_formula, title.cells))
    writer.writerow(map(_without_formula, (*sheet.columns, *ANSWER_COLUMNS)))
    for line, row in zip(sheet.lines, answer.rows, strict=True):
        cells = _answer_cells(row, answer, units, "," if sheet.delimiter == ";" else ".")
        writer.writerow(map(_without_formula, (*line.cells, *cells)))
    return (codecs.BOM_UTF8 if sheet.has_byte_order_mark else b"") + out.getvalue().encode()


def _answer_cells(row: RowAnswer, answer: RosterAnswer, units: Units, decimal_mark: str) -> Iterator[str]:
    """Yield a cell for each of the answer's columns."""
    pressings = () if row.plan is None else answer.plans[row.plan].pressings
    yield row.verdict or "fault"
    yield "; ".join(_recipe(pressing, units) for pressing in pressings)
    if row.price is None:
        yield from ("", "", "")
    else:
        yield row.price.each.amount.replace(".", decimal_mark)
        yield row.price.total.amount.replace(".", decimal_mark)
        yield row.price.total.currency
    yield " ".join(row_reasons(row))


def _recipe(pressing: Pressing, units: Units) -> str:
    """Return the setting of a pressing on one line; empty if it has none."""
    setting, peel = pressing.recipe.setting, pressing.recipe.peel
    if setting is None:
        return ""
    cover = f"under {setting.cover}" if setting.cover else "no cover"
    peeling = ""
    if peel:
        peeling = f", peel {peel.when} {f'after {peel.wait_s:.0f} s' if peel.wait_s >= 1.0 else 'at once'}"
    return (
        f"{pressing.recipe.film} on {pressing.face}: {temperatures(setting, units)}, {setting.dwell_s:g} s, "
        f"{setting.pressure}, {cover}{peeling}"
    )


def _without_formula(cell: str) -> str:
    """Return a cell of which no spreadsheet makes a formula, with whichever delimiter it opens the file."""
    return cell if _NUMBER.fullmatch(cell) else _FORMULA.sub(lambda before: f"{before[1] or ''}'", cell)
