"""Films, shoes and sizes as CSV: a column for each field that an owner keeps in a spreadsheet."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, Literal

import msgspec
from msgspec import Struct

from featherline_service.book.tables.merging import merged
from featherline_service.book.toml_records import Entry
from featherline_service.book_command.opened_books import OpenedBook
from featherline_service.book_command.toml_edits import set_record
from featherline_service.identifiers import listed

CsvKind = Literal["films", "shoes", "sizes"]

COLUMNS: Final[Mapping[CsvKind, tuple[str, ...]]] = {
    "films": (
        "id", "name", "family", "setting.coolest_c", "setting.hottest_c", "setting.shortest_s", "setting.longest_s",
        "setting.pressure", "peel.when", "roll.width_mm", "roll.length_m", "roll.price", "colours", "source",
    ),
    "shoes": (
        "id", "name", "kind", "protective", "upper", "colour", "sizes.system", "sizes.smallest", "sizes.largest",
        "pair_value", "panel", "panel.face", "panel.outline", "panel.width_mm", "panel.height_mm", "source",
    ),
    "sizes": ("id", "sizes.system", "sizes.smallest", "sizes.largest"),
}  # fmt: skip
_FOLDERS: Final[Mapping[CsvKind, Literal["films", "shoes"]]] = {"films": "films", "shoes": "shoes", "sizes": "shoes"}
_NUMBERS: Final = frozenset(
    name
    for columns in COLUMNS.values()
    for name in columns
    if name.endswith(("_c", "_s", "_mm", "_m", "smallest", "largest"))
)
_TRUTHS: Final[Mapping[str, bool]] = {"yes": True, "true": True, "no": False, "false": False}
_SOURCES: Final[Mapping[str, str]] = {"films": "maker-sheet", "shoes": "measured"}
_LIST: Final = ";"
_COLOUR: Final = re.compile(r"(?P<id>[a-z0-9-]+) (?P<name>.+) (?P<hex>#[0-9a-fA-F]{6})(?: (?P<effect>[a-z]+))?")
_HOW_COLOUR: Final = 'Not a colour; write each as "black Jet black #101010", with its effect behind if it has one'


class CsvFault(Struct, frozen=True):
    """What is wrong with a line of a CSV file, and what to do."""

    line: int
    column: str
    advice: str

    def __str__(self) -> str:
        """Return the fault as it is told."""
        return ": ".join(part for part in (f"line {self.line}", self.column, self.advice) if part)


class CsvError(Exception):
    """A CSV file cannot be read as records; `faults` are all of its faults."""

    def __init__(self, faults: Sequence[CsvFault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))


def export(opened: OpenedBook, kind: CsvKind) -> str:
    """Return the records of a kind as CSV: a line for each film, for each panel of a shoe, for each shoe's sizes."""
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS[kind], lineterminator="\n")
    writer.writeheader()
    for (of, _), entry in sorted(opened.entries.items()):
        if of == _FOLDERS[kind]:
            writer.writerows(_lines(entry, kind))
    return text.getvalue()


def import_into(folder: Path, opened: OpenedBook, kind: CsvKind, text: str) -> Iterator[str]:
    """Set the records of a CSV text in a folder, those values alone that differ, and yield what was done.

    An empty cell says nothing. Nothing is written where a line has a fault.

    Raises:
        CsvError: Lines cannot be read; with all their faults.
    """
    for name, values in list(_read(opened, kind, text)):
        if values:
            yield f"{_FOLDERS[kind]}/{name}: {set_record(folder, _FOLDERS[kind], name, values)} {', '.join(values)}"
        else:
            yield f"{_FOLDERS[kind]}/{name}: unchanged"


def rectangle(width_mm: float, height_mm: float) -> str:
    """Return the outline of a panel that is measured as a rectangle."""
    return f"M0 0H{width_mm:g}V{height_mm:g}H0Z"


def _lines(entry: Entry, kind: CsvKind) -> Iterator[dict[str, str]]:
    record = _fields(entry)
    line = {name: _shown(record, name) for name in COLUMNS[kind] if not name.startswith(("panel", "source"))}
    if kind != "shoes":
        yield line
        return
    for number, panel in enumerate(record["panels"]):
        of_panel = {"panel": panel["id"], "panel.face": panel["face"], "panel.outline": panel["outline"]}
        yield {**(line if number == 0 else {"id": line["id"]}), **of_panel}


def _fields(entry: Entry) -> dict[str, Any]:
    """Return a record as plain values, with what its tables say of its class."""
    said = merged([part.table for part in entry.parts[entry.defaults :]])
    more = {name: said[name] for name in ("kind", "upper", "colour") if name in said}
    return {**more, **msgspec.to_builtins(entry.record)}


def _shown(record: Mapping[str, Any], field: str) -> str:
    """Return what a cell shows of a field of a record."""
    value: Any = record
    for name in field.split("."):
        value = value.get(name) if isinstance(value, dict) else None
    return _text(value)


def _text(value: object) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case float():
            return f"{value:g}"
        case {"amount": amount}:
            return str(amount)
        case [*items]:
            return f"{_LIST} ".join(_in_words(item) for item in items)
        case _:
            return str(value)


def _in_words(item: object) -> str:
    if not isinstance(item, dict):
        return str(item)
    effect = "" if item.get("effect", "none") == "none" else f" {item['effect']}"
    return f"{item['id']} {item['name']} {item['hex']}{effect}"


def _read(opened: OpenedBook, kind: CsvKind, text: str) -> Iterator[tuple[str, dict[str, object]]]:
    """Yield the id of each record of a text, and the values in which it differs from the book."""
    reader = csv.DictReader(io.StringIO(text))
    faults: list[CsvFault] = []
    unknown = [name for name in reader.fieldnames or () if name not in COLUMNS[kind]]
    faults += (
        CsvFault(1, name, f"Unknown; take it out, or correct it to one of {listed(name, COLUMNS[kind])}")
        for name in unknown
    )
    if "id" not in (reader.fieldnames or ()):
        faults.append(CsvFault(1, "id", f"Missing; the columns are {', '.join(COLUMNS[kind])}"))
    records: dict[str, dict[str, object]] = {}
    panels: dict[str, list[dict[str, object]]] = {}
    if not faults:
        for cells in reader:
            line = {name: (cell or "").strip() for name, cell in cells.items() if name is not None}
            values = dict(_values(line, reader.line_num, faults))
            name = line["id"]
            if not name:
                faults.append(CsvFault(reader.line_num, "id", "Missing; give each record an id"))
            records.setdefault(name, {}).update(values)
            if line.get("panel"):
                panels.setdefault(name, []).append(_panel(line, reader.line_num, faults))
    if faults:
        raise CsvError(faults)
    for name, values in records.items():
        entry = opened.entries.get((_FOLDERS[kind], name))
        yield name, _differing(entry, values, panels.get(name, []), kind)


def _values(line: Mapping[str, str], number: int, faults: list[CsvFault]) -> Iterator[tuple[str, object]]:
    for name, cell in line.items():
        if not cell or name == "id" or name.startswith("panel"):
            continue
        value = _value(name, cell)
        if isinstance(value, CsvFault):
            faults.append(CsvFault(number, name, value.advice))
        else:
            yield name, value


def _value(name: str, cell: str) -> object:
    if name in _NUMBERS:
        try:
            return float(cell)
        except ValueError:
            return CsvFault(0, name, f"{cell!r} is no number; write it with a point, such as 155.5")
    match name:
        case "protective":
            return _TRUTHS.get(cell.lower(), CsvFault(0, name, f"{cell!r} is neither yes nor no; write one of the two"))
        case "colours":
            parts = [_COLOUR.fullmatch(part.strip()) for part in cell.split(_LIST)]
            colours = [_colour(part) for part in parts if part is not None]
            return colours if len(colours) == len(parts) else CsvFault(0, name, _HOW_COLOUR)
        case "upper" if _LIST in cell:
            return [part.strip() for part in cell.split(_LIST)]
        case _:
            return cell


def _colour(match: re.Match[str]) -> dict[str, str]:
    colour = {"id": match["id"], "name": match["name"], "hex": match["hex"].lower()}
    return colour if match["effect"] is None else {**colour, "effect": match["effect"]}


def _panel(line: Mapping[str, str], number: int, faults: list[CsvFault]) -> dict[str, object]:
    """Return a panel: traced, or measured as a rectangle."""
    panel: dict[str, object] = {"id": line["panel"]}
    if line.get("panel.face"):
        panel["face"] = line["panel.face"]
    sides = [line.get(f"panel.{name}", "") for name in ("width_mm", "height_mm")]
    if line.get("panel.outline"):
        panel["outline"] = line["panel.outline"]
    elif any(sides):
        try:
            panel["outline"] = rectangle(*map(float, sides))
        except ValueError:
            advice = "Give both sides of the rectangle in millimetres, or `panel.outline`"
            faults.append(CsvFault(number, "panel.width_mm", advice))
    return panel


def _differing(
    entry: Entry | None, values: Mapping[str, object], panels: Sequence[Mapping[str, object]], kind: CsvKind
) -> dict[str, object]:
    """Return the values that are not in the book as they are; of a new record all, with the source that is usual."""
    if entry is None:
        source = {} if "source" in values else {"source": _SOURCES[_FOLDERS[kind]]}
        return {**values, **({"panels": list(panels)} if panels else {}), **source}
    record = _fields(entry)
    differing = {
        name: value for name, value in values.items() if name != "source" and _text(value) != _shown(record, name)
    }
    there = record.get("panels", [])
    if any(_adds(panel, there) for panel in panels):
        by_id = {panel["id"]: dict(panel) for panel in panels}
        said = merged([part.table for part in entry.parts[entry.defaults :]]).get("panels", [])
        rows: list[Any] = list(said) if isinstance(said, list) else []
        kept = [{**row, **by_id.pop(row["id"], {})} for row in rows]
        differing["panels"] = [*kept, *by_id.values()]
    if differing and "source" in values:
        differing["source"] = values["source"]
    return differing


def _adds(panel: Mapping[str, object], there: Sequence[Mapping[str, object]]) -> bool:
    """Tell whether a panel says what those that are there do not."""
    known = next((one for one in there if one["id"] == panel["id"]), {})
    return any(known.get(name) != value for name, value in panel.items())
