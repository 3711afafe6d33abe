"""The application: a shop book behind its routes, in its envelope."""

from __future__ import annotations

from collections.abc import Callable

from litestar import Litestar

from featherline_service import plugins
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.computing.pool import Pool
from featherline_service.computing.this_process import ThisProcess
from featherline_service.questions.shoes import book_drawings
from featherline_service.settings import Settings
from featherline_service.web.answering.answer_cache import AnswerCache
from featherline_service.web.answering.outcomes import answerer
from featherline_service.web.http import problems
from featherline_service.web.routes import bulk, docs, health, metrics_page, questions, records, seals, well_known
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
    book: Book | None = None,
    sealing: seals.Seals | None = None,
    *,
    keys: Keys | None = None,
    pool: Pool | None = None,
    start_span: StartSpan = start_span,
) -> Envelope:
    """Return the ASGI application. Without `book`, `sealing` and `keys`, those that the settings name.

    Without keys it lets everybody in: then the server must listen on this machine alone, as `__main__` does. Without a
    `pool` it computes in this process. Spans are in the log alone, unless `start_span` exports them.

    Raises:
        BookError: The book cannot be used; the message names file, record and key.
        KeyFileError: The file of keys cannot be used; the message says why.
        PluginError: The plug-ins cannot be used; the message names the one at fault.
        SealKeyError: The file of seal keys cannot be used; the message says why.
    """
    if book is None:
        book = load(settings.book, plugins.load_named(settings.plugins))
        book_drawings.check(book)
    if keys is None and settings.keys is not None:
        keys = Keys(settings.keys)
    sealing = seals.from_settings(settings) if sealing is None else sealing
    metrics = Metrics()
    computing = ThisProcess(compute_by(book)) if pool is None else pool
    # The rest of the memory for caches is for what answers are computed from.
    answers = AnswerCache(computing, settings.cache // 4, settings.deadline, metrics)
    app = Litestar(
        route_handlers=[
            *questions.handlers(answers, sealing, settings.max_body),
            *bulk.handlers(answers, sealing, settings.max_body, metrics=metrics, keys=keys),
            *seals.handlers(sealing, settings.max_body, metrics),
            *records.handlers(book),
            *health.handlers(book),
            *metrics_page.handlers(book, answers, pool, metrics, keys=keys, seal_keys=sealing.keys),
            *docs.handlers(),
            *well_known.handlers(settings),
        ],
        exception_handlers={Exception: problems.respond},
        openapi_config=None,
        logging_config=None,
    )
    authenticated = Authentication(app, keys, RateLimits(), Addresses(settings.trusted_proxies))
    with_cors = Cors(authenticated, settings.cors_origins) if settings.cors_origins else authenticated
    return Envelope(with_cors, metrics, start_span, [route.path_format for route in app.routes])


def compute_by(book: Book) -> Callable[[bytes], bytes]:
    """Return what a process that computes does: answer questions by a book."""
    return answerer(book, {**questions.by_name(), bulk.READER.name: bulk.READER})
