"""A panel of a shoe from a file: a drawing in true size, or the answer to a photo of a tape tracing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import msgspec
from msgspec import Struct

from featherline.wire.shoes import Face
from featherline.wire.tracings import TracingAnswer, TracingQuery, Unit
from featherline_service.book.tables.merging import merged
from featherline_service.book_command.opened_books import OpenedBook
from featherline_service.book_command.toml_edits import set_record
from featherline_service.identifiers import listed
from featherline_service.questions import tracings
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.tracings import TracingAsked
from featherline_service.shape.panel_drawings.panels import DrawingType

_DRAWINGS: Final[Mapping[str, DrawingType]] = {".svg": "image/svg+xml", ".dxf": "image/vnd.dxf"}
_ANSWER: Final = ".json"
_UPRIGHT: Final = 90.0


class PanelFileError(Exception):
    """A panel cannot be read from a file or set in a book; the message says what to do."""


class Wanted(Struct, frozen=True):
    """Which panel of which shoe is set; `face` counts for a new panel, `unit` where the drawing says none."""

    shoe: str
    panel: str
    face: Face = "outer"
    unit: Unit | None = None


def import_into(folder: Path, opened: OpenedBook, file: Path, wanted: Wanted) -> Iterator[str]:
    """Set outline and keep-outs of a panel in a folder, all else of it as it is, and yield what was done.

    Raises:
        PanelFileError: The file is no drawing or tracing that can be read, or the book has no such shoe.
    """
    entry = opened.entries.get(("shoes", wanted.shoe))
    if entry is None:
        shoes = sorted(name for kind, name in opened.entries if kind == "shoes")
        raise PanelFileError(f"The book has no shoe {wanted.shoe!r}; it has {listed(wanted.shoe, shoes)}")
    answer = _answer(file, wanted)
    drawn = msgspec.to_builtins(answer.drawing)
    new = {name: drawn[name] for name in ("outline", "keep_outs")}
    said: Any = merged([part.table for part in entry.parts[entry.defaults :]]).get("panels", [])
    rows = [{**row, **new} if row["id"] == wanted.panel else dict(row) for row in said]
    if all(row["id"] != wanted.panel for row in rows):
        turned = {} if drawn["up_deg"] == _UPRIGHT else {"up_deg": drawn["up_deg"]}
        rows.append({"id": wanted.panel, "face": wanted.face, **new, **turned})
    done = set_record(folder, "shoes", wanted.shoe, {"panels": rows})
    yield (
        f"shoes/{wanted.shoe}: {done} panel {wanted.panel}, {answer.width_mm:g} x {answer.height_mm:g} mm, "
        f"{len(answer.drawing.keep_outs)} kept free"
    )
    yield from answer.cautions


def _answer(file: Path, wanted: Wanted) -> TracingAnswer:
    media_type = _DRAWINGS.get(file.suffix.lower())
    if media_type is None and file.suffix.lower() != _ANSWER:
        raise PanelFileError(f"{file} is no panel; give a drawing (.svg, .dxf) or the answer of /v1/tracings (.json)")
    content = file.read_bytes()
    if media_type is None:
        try:
            return msgspec.json.decode(content, type=TracingAnswer)
        except msgspec.DecodeError as error:
            raise PanelFileError(f"{file} is no answer of /v1/tracings: {error}") from None
    query = TracingQuery(panel=wanted.panel, face=wanted.face, unit=wanted.unit)
    try:
        return tracings.trace(TracingAsked(content=content, media_type=media_type, query=query))
    except RefusedError as error:
        raise PanelFileError("\n".join(f"{file}: {fault.detail}" for fault in error.faults)) from None
