"""The names of records in the reader's language."""

from __future__ import annotations

from featherline.wire.records import Colour, Film, Panel, ShoeColour, ShoeModel


def local_name(record: Film | Colour | ShoeModel | ShoeColour | Panel, language: str) -> str:
    """Return the name of a record in a language, or in the shop's."""
    return next((local.name for local in record.names if local.language == language), record.name)
