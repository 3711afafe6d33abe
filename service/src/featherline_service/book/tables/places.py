"""Where in the files of a book its faults are."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from msgspec.structs import replace

from featherline_service.book.faults import BookFault
from featherline_service.book.tables.layers import Laid
from featherline_service.book.tables.lines import key_lines
from featherline_service.book.toml_records import DEFAULTS, Chain, Part


def located(faults: Iterable[BookFault], laid: Laid) -> Iterator[BookFault]:
    """Yield the faults of a book, each with the file and line that its value is from, or its record's."""
    known: dict[Path, Mapping[str, int]] = {}
    for fault in faults:
        chain = _chain(fault, laid)
        yield fault if fault.line is not None else _in_record(fault, chain, known) if chain else _in_file(fault, known)


def _in_record(fault: BookFault, chain: Chain, known: dict[Path, Mapping[str, int]]) -> BookFault:
    own = [part for part in chain if str(part.file) == fault.file] or list(chain)
    for part in reversed(own):
        line = line_of(part, fault.key, known)
        if line is not None:
            return replace(fault, file=str(part.file), line=line)
    return replace(fault, file=str(own[-1].file), line=_lines(own[-1].file, known).get(own[-1].place, 1))


def _in_file(fault: BookFault, known: dict[Path, Mapping[str, int]]) -> BookFault:
    file = Path(fault.file)
    lines = _lines(file, known) if fault.key and file.is_file() else {}
    return replace(fault, line=lines.get(fault.key))


def _chain(fault: BookFault, laid: Laid) -> Chain:
    """Return the parts of the record that a fault is of, by its file or its kind."""
    if not fault.record:
        return ()
    kinds = [fault.file, Path(fault.file).parent.name, f"{DEFAULTS}/{Path(fault.file).stem}"]
    return next((chain for kind in kinds if (chain := laid.chains.get((kind, fault.record), ()))), ())


def line_of(part: Part, key: str, known: dict[Path, Mapping[str, int]]) -> int | None:
    """Return the line of a key of a record, or of the innermost table or list with it that the part has."""
    lines = _lines(part.file, known)
    while key:
        line = lines.get(f"{part.place}.{key}" if part.place else key)
        if line is not None:
            return line
        key = key[: max(key.rfind("."), key.rfind("["), 0)]
    return None


def _lines(file: Path, known: dict[Path, Mapping[str, int]]) -> Mapping[str, int]:
    if file not in known:
        known[file] = key_lines(file.read_text("utf-8"))
    return known[file]
