"""Books that the command reads: by folders, or those that the service's settings name."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct

from featherline_service import settings as environment
from featherline_service.book.loader import read_layers
from featherline_service.book.shop_book import Book
from featherline_service.book.tables.assembly import assemble
from featherline_service.book.tables.layers import Laid, laid_over
from featherline_service.book.timetable import Timetable
from featherline_service.book.toml_records import Entries
from featherline_service.settings import DEMO, Settings
from featherline_service.shop_books import load_shop


class OpenedBook(Struct, frozen=True):
    """The book that is in force, all that are known, and the tables that it is made of."""

    book: Book
    timetable: Timetable
    laid: Laid
    entries: Entries


def folders_in(text: str) -> tuple[Path, ...]:
    """Return the folders that a text names, divided as in FEATHERLINE_BOOK; none for the demo book."""
    return () if text == DEMO else tuple(Path(folder) for folder in text.split(os.pathsep) if folder)


def settings_for(environ: Mapping[str, str], folders: str | None) -> Settings:
    """Return the settings of the service, with other folders for its book if any are given.

    Raises:
        SettingsError: A variable of the environment cannot be used.
    """
    if folders is None:
        return environment.read(environ)
    others = {name: value for name, value in environ.items() if name != "FEATHERLINE_BOOK"}
    named = os.pathsep.join(map(str, folders_in(folders)))
    return environment.read(others | ({"FEATHERLINE_BOOK": named} if named else {}))


def open_book(environ: Mapping[str, str], folders: str | None, at: float) -> OpenedBook:
    """Return the book of folders, or of the settings.

    Args:
        environ: The environment.
        folders: Folders divided as in FEATHERLINE_BOOK, or `DEMO`; None for those of the settings.
        at: The instant at which it is in force, in seconds since 1970.

    Raises:
        SettingsError: A variable of the environment cannot be used.
        BookError: The book has faults.
        PluginError: The plug-ins cannot be used.
    """
    settings = settings_for(environ, folders)
    timetable = load_shop(settings)
    book = timetable.books[timetable.number_at(at)]
    laid = laid_over(read_layers(settings.book), book.since)
    return OpenedBook(book, timetable, laid, assemble(laid).entries)
