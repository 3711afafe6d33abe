"""The books that the settings name, with the plug-ins that they name, their drawings checked."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from featherline_service import plugins
from featherline_service.book.faults import BookError
from featherline_service.book.loader import load_timetable, with_places
from featherline_service.book.timetable import Timetable
from featherline_service.questions.shoes import book_drawings
from featherline_service.settings import Settings


def load_shop(settings: Settings, processors: int = 1) -> Timetable:
    """Return the books that the settings name: those that may be asked for, and those to come.

    With more than one of `processors`, a copy of this process checks half of many shoes: it must not have threads then.

    Raises:
        BookError: One of them cannot be used; the message names file, record and key.
        PluginError: The plug-ins cannot be used; the message names the one at fault.
    """
    superseded = datetime.now(UTC) - timedelta(days=settings.seal_days)
    timetable = load_timetable(settings.book, plugins.load_named(settings.plugins), superseded)
    try:
        book_drawings.check(*timetable.books, processors=processors)
    except BookError as error:
        raise BookError(with_places(error.faults, settings.book)) from None
    return timetable
