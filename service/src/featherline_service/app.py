"""The application: a shop book behind its routes, in its envelope."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from datetime import timedelta

from litestar import Litestar
from litestar.types import ASGIApp

from featherline_service.book.shop_book import Book
from featherline_service.book.timetable import Timetable
from featherline_service.computing.pool import Pool
from featherline_service.computing.this_process import ThisProcess
from featherline_service.settings import Settings
from featherline_service.shop_books import load_shop
from featherline_service.web.answering.answer_cache import AnswerCache
from featherline_service.web.answering.languages import words_of
from featherline_service.web.answering.outcomes import answerer
from featherline_service.web.answering.range_notes import RangeNotes
from featherline_service.web.answering.revisions import Revisions
from featherline_service.web.answering.today import Today
from featherline_service.web.counter import files
from featherline_service.web.counter.entrance import Entrance
from featherline_service.web.http import problems
from featherline_service.web.http.negotiation import JSON
from featherline_service.web.routes import (
    bulk,
    catalogue,
    docs,
    health,
    metrics_page,
    questions,
    records,
    seals,
    well_known,
)
from featherline_service.web.routes.pictures import picture_routes
from featherline_service.web.routes.pictures.addresses import Addresses as PictureAddresses
from featherline_service.web.routes.tracing import photos, sheets
from featherline_service.web.server.addresses import Addresses
from featherline_service.web.server.authentication import Authentication
from featherline_service.web.server.caller_keys import Keys
from featherline_service.web.server.cors import Cors
from featherline_service.web.server.envelope import Envelope
from featherline_service.web.server.rate_limits import RateLimits
from featherline_service.web.telemetry.metrics import Metrics
from featherline_service.web.telemetry.trace_context import StartSpan, start_span


def create_app(
    settings: Settings,
    books: Timetable | Book | None = None,
    sealing: seals.Seals | None = None,
    *,
    keys: Keys | None = None,
    pool: Pool | None = None,
    clock: Callable[[], float] = time.time,
    start_span: StartSpan = start_span,
) -> Envelope:
    """Return the ASGI application. Without `books`, `sealing` and `keys`, those that the settings name.

    Without keys it lets everybody in: then the server must listen on this machine alone, as `__main__` does. Without a
    `pool` it computes in this process. `clock` counts seconds from 1970 and tells which book is in force. Spans are in
    the log alone, unless `start_span` exports them.

    Raises:
        BookError: The book cannot be used; the message names file, record and key.
        KeyFileError: The file of keys cannot be used; the message says why.
        PluginError: The plug-ins cannot be used; the message names the one at fault.
        SealKeyError: The file of seal keys cannot be used; the message says why.
    """
    timetable = load_shop(settings) if books is None else books if isinstance(books, Timetable) else Timetable((books,))
    if keys is None and settings.keys is not None:
        keys = Keys(settings.keys)
    sealing = seals.from_settings(settings) if sealing is None else sealing
    metrics = Metrics()
    revisions = Revisions(timetable, timedelta(days=settings.seal_days), clock)
    computing = ThisProcess(compute_by(timetable.books)) if pool is None else pool
    # The rest of the memory for caches is for what answers are computed from.
    ranges = RangeNotes([book.revision for book in timetable.books])
    answers = AnswerCache(computing, settings.cache // 4, settings.deadline, metrics, ranges.note)
    addresses = PictureAddresses(sealing.keys, sealing.lifetime, sealing.clock)
    today = Today(answers, questions.questions(questions.OFFER_ORDER)[JSON], revisions)
    app = Litestar(
        route_handlers=[
            *questions.handlers(answers, sealing, settings.max_body, revisions),
            *bulk.handlers(answers, sealing, settings.max_body, metrics=metrics, keys=keys, revisions=revisions),
            *seals.handlers(sealing, settings.max_body, metrics, today),
            *picture_routes.handlers(answers, addresses, settings.max_body, revisions),
            *photos.handlers(answers),
            *sheets.handlers(),
            *catalogue.handlers(revisions),
            *records.handlers(revisions),
            *health.handlers(revisions),
            *metrics_page.handlers(revisions, answers, pool, metrics, keys=keys, seal_keys=sealing.keys),
            *docs.handlers(),
            *well_known.handlers(settings),
            *(files.handlers() if settings.counter == "on" else ()),
        ],
        exception_handlers={Exception: problems.respond},
        openapi_config=None,
        logging_config=None,
    )
    authenticated: ASGIApp = Authentication(app, keys, RateLimits(), Addresses(settings.trusted_proxies))
    if settings.counter == "on":
        authenticated = Entrance(authenticated)
    with_cors = Cors(authenticated, settings.cors_origins) if settings.cors_origins else authenticated
    templates = [route.path_format for route in app.routes]
    return Envelope(with_cors, metrics, start_span, templates, lambda scope: words_of(scope, revisions.in_force()))


def compute_by(books: Sequence[Book]) -> Callable[[bytes], bytes]:
    """Return what a process that computes does: answer questions by the books."""
    return answerer(books, {**questions.by_name(), **photos.by_name(), bulk.READER.name: bulk.READER})
