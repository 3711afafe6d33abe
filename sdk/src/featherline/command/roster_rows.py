"""The rows of a roster from the cells of a sheet: a cell that cannot be read is a fault of its row alone.

Nothing is taken from the order that the sheet tries to say: a column whose name is only like one that counts, and a
cell below no name, are faults of the rows that have something in them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from difflib import get_close_matches
from typing import Any, Final, cast

import msgspec
from msgspec.structs import replace

from featherline.command import shoe_sizes
from featherline.command.parser import literals
from featherline.command.requests import UsageError
from featherline.command.roster_csv import UNREADABLE, Line, Sheet
from featherline.wire import BookShoe, Fault, Owner, RosterAnswer, RosterRow, RowAnswer, Size, SizeSystem

COLUMNS: Final = ("size", "pairs", "owner", "shoe", "id")
_OTHER_NAMES: Final[Mapping[str, frozenset[str]]] = {
    "size": frozenset({"eu", "eur", "uk", "us", "größe", "groesse", "pointure", "taille", "talla", "maat", "taglia"}),
    "pairs": frozenset({"qty", "quantity", "count", "menge", "anzahl", "paare", "paires", "pares"}),
    "owner": frozenset({"whose", "belongs_to"}),
    "shoe": frozenset({"model", "style", "shoes", "shoe_model", "schuh"}),
}
_MEANINGS: Final[Mapping[str, str]] = {
    "size": "the size of the shoe",
    "pairs": "the number of pairs",
    "owner": "whose pair it is",
    "shoe": "the shoe's id in the book",
}
_ALIKE: Final = 0.75  # the least share of letters in common, as difflib counts it, of a misspelt name
_FIELD: Final = re.compile(r"\{([a-z][a-z0-9_]{0,31})\}")
_IDENTIFIER: Final = re.compile(r"(?=.{1,48}$)[a-z0-9]+(-[a-z0-9]+)*")
_WHOLE_NUMBER: Final = re.compile(r"0*([1-9][0-9]{0,4})(?:[.,]0+)?")
# Error values of spreadsheets (OpenFormula 1.2, section 5.12, and those that came later).
_ERROR_VALUE: Final = re.compile(r"#(?:N/A|REF!|NAME\?|VALUE!|DIV/0!|NUM!|NULL!|SPILL!|CALC!)|Err:[0-9]{3}")
# Words for a total, in the languages of crew lists; common practice, no source.
_TOTAL_WORDS: Final = frozenset(
    {
        *("total", "totals", "subtotal", "subtotals", "grandtotal", "sum", "sums", "\u03c3"),
        *("gesamt", "gesamtsumme", "gesamtzahl", "gesamtanzahl", "insgesamt", "summe", "zwischensumme", "anzahl"),
        *("totale", "totales", "totaal", "totaux", "aantal", "somme", "soma", "suma"),
    }
)
_COUNT_OF_PAIRS: Final = re.compile(r"\W*[0-9]+\W*(pairs?|paare?|paires?|pares|par|paia|paio)\W*")
_TOTAL: Final = "The row reads like a total of the rows above; take it out, or put it higher up if it is a pair."
_UNPAIRED: Final = "The quotes of the line do not pair: close or remove the quote, and write one within a cell twice."
# Flags stand in quotes: a sign after a space begins a formula where a space divides cells.
_SIZE_FLAG: Final = """for a bare number or a blank cell, give '--size "EU 42"', in the system of the list"""
_MOST_PAIRS: Final = 10_000
_LONGEST_TEXT: Final = 200
_LONGEST_ID: Final = 128
_MOST_FAULTS: Final = 40


def fields_of(texts: Sequence[str]) -> tuple[str, ...]:
    """Return the names in braces in texts, without repetition."""
    return tuple(dict.fromkeys(name for text in texts for name in _FIELD.findall(text.replace("{{", ""))))


def fields_and_size(order: Any) -> tuple[tuple[str, ...], Size | None]:  # noqa: ANN401 - an order, or its JSON
    """Return the names in braces in the texts of an order, without repetition, and its size, if it has one.

    An order from a file may be malformed; the service refuses it, and says why.
    """
    content = msgspec.json.decode(msgspec.json.encode(order))
    placements = list(_objects(content.get("placements")))
    fields = fields_of(
        [str(artwork.get("text")) for placement in placements for artwork in _objects([placement.get("artwork")])]
    )
    try:
        return fields, msgspec.convert(content["shoe"]["size"], Size)
    except (LookupError, TypeError, msgspec.ValidationError):
        return fields, None


def _objects(items: Any) -> Iterator[dict[str, Any]]:  # noqa: ANN401 - JSON of any shape
    return (item for item in items if isinstance(item, dict)) if isinstance(items, list) else iter(())


def first_size(sheet: Sheet) -> Size:
    """Return the first size of a sheet that has a system, for an order without a size, whose rows all have their own.

    Raises:
        UsageError: No line has one; the message says what is wrong with the first lines.
    """
    faults = []
    for line in sheet.lines:
        text = sheet.cells(line)["size"]
        try:
            return shoe_sizes.parse(text)
        except ValueError as error:
            faults.append(f"Line {line.number} has no size" if not text else f"Line {line.number}: {error}")
    near = {name: column for column, name in _near_columns(sheet, ())}
    hint = f"the column {near['size']!r} is not read, name it size; " if "size" in near else ""
    more = f"; and so {len(faults) - 3} more" if len(faults) > 3 else ""  # noqa: PLR2004
    raise UsageError(f"No line has a size: {hint}{'; '.join(faults[:3])}{more}; {_SIZE_FLAG}")


def rows(
    sheet: Sheet, fields: Sequence[str], order_size: Size | None, *, has_default: bool = True
) -> Iterator[RosterRow]:
    """Yield a row of a roster for each line of a sheet; one that cannot be read has its faults and nothing else.

    Args:
        sheet: The file.
        fields: The names of the columns that fill the order's texts; a blank cell leaves its field out.
        order_size: The order's size, whose system a bare number in the file has; None if every row has its own.
        has_default: Whether `order_size` also stands in for a blank cell. If not, it is of the file itself, and a bare
            number has its system only if the file has sizes of no other.
    """
    missing = [_missing(sheet, field) for field in fields if field not in sheet.names]
    near = dict(_near_columns(sheet, fields))
    system = None if order_size is None else order_size.system
    if not has_default and len(_systems(sheet)) > 1:
        system = None
    totals = frozenset(_totals(sheet))
    for line in sheet.lines:
        if line.number in sheet.unpaired:
            yield RosterRow(faults=(_UNPAIRED,))
            continue
        if line.number in totals:
            yield RosterRow(faults=(_TOTAL,))
            continue
        faults = [*missing, *_unread_cells(sheet, line, near), *_swallowed_lines(sheet, line)]
        cell = sheet.cells(line)
        if not cell["size"] and not has_default:
            faults.append(f"The row has no size; fill it in, or {_SIZE_FLAG}.")
        row = _row(cell, fields, order_size, system, faults)
        yield RosterRow(id=row.id, faults=tuple(faults[:_MOST_FAULTS])) if faults else row


def _row(
    cell: Mapping[str, str],
    fields: Sequence[str],
    default: Size | None,
    system: SizeSystem | None,
    faults: list[str],
) -> RosterRow:
    """Return the row of a line's cells; add what is wrong with them to the faults."""
    size = _size(cell["size"], system, faults)
    for field in fields:
        faults += [f"{field} is {_excerpt(cell[field])}{fault}." for fault in _text_faults(cell[field])]
    if len(cell["id"]) > _LONGEST_ID:
        faults.append(f"id has {len(cell['id'])} characters; give at most {_LONGEST_ID}.")
    return RosterRow(
        id=cell["id"][:_LONGEST_ID] or None,
        fields={field: cell[field] for field in fields if cell[field]},
        size=None if cell["shoe"] else size,
        shoe=_shoe(cell["shoe"], size or default, faults),
        pairs=_pairs(cell["pairs"], faults),
        owner=_owner(cell["owner"], faults),
    )


def _size(text: str, system: SizeSystem | None, faults: list[str]) -> Size | None:
    if text:
        try:
            return shoe_sizes.parse(text, system)
        except ValueError as error:
            hint = f"; {_SIZE_FLAG}" if system is None and not re.search(r"[^\W\d_]", text) else ""
            faults.append(f"size: {error}{hint}.")
    return None


def _shoe(identifier: str, size: Size | None, faults: list[str]) -> BookShoe | None:
    if not identifier:
        return None
    if _IDENTIFIER.fullmatch(identifier) is None:
        faults.append(f"shoe is {_excerpt(identifier)}; write its id in the book, such as regatta-deck.")
        return None
    if size is None:
        faults.append("A shoe of the book needs a size; fill it in.")
        return None
    return BookShoe(shoe=identifier, size=size)


def _text_faults(text: str) -> Iterator[str]:
    """Yield what is wrong with a cell that is to be pressed onto a shoe."""
    if UNREADABLE in text:
        yield ", which is not in the file's encoding: save it as CSV UTF-8, or name it, such as '--encoding cp1252'"
    if text.startswith("="):
        yield ", a formula: save the values of the cells"
    if _ERROR_VALUE.fullmatch(text):
        yield ", an error of the spreadsheet: mend its formula"
    if len(text) > _LONGEST_TEXT:
        yield f", {len(text)} characters; give at most {_LONGEST_TEXT}"


def _pairs(text: str, faults: list[str]) -> int | None:
    number = _WHOLE_NUMBER.fullmatch(text)
    if number is not None and int(number[1]) <= _MOST_PAIRS:
        return int(number[1])
    if text:
        faults.append(f"pairs is {_excerpt(text)}; give a whole number from 1 to {_MOST_PAIRS}.")
    return None


def _owner(text: str, faults: list[str]) -> Owner | None:
    owners = literals(Owner)
    if text and text.casefold() not in owners:
        faults.append(f"owner is {_excerpt(text)}; give {' or '.join(owners)}.")
        return None
    return cast("Owner", text.casefold()) if text else None


def _unread_cells(sheet: Sheet, line: Line, near: Mapping[str, str]) -> Iterator[str]:
    """Yield the faults of cells that say something in a column that is not read."""
    for at, (column, text) in enumerate(zip(sheet.columns, line.cells, strict=True), start=1):
        if not text:
            continue
        if not column:
            yield (
                f"Cell {at}, {_excerpt(text)}, is below no column's name: name its column, or put quotes around a text "
                f"that has a {sheet.delimiter!r} in it."
            )
        elif meaning := _MEANINGS.get(near.get(column, "")):
            yield (
                f"The column {_excerpt(column)} is not read; rename it {near[column]!r} if it is {meaning}, "
                "or give it a name of another kind if it is not."
            )


def _swallowed_lines(sheet: Sheet, line: Line) -> Iterator[str]:
    """Yield the faults of cells that run over several lines, one of which has as many delimiters as a row."""
    for at, text in enumerate(line.cells, start=1):
        delimiters = [part.count(sheet.delimiter) for part in text.split("\n")]
        if len(delimiters) > 1 and max(delimiters) >= max(len(sheet.columns) - 1, 2):
            yield (
                f"Cell {at} runs over {len(delimiters)} lines, of which one looks like a row of its own: "
                "close the quote before it, or write the cell on one line."
            )


def _totals(sheet: Sheet) -> Iterator[int]:
    """Yield the numbers of the last lines that total the list, if they do."""
    above: Line | None = None
    count = pairs = 0
    totals: list[int] = []
    for line in sheet.lines:
        is_named = _is_named_total(line)
        is_sum = count > 0 and _is_sum(sheet, line, count, pairs)
        if is_sum or (is_named and above is not None and _lacks_cells(sheet, line, above)):
            totals.append(line.number)
        elif not is_named:
            totals.clear()
        if not is_named:
            above = line
            count += 1
            pairs += _pairs(sheet.cells(line)["pairs"], []) or 1
    yield from totals


def _is_named_total(line: Line) -> bool:
    """Return whether the first text of a line begins or ends with a word for a total, or counts pairs."""
    text = next((cell.casefold() for cell in line.cells if re.search(r"[^\W\d_]|\u2211", cell)), "")
    words = re.findall(r"[^\W\d_]+", text)
    has_word = bool(words) and not _TOTAL_WORDS.isdisjoint((words[0], words[-1]))
    return has_word or "\u2211" in text or _COUNT_OF_PAIRS.fullmatch(text) is not None


def _is_sum(sheet: Sheet, line: Line, count: int, pairs: int) -> bool:
    """Return whether the pairs of a line are the sum of the `pairs` of the `count` lines above it.

    A row that has a text and a size is a pair all the same, and so is a row below a single one, if it has other cells.
    """
    cell = sheet.cells(line)
    if _pairs(cell["pairs"], []) != pairs:
        return False
    others = sum(map(bool, line.cells)) - 1
    is_pair = _is_size(cell["size"]) and others > 1
    return not is_pair and (count > 1 or not others)


def _is_size(text: str) -> bool:
    try:
        shoe_sizes.parse(text, "EU")
    except ValueError:
        return False
    return True


def _lacks_cells(sheet: Sheet, line: Line, above: Line) -> bool:
    """Return whether a line has nothing besides a text and pairs, or lacks a cell that the last pair above has.

    A pair may be called "Total": its line has a cell wherever that of the last pair has one.
    """
    others = sum(map(bool, line.cells)) - bool(sheet.cells(line)["pairs"])
    return others == 1 or any(cell and not own for own, cell in zip(line.cells, above.cells, strict=True))


def _missing(sheet: Sheet, field: str) -> str:
    columns = ", ".join(name for name in sheet.names if name)
    near = next((column for column, meant in _near_columns(sheet, (field,)) if meant == field), None)
    hint = "" if near is None else f"; did you mean {near!r}?"
    return f"The text asks for {{{field}}}, but the file has no such column; it has: {columns}"[:900] + (hint or ".")


def _near_columns(sheet: Sheet, fields: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Yield the columns that are not read and are named like one that the file lacks, each with that one's name."""
    known = {*fields, *COLUMNS}
    absent = [name for name in (*_OTHER_NAMES, *fields) if name not in sheet.names]
    for column, name in zip(sheet.columns, sheet.names, strict=True):
        if not name or name in known:
            continue
        words = re.findall(r"[^\W_]+", name)
        meant = next(
            (one for one in absent if name in _OTHER_NAMES.get(one, ()) or (one != "shoe" and one in words)), None
        )
        if meant is None:
            meant = next(iter(get_close_matches(name, absent, n=1, cutoff=_ALIKE)), None)
        if meant is not None:
            yield column, meant


def _systems(sheet: Sheet) -> set[SizeSystem]:
    """Return the systems that cells of a sheet name."""
    systems = set()
    for line in sheet.lines:
        try:
            systems.add(shoe_sizes.parse(sheet.cells(line)["size"]).system)
        except ValueError:  # a fault of its row, or a bare number
            continue
    return systems


def remarks(sheet: Sheet, fields: Sequence[str], default: Size | None) -> Iterator[str]:
    """Yield what is to be known of a sheet: the columns that are not read, and a size that all rows have."""
    near = dict(_near_columns(sheet, fields))
    unread = [
        f"{column} (did you mean {near[column]}?)" if column in near else column
        for column, name in zip(sheet.columns, sheet.names, strict=True)
        if name and name not in {*fields, *COLUMNS}
    ]
    if unread:
        yield f"not read: {', '.join(unread)}"
    if "size" not in sheet.names and default is not None:
        yield f"no column size: every row is {default.system} {default.value}"


def with_empty_cells(answer: RosterAnswer, sheet: Sheet, fields: Sequence[str]) -> RosterAnswer:
    """Return the answer with the fault of a field that a row lacks in words of the sheet: its cell is empty."""
    lines = zip(sheet.lines, answer.rows, strict=True)
    return replace(answer, rows=tuple(_with_empty_cells(row, sheet.cells(line), fields) for line, row in lines))


def _with_empty_cells(row: RowAnswer, cell: Mapping[str, str], fields: Sequence[str]) -> RowAnswer:
    empty = [repr(field) for field in fields if not cell[field]]
    return replace(row, faults=tuple(_with_empty_cell(fault, empty) for fault in row.faults))


def _with_empty_cell(fault: Fault, empty: Sequence[str]) -> Fault:
    name = next((name for name in empty if fault.detail.endswith(name)), None)
    if name is None or not fault.pointer.endswith("/fields"):
        return fault
    return replace(fault, detail=f"The cell {name} is empty")


def _excerpt(text: str) -> str:
    return repr(text if len(text) <= 40 else f"{text[:40]}...")  # noqa: PLR2004 - enough to find it
