"""What a process of a cluster does: it loads the book that its environment names, once, and prices blocks by it."""

from __future__ import annotations

import os
import platform
from functools import cache as kept
from threading import Lock
from typing import Final, NamedTuple

from featherline.plugins import PluginError
from featherline_service import plugins, settings
from featherline_service.book.faults import BookError
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
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
    """The book's revision and the engine's version: all that an answer depends on beside its order."""

    book: str
    engine: str


class Run(NamedTuple):
    """What all blocks of a run have in common; `longest` is the most bytes that a line may have."""

    identity: Identity
    longest: int
    format: Format


class Priced(NamedTuple):
    """A block's answers: the compressed content of its file, and the number of problems among them."""

    compressed: bytes
    problems: int


def identity() -> Identity:
    """Return the book and engine of this process.

    Raises:
        SetupError: The settings or the book cannot be used.
    """
    return identity_of(_book())


def identity_of(book: Book) -> Identity:
    """Return the book's revision and the version of this engine."""
    return Identity(book.revision, ENGINE)


def price(block: Block, run: Run) -> Priced:
    """Return the answers to a block.

    Raises:
        SetupError: The settings or the book cannot be used, or book or engine are not those of the run.
    """
    with _computing:
        book = _book()
        refuse(identity_of(book), run.identity, f"The worker on {platform.node()}")
        name = f"reprice-{block.digest[:_NAME_DIGITS]}"
        answered = answers.answer(book, block.lines, name, run.longest)
    return Priced(answer_files.encode(answered, run.format), sum(answer.is_problem for answer in answered))


def refuse(found: Identity, wanted: Identity, who: str) -> None:
    """Refuse a process whose answers would be others.

    Raises:
        SetupError: Its book or its engine differs.
    """
    if found != wanted:
        raise SetupError(
            f"{who} has the book {found.book} and the engine {found.engine}; this command has {wanted.book} and "
            f"{wanted.engine}. Give all of them the same version of featherline-service, the same FEATHERLINE_BOOK and "
            "the same FEATHERLINE_PLUGINS."
        )


def load_shop() -> tuple[Book, Settings]:
    """Return the book and the settings of this process's environment.

    Raises:
        SetupError: They cannot be used.
    """
    try:
        read = settings.read(os.environ)
        book = load(read.book, plugins.load_named(read.plugins))
        book_drawings.check(book)
    except (settings.SettingsError, PluginError, BookError) as error:
        raise SetupError(str(error)) from error
    return book, read


@kept
def _book() -> Book:
    book, read = load_shop()
    logs.configure(read.log_level)
    cache.set_limit(read.cache)
    return book
