"""Rosters as CSV files: read as spreadsheets save them, and written again with the answers beside the rows.

The reader takes a byte order mark, a line ``sep=;``, semicolons or tabs, decimal commas, any line ends, also inside
quotes, and ``="07"`` for leading zeros. The writer uses the delimiter of the file, and no cell begins a formula.

References:
    RFC 4180, comma-separated values. OWASP, "CSV Injection": the characters that begin a formula.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any, Final, NamedTuple, cast

import msgspec
from msgspec.structs import replace

from featherline.command.parser import literals
from featherline.command.requests import UsageError, parse_size
from featherline.command.text import row_reasons, temperatures
from featherline.wire import BookShoe, Fault, Owner, Pressing, Problem, RosterAnswer, RosterRow, RowAnswer, Size, Units

ANSWER_COLUMNS: Final = ("verdict", "recipe", "price_each", "price_total", "currency", "reasons")
_BYTE_ORDER_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_DELIMITERS: Final = (",", ";", "\t")
_DELIMITER_LINE: Final = re.compile(r"\s*\"?sep=(.)\"?\s*?(?:\r\n|\r|\n)", re.IGNORECASE)
_FIELD: Final = re.compile(r"\{([a-z][a-z0-9_]{0,31})\}")
_ROW_POINTER: Final = re.compile(r"/rows/([0-9]+)(?:/|$)")
_QUOTED_TEXT: Final = re.compile(r'="([^"]*)"')
_DECIMAL_COMMA: Final = re.compile(r"(?<=[0-9]),(?=[0-9])")
_WHOLE_NUMBER: Final = re.compile(r"([0-9]{1,6})(?:[.,]0+)?")
_NUMBER: Final = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?")
_FORMULA: Final = tuple("=+-@\t\r\n\N{FULLWIDTH EQUALS SIGN}\N{FULLWIDTH PLUS SIGN}\N{FULLWIDTH HYPHEN-MINUS}"
                        "\N{FULLWIDTH COMMERCIAL AT}")  # fmt: skip


class Line(NamedTuple):
    """A row of a sheet: the number of its first line in the file, and a cell for each column."""

    number: int
    cells: tuple[str, ...]


class Sheet(NamedTuple):
    """The rows of a CSV file that are not blank, and the form in which the file was written.

    `columns` are the names in the file; `names` are the same in lower case, with underscores.
    """

    columns: tuple[str, ...]
    names: tuple[str, ...]
    lines: tuple[Line, ...]
    delimiter: str
    has_delimiter_line: bool
    has_byte_order_mark: bool


def read(content: bytes, encoding: str | None) -> Sheet:
    """Return the rows of a CSV file.

    Args:
        content: The file.
        encoding: The encoding of its text; None: that of the byte order mark, else UTF-8.

    Raises:
        UsageError: The file cannot be read, or its first line names no columns; the message says what to do.
    """
    text, has_mark = _decode(content, encoding)
    delimiter_line = _DELIMITER_LINE.match(text)
    if delimiter_line:
        delimiter, text, lines_before = delimiter_line[1], text[delimiter_line.end() :], 1
    else:
        delimiter, lines_before = max(_DELIMITERS, key=lambda candidate: _count_columns(text, candidate)), 0
    records = _records(text, delimiter, lines_before)
    columns = next(records, (0, ()))[1]
    names = tuple(re.sub(r"[\s-]+", "_", column.casefold()) for column in columns)
    _check_names([name for name in names if name])
    lines = []
    for number, cells in records:
        if any(cells[len(names) :]):
            raise UsageError(f"Line {number} has more cells than there are columns; put quotes around a {delimiter!r}")
        lines.append(Line(number, (*cells, *[""] * (len(names) - len(cells)))[: len(names)]))
    if not lines:
        raise UsageError("The file has no rows below its columns")
    return Sheet(columns, names, tuple(lines), delimiter, delimiter_line is not None, has_mark)


def _decode(content: bytes, encoding: str | None) -> tuple[str, bool]:
    """Return the text of a file, and whether the answer needs a byte order mark for a spreadsheet to read it."""
    needs_mark = encoding is not None
    for mark, code in _BYTE_ORDER_MARKS:
        if content.startswith(mark):
            content, encoding, needs_mark = content.removeprefix(mark), encoding or code, True
            break
    try:
        return content.decode(encoding or "utf-8"), needs_mark
    except LookupError:
        raise UsageError(f"--encoding is {encoding!r}; give one such as utf-8 or cp1252") from None
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise UsageError(
            f"The file is not in {encoding or 'UTF-8'} (line {line}); save it as CSV UTF-8, or name its encoding, "
            "such as --encoding cp1252"
        ) from None


def _count_columns(text: str, delimiter: str) -> int:
    """Return the number of columns that a delimiter makes of the first line that is not blank."""
    return len(next(filter(any, csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)), ()))


def _check_names(names: Sequence[str]) -> None:
    if not names:
        raise UsageError("The file has no columns; its first line is to name them, such as name;number;size")
    if repeated := [name for name in names if names.count(name) > 1]:
        raise UsageError(f"The file has two columns {repeated[0]!r}; rename one")
    if taken := [name for name in ANSWER_COLUMNS if name in names]:
        raise UsageError(f"The file has a column {taken[0]!r}, in which the answer goes; rename it")


def _records(text: str, delimiter: str, lines_before: int) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Yield the records that are not blank: the number of the first line in the file, and the cells."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    number = lines_before + 1
    try:
        for cells in reader:
            if any(cleaned := tuple(map(_cell, cells))):
                yield number, cleaned
            number = lines_before + reader.line_num + 1
    except csv.Error as error:
        raise UsageError(f"The file is not valid CSV from line {number} on ({error})") from None


def _cell(text: str) -> str:
    text = text.strip()
    quoted = _QUOTED_TEXT.fullmatch(text)
    return (quoted[1] if quoted else text).replace("\r\n", "\n").replace("\r", "\n")


def fields_and_size(order: Any) -> tuple[tuple[str, ...], Size | None]:  # noqa: ANN401 - an order, or its JSON
    """Return the names in braces in the texts of an order, without repetition, and its size, if it has one.

    An order from a file may be malformed; the service refuses it, and says why.
    """
    content = msgspec.json.decode(msgspec.json.encode(order))
    placements = list(_objects(content.get("placements")))
    texts = [str(artwork.get("text")) for placement in placements for artwork in _objects([placement.get("artwork")])]
    fields = tuple(dict.fromkeys(name for text in texts for name in _FIELD.findall(text.replace("{{", ""))))
    try:
        return fields, msgspec.convert(content["shoe"]["size"], Size)
    except (LookupError, TypeError, msgspec.ValidationError):
        return fields, None


def _objects(items: Any) -> Iterator[dict[str, Any]]:  # noqa: ANN401 - JSON of any shape
    return (item for item in items if isinstance(item, dict)) if isinstance(items, list) else iter(())


def rows(sheet: Sheet, fields: Sequence[str], order_size: Size | None) -> Iterator[RosterRow]:
    """Yield a row of a roster for each line of a sheet.

    Args:
        sheet: The file.
        fields: The names of the columns that fill the order's texts; a blank cell leaves its field out.
        order_size: The order's size, whose system a bare number in the file has; None if every row has its own.

    Raises:
        UsageError: A column is missing, or a cell is unusable; the message names column or line.
    """
    if missing := [field for field in fields if field not in sheet.names]:
        columns = ", ".join(name for name in sheet.names if name)
        raise UsageError(f"The text asks for {{{missing[0]}}}, but the file has no such column; it has: {columns}")
    for number, cells in sheet.lines:
        cell = defaultdict(str, zip(sheet.names, cells, strict=True))
        try:
            size = _size(cell["size"], order_size)
            yield RosterRow(
                id=cell["id"] or None,
                fields={field: cell[field] for field in fields if cell[field]},
                size=None if cell["shoe"] else size,
                shoe=_shoe(cell["shoe"], size or order_size) if cell["shoe"] else None,
                pairs=_pairs(cell["pairs"]),
                owner=_owner(cell["owner"]),
            )
        except UsageError as error:
            raise UsageError(f"Line {number}: {error}") from None


def first_size(sheet: Sheet) -> Size:
    """Return the size of the first line, for an order without a size, whose rows all have their own.

    Raises:
        UsageError: A line has no size, or the size of the first has no system.
    """
    column = sheet.names.index("size") if "size" in sheet.names else None
    for number, cells in sheet.lines:
        if column is None or not cells[column]:
            raise UsageError(f"Line {number} has no size; give it one, or --size for lines without")
    try:
        return parse_size(_DECIMAL_COMMA.sub(".", sheet.lines[0].cells[column or 0]))
    except UsageError as error:
        raise UsageError(f"Line {sheet.lines[0].number}: {error}; or give --size") from None


def _size(text: str, order_size: Size | None) -> Size | None:
    text = _DECIMAL_COMMA.sub(".", text)
    if text and text[0].isdecimal() and order_size is not None:
        return Size(system=order_size.system, value=text)
    return parse_size(text) if text else None


def _shoe(identifier: str, size: Size | None) -> BookShoe:
    if size is None:
        raise UsageError("a shoe of the book needs a size; fill it in")
    return BookShoe(shoe=identifier, size=size)


def _pairs(text: str) -> int | None:
    if not text:
        return None
    number = _WHOLE_NUMBER.fullmatch(text)
    if number is None:
        raise UsageError(f"pairs is {text!r}; give a whole number")
    return int(number[1])


def _owner(text: str) -> Owner | None:
    if not text:
        return None
    owners = literals(Owner)
    if text.casefold() not in owners:
        raise UsageError(f"owner is {text!r}; give {' or '.join(owners)}")
    return cast("Owner", text.casefold())


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
    peeling = f", peel {peel.when} after {peel.wait_s:.0f} s" if peel else ""
    return (
        f"{pressing.recipe.film} on {pressing.face}: {temperatures(setting, units)}, {setting.dwell_s:g} s, "
        f"{setting.pressure}, {cover}{peeling}"
    )


def _without_formula(cell: str) -> str:
    """Return a cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell.startswith(_FORMULA) and not _NUMBER.fullmatch(cell) else cell
