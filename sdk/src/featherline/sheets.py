"""Rosters as CSV files: read whatever a spreadsheet made of them, and written again with the answers beside the rows.

A byte order mark, a line ``sep=;``, semicolons or tabs, decimal commas, line ends of any kind, also inside of quotes,
and leading zeros kept by ``="07"`` are read. What is written has the same divider, and its cells begin no formula.

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
from typing import Any, Final, NamedTuple, cast, get_args

import msgspec
from msgspec.structs import replace

from featherline import screen
from featherline.flags import UsageError, size_of
from featherline.wire import BookShoe, Fault, Owner, Pressing, Problem, RosterAnswer, RosterRow, RowAnswer, Size, Units

ANSWERED: Final = ("verdict", "recipe", "price_each", "price_total", "currency", "reasons")
_MARKS: Final = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))
_DIVIDERS: Final = (",", ";", "\t")
_SEPARATOR: Final = re.compile(r"\s*\"?sep=(.)\"?\s*?(?:\r\n|\r|\n)", re.IGNORECASE)
_FIELD: Final = re.compile(r"\{([a-z][a-z0-9_]{0,31})\}")
_ROW: Final = re.compile(r"/rows/([0-9]+)(?:/|$)")
_KEPT_TEXT: Final = re.compile(r'="([^"]*)"')
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
    """A CSV file as read: its rows that are not blank, and how it was written.

    `columns` are the names as they stand in the file; `names` are the same in lower case, with underscores.
    """

    columns: tuple[str, ...]
    names: tuple[str, ...]
    lines: tuple[Line, ...]
    divider: str
    says_divider: bool
    marked: bool


def read(content: bytes, encoding: str | None) -> Sheet:
    """Return the rows of a CSV file.

    Args:
        content: The file.
        encoding: How its letters are coded; None: UTF-8, or UTF-16 where a byte order mark says so.

    Raises:
        UsageError: It cannot be read, or its first line names no columns; the message says what to do.
    """
    text, marked = _text(content, encoding)
    said = _SEPARATOR.match(text)
    text = text[said.end() :] if said else text
    divider = said[1] if said else max(_DIVIDERS, key=lambda each: _columns(text, each))
    records = _records(text, divider, 1 if said else 0)
    columns = next(records, (0, ()))[1]
    names = tuple(re.sub(r"[\s-]+", "_", column.casefold()) for column in columns)
    named = [name for name in names if name]
    if not named:
        raise UsageError("The file has no columns; its first line is to name them, such as name;number;size")
    if twice := [name for name in named if named.count(name) > 1]:
        raise UsageError(f"The file has two columns {twice[0]!r}; rename one")
    if taken := [name for name in ANSWERED if name in named]:
        raise UsageError(f"The file has a column {taken[0]!r}, in which the answer goes; rename it")
    lines = []
    for number, cells in records:
        if any(cells[len(names) :]):
            raise UsageError(f"Line {number} has more cells than there are columns; put quotes around a {divider!r}")
        lines.append(Line(number, (*cells, *[""] * (len(names) - len(cells)))[: len(names)]))
    if not lines:
        raise UsageError("The file has no rows below its columns")
    return Sheet(columns, names, tuple(lines), divider, said is not None, marked)


def _text(content: bytes, encoding: str | None) -> tuple[str, bool]:
    """Return the text of a file, and whether a spreadsheet needs a mark to read it again."""
    for mark, code in _MARKS:
        if content.startswith(mark):
            content, encoding, marked = content.removeprefix(mark), encoding or code, True
            break
    else:
        marked = encoding is not None
    try:
        return content.decode(encoding or "utf-8"), marked
    except LookupError:
        raise UsageError(f"--encoding is {encoding!r}; give one such as utf-8 or cp1252") from None
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise UsageError(
            f"The file is not in {encoding or 'UTF-8'} (line {line}); save it as CSV UTF-8, or say how it is coded, "
            "such as --encoding cp1252"
        ) from None


def _columns(text: str, divider: str) -> int:
    """Return how many columns a divider makes of the first line that is not blank."""
    return len(next(filter(any, csv.reader(io.StringIO(text, newline=""), delimiter=divider)), ()))


def _records(text: str, divider: str, before: int) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Yield each record that is not blank: the number of its first line in the file, and its cells."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=divider, strict=True)
    number = before + 1
    try:
        for cells in reader:
            if any(cleaned := tuple(map(_cell, cells))):
                yield number, cleaned
            number = before + reader.line_num + 1
    except csv.Error as error:
        raise UsageError(f"The file is no CSV from line {number} on ({error})") from None


def _cell(text: str) -> str:
    text = text.strip()
    kept = _KEPT_TEXT.fullmatch(text)
    return (kept[1] if kept else text).replace("\r\n", "\n").replace("\r", "\n")


def asked(order: Any) -> tuple[tuple[str, ...], Size | None]:  # noqa: ANN401 - an order, or its JSON as it was read
    """Return what an order asks of its rows: the names in braces in its texts, each once; and its size, if any.

    What is not as an order has it the service refuses, and says why.
    """
    plain = msgspec.json.decode(msgspec.json.encode(order))
    pieces = list(_objects(plain.get("placements")))
    texts = [str(artwork.get("text")) for piece in pieces for artwork in _objects([piece.get("artwork")])]
    named = tuple(dict.fromkeys(name for text in texts for name in _FIELD.findall(text.replace("{{", ""))))
    try:
        return named, msgspec.convert(plain["shoe"]["size"], Size)
    except (LookupError, TypeError, msgspec.ValidationError):
        return named, None


def _objects(several: Any) -> Iterator[dict[str, Any]]:  # noqa: ANN401 - JSON of any shape
    return (each for each in several if isinstance(each, dict)) if isinstance(several, list) else iter(())


def rows(sheet: Sheet, fields: Sequence[str], order_size: Size | None) -> Iterator[RosterRow]:
    """Yield the row of a roster that each line makes.

    Args:
        sheet: The file.
        fields: The fields that the order's texts ask for; a blank cell is a field that is not given.
        order_size: The order's size, in whose system a bare number is taken; None where every line is to have its own.

    Raises:
        UsageError: There is no column for a field, or a cell cannot be; the message names column or line.
    """
    if missing := [field for field in fields if field not in sheet.names]:
        there = ", ".join(name for name in sheet.names if name)
        raise UsageError(f"The text asks for {{{missing[0]}}}, but the file has no such column; it has: {there}")
    for number, cells in sheet.lines:
        cell = defaultdict(str, zip(sheet.names, cells, strict=True))
        try:
            size = _size(cell["size"], order_size)
            yield RosterRow(
                id=cell["id"] or None,
                fields={field: cell[field] for field in fields if cell[field]},
                size=None if cell["shoe"] else size,
                shoe=BookShoe(shoe=cell["shoe"], size=_of_shoe(size or order_size)) if cell["shoe"] else None,
                pairs=_pairs(cell["pairs"]),
                owner=_owner(cell["owner"]),
            )
        except UsageError as error:
            raise UsageError(f"Line {number}: {error}") from None


def first_size(sheet: Sheet) -> Size:
    """Return the size of the first line, which stands for the order's where none is given but in the file.

    Raises:
        UsageError: A line has no size, or the first has no system.
    """
    place = sheet.names.index("size") if "size" in sheet.names else None
    for number, cells in sheet.lines:
        if place is None or not cells[place]:
            raise UsageError(f"Line {number} has no size; give it one, or --size for lines without")
    try:
        return size_of(_DECIMAL_COMMA.sub(".", sheet.lines[0].cells[place or 0]))
    except UsageError as error:
        raise UsageError(f"Line {sheet.lines[0].number}: {error}; or give --size") from None


def _size(text: str, order_size: Size | None) -> Size | None:
    text = _DECIMAL_COMMA.sub(".", text)
    if text and text[0].isdecimal() and order_size is not None:
        return Size(system=order_size.system, value=text)
    return size_of(text) if text else None


def _of_shoe(size: Size | None) -> Size:
    if size is None:
        raise UsageError("a shoe of the book needs a size; fill it in")
    return size


def _pairs(text: str) -> int | None:
    if not text:
        return None
    whole = _WHOLE_NUMBER.fullmatch(text)
    if whole is None:
        raise UsageError(f"pairs is {text!r}; give a whole number")
    return int(whole[1])


def _owner(text: str) -> Owner | None:
    if not text:
        return None
    owners: tuple[Owner, ...] = get_args(get_args(Owner)[0])
    if text.casefold() not in owners:
        raise UsageError(f"owner is {text!r}; give {' or '.join(owners)}")
    return cast("Owner", text.casefold())


def in_file(problem: Problem, sheet: Sheet) -> Problem:
    """Return what is wrong with a roster, each fault of a row with its line in the file."""
    return replace(problem, errors=tuple(_in_file(fault, sheet) for fault in problem.errors))


def _in_file(fault: Fault, sheet: Sheet) -> Fault:
    found = _ROW.match(fault.pointer)
    if found is None or int(found[1]) >= len(sheet.lines):
        return fault
    return replace(fault, detail=f"line {sheet.lines[int(found[1])].number} of the file: {fault.detail}")


def write(sheet: Sheet, answer: RosterAnswer, units: Units) -> bytes:
    """Return the file again, with the answer to each row in columns of its own: UTF-8, with a mark where it had one.

    Where semicolons divide the cells, prices have decimal commas.
    """
    out = io.StringIO(newline="")
    if sheet.says_divider:
        out.write(f"sep={sheet.divider}\r\n")
    writer = csv.writer(out, delimiter=sheet.divider, lineterminator="\r\n")
    writer.writerow(map(_harmless, (*sheet.columns, *ANSWERED)))
    for line, row in zip(sheet.lines, answer.rows, strict=True):
        answered = _answered(row, answer, units, "," if sheet.divider == ";" else ".")
        writer.writerow(map(_harmless, (*line.cells, *answered)))
    return (codecs.BOM_UTF8 if sheet.marked else b"") + out.getvalue().encode()


def _answered(row: RowAnswer, answer: RosterAnswer, units: Units, decimal: str) -> Iterator[str]:
    pressings = () if row.plan is None else answer.plans[row.plan].pressings
    yield row.verdict or "fault"
    yield "; ".join(_recipe(pressing, units) for pressing in pressings)
    if row.price is None:
        yield from ("", "", "")
    else:
        yield row.price.each.amount.replace(".", decimal)
        yield row.price.total.amount.replace(".", decimal)
        yield row.price.total.currency
    yield " ".join(screen.why(row))


def _recipe(pressing: Pressing, units: Units) -> str:
    """Return what the press is set to for a pressing, on one line; nothing where no setting is right."""
    setting, peel = pressing.recipe.setting, pressing.recipe.peel
    if setting is None:
        return ""
    scales = f"{setting.temperature_c:g} degC", f"{setting.temperature_f:g} degF"
    first, second = scales if units == "metric" else scales[::-1]
    under = f"under {setting.cover}" if setting.cover else "no cover"
    peeled = f", peel {peel.when} after {peel.wait_s:.0f} s" if peel else ""
    return (
        f"{pressing.recipe.film} on {pressing.face}: {first} ({second}), {setting.dwell_s:g} s, "
        f"{setting.pressure}, {under}{peeled}"
    )


def _harmless(cell: str) -> str:
    """Return a cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell.startswith(_FORMULA) and not _NUMBER.fullmatch(cell) else cell
