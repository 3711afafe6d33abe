"""The application: a shop book behind its routes, in its shell."""

from __future__ import annotations

from litestar import Litestar

from featherline_service.book.loader import load
from featherline_service.book.shelves import Book
from featherline_service.settings import Settings
from featherline_service.web import bulk, description, health, problems, questions, reference
from featherline_service.web.answers import Answers
from featherline_service.web.shell import Shell
from featherline_service.web.work import Worker


def create_app(settings: Settings, book: Book | None = None) -> Shell:
    """Return the ASGI application. Without `book`, the one that the settings name is loaded.

    Raises:
        BookError: The book cannot be used; the message names file, record and key.
    """
    book = load(settings.book) if book is None else book
    worker = Worker()
    answers = Answers(book, worker, settings.cache // 4)  # the rest is for what answers are computed from
    return Shell(
        Litestar(
            route_handlers=[
                *questions.handlers(answers, settings.max_body),
                *bulk.handlers(answers, worker, settings.max_body),
                *reference.handlers(book),
                *health.handlers(book),
                *description.handlers(),
            ],
            exception_handlers={Exception: problems.respond},
            openapi_config=None,
            logging_config=None,
        )
    )
