"""What a process of a cluster does: it loads the books that its environment names, once, and prices blocks by one."""

from __future__ import annotations

import os
import platform
from collections.abc import Sequence
from datetime import datetime
from functools import cache as kept
from pathlib import Path
from threading import Lock
from typing import Final, NamedTuple

from featherline.plugins import PluginError
from featherline_service import plugins, settings
from featherline_service.book.faults import BookError
from featherline_service.book.loader import load_timetable
from featherline_service.book.shop_book import Book
from featherline_service.book.timetable import Timetable
from featherline_service.questions.shoes import book_drawings
from featherline_service.reprice import answer_files, answers
from featherline_service.reprice.answer_files import Format
from featherline_service.reprice.blocks import Block
from featherline_service.runtime import cache, logs
from featherline_service.runtime.engine import ENGINE
from featherline_service.settings import Settings

_NAME_DIGITS: Final = 16
# A process of a cluster may have several threads, which must not compute at once: they share prepared geometries.
_computing: Final = Lock()


class SetupError(Exception):
    """A process cannot price; the message says why, and what to do."""


class Identity(NamedTuple):
    """The book's revision, the engine's version, until when the book is in force: all but the order that counts."""

    book: str
    engine: str
    until: datetime | None = None


class Run(NamedTuple):
    """What all blocks of a run have in common; `longest` is the most bytes that a line may have.

    Workers write into `folder` themselves, where all of them have it under this name; else the command does.
    """

    identity: Identity
    longest: int
    format: Format
    folder: Path | None = None

    def file_of(self, block: Block) -> str:
        """Return the name of the file of a block's answers."""
        book, engine, until = self.identity
        return answer_files.name(block, book, engine, self.format, until)


class Priced(NamedTuple):
    """A block's answers: how many are problems, and the compressed content of its file, if that is not written yet."""

    problems: int
    compressed: bytes | None = None


def identities() -> tuple[Identity, ...]:
    """Return what this process can price by.

    Raises:
        SetupError: The settings or the book cannot be used.
    """
    return tuple(map(identity_of, _books()))


def identity_of(book: Book) -> Identity:
    """Return what counts of a book, and the version of this engine."""
    return Identity(book.revision, ENGINE, book.until)


def price(block: Block, run: Run) -> Priced:
    """Return the answers to a block, or write them where the run has a folder for it.

    Raises:
        OSError: They cannot be written.
        SetupError: The settings or the book cannot be used, or book or engine are not those of the run.
    """
    with _computing:
        refuse(identities(), run.identity, f"The worker on {platform.node()}")
        book = next(book for book in _books() if identity_of(book) == run.identity)
        name = f"reprice-{block.digest[:_NAME_DIGITS]}"
        answered = answers.answer(book, block.lines, name, run.longest)
        content = answer_files.encode(answered, run.format)
        problems = sum(answer.is_problem for answer in answered)
        if run.folder is None:
            return Priced(problems, answer_files.compress(content))
        answer_files.write(run.folder / run.file_of(block), content)
    return Priced(problems)


def refuse(found: Sequence[Identity], wanted: Identity, who: str) -> None:
    """Refuse a process whose answers would be others.

    Raises:
        SetupError: It has another book or engine.
    """
    if wanted not in found:
        raise SetupError(
            f"{who} has the book {' or '.join(map(_said, found))} and the engine {found[0].engine}; this command has "
            f"{_said(wanted)} and {wanted.engine}. Give all of them the same version of featherline-service, the same "
            "FEATHERLINE_BOOK and the same FEATHERLINE_PLUGINS."
        )


def _said(identity: Identity) -> str:
    return identity.book if identity.until is None else f"{identity.book} until {identity.until:%Y-%m-%dT%H:%M:%SZ}"


def load_shop() -> tuple[Timetable, Settings]:
    """Return the books and the settings of this process's environment.

    Raises:
        SetupError: They cannot be used.
    """
    try:
        read = settings.read(os.environ)
        timetable = load_timetable(read.book, plugins.load_named(read.plugins))
        book_drawings.check(*timetable.books)
    except (settings.SettingsError, PluginError, BookError) as error:
        raise SetupError(str(error)) from error
    return timetable, read


@kept
def _books() -> tuple[Book, ...]:
    timetable, read = load_shop()
    logs.configure(read.log_level)
    cache.set_limit(read.cache)
    return timetable.books
