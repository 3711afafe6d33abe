"""Seals: attached to prices as they are answered, checked, and the public keys that anyone may check them with."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any, Final

import msgspec
from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler
from litestar.types import ASGIApp
from msgspec import Raw
from msgspec.structs import asdict, replace

from featherline import seals
from featherline.wire.seals import PublishedKeys, SealCheck, SealCheckRequest
from featherline_service.settings import Settings
from featherline_service.signatures import Sealable, SealKeys, read_keys, seal, temporary_keys
from featherline_service.web.answering.askers import asker_of
from featherline_service.web.answering.pins import is_for_customers
from featherline_service.web.answering.today import Today
from featherline_service.web.http.bodies import Body, read
from featherline_service.web.http.callers import KEYLESS, PUBLIC, Caller
from featherline_service.web.http.codings import VARY, coding_preference, encode
from featherline_service.web.http.context import context_of
from featherline_service.web.http.negotiation import JSON, conditional, entity_tag
from featherline_service.web.http.problems import ENDED, PLUGIN_FAILED, TOO_HEAVY
from featherline_service.web.http.responses import success
from featherline_service.web.routes.operations import Operation
from featherline_service.web.telemetry.metrics import Metrics

CHECK_SEAL: Final = Operation(
    id="checkSeal",
    method="POST",
    path="/v1/seals/check",
    tag="seals",
    scope="ask",
    also=("price", "shop"),
    summary="Check whether a seal is ours, whole and still in force",
    description="A seal that is not is no error: the status says what is to be thought of it. Only a `valid` one "
    "may be relied on. The same can be told without asking, with the published keys. With `today` the answer "
    "says, too, what the order would be answered by the book in force, as a customer may see it; the status stays what "
    "it is.",
    asked=SealCheckRequest,
    answered=(SealCheck,),
    own_problems=(TOO_HEAVY, ENDED, PLUGIN_FAILED),
    examples=(("seal-check-request", "seal-check-answer"),),
)
READ_SEAL_KEYS: Final = Operation(
    id="readSealKeys",
    path="/.well-known/jwks.json",
    tag="seals",
    scope=None,
    summary="Read the public keys that seals are checked with",
    description="A JSON Web Key Set (RFC 7517). The first key seals at present; the others are there as long as seals "
    "by them may be in force. Keep a copy, and read it again when a seal names a key that is not in it.",
    answered=(PublishedKeys,),
    revalidated=True,
    examples=((None, "seal-keys-answer"),),
)
OPERATIONS: Final = (CHECK_SEAL, READ_SEAL_KEYS)

_PERIOD_S: Final = 60
_UNSEALED: Final = b'"seal":null}'
_BEFORE_NULL: Final = -len(b"null}")
_encode: Final = msgspec.json.Encoder().encode
_now: Final = partial(datetime.now, UTC)


class Seals:
    """Seals prices for `lifetime` from the minute that `clock` tells, and checks seals.

    Within a minute the same price has the very same seal, so that it can be cached with the answer: a signature takes
    ten times as long as all the rest of a cached answer.
    """

    def __init__(self, keys: SealKeys, lifetime: timedelta, clock: Callable[[], datetime] = _now) -> None:
        self.keys = keys
        self.lifetime = lifetime
        self.clock = clock
        self._public = keys.public()

    def period(self) -> int:
        """Return the minute, counted from the epoch."""
        return int(self.clock().timestamp()) // _PERIOD_S

    def seal(self, sealable: Sealable, period: int, audience: str | None) -> bytes:
        """Return the seal of an answer in a minute, as JSON."""
        at = datetime.fromtimestamp(period * _PERIOD_S, UTC)
        return _encode(seal(self.keys, sealable, at=at, lifetime=self.lifetime, audience=audience))

    def attach(self, body: bytes, seal: bytes) -> bytes:
        """Return an answer, as the bytes to send, with its seal."""
        if not body.endswith(_UNSEALED):
            raise AssertionError("The seal must be the last field of an answer, and not there yet")
        return b"".join((memoryview(body)[:_BEFORE_NULL], seal, b"}"))

    def check(self, request: SealCheckRequest, caller: Caller = KEYLESS) -> SealCheck:
        """Return the state of a seal at this instant; a key of a page or a till takes its own prices alone."""
        audience = request.audience
        if audience is None and is_for_customers(caller):
            audience = caller.id
        return seals.check(
            request.seal,
            self._public,
            at=self.clock(),
            request=request.order,
            audience=audience,
            by_hand=request.by_hand,
        )


def from_settings(settings: Settings) -> Seals:
    """Return the seals by the keys that the settings name, or by one that ends with the run.

    Raises:
        SealKeyError: The file of keys cannot be used; the message says why and what to do.
    """
    keys = temporary_keys() if settings.seal_keys is None else read_keys(settings.seal_keys)
    return Seals(keys, timedelta(days=settings.seal_days))


def handlers(sealing: Seals, largest_body: int, metrics: Metrics, today: Today) -> Sequence[HTTPRouteHandler]:
    """Return the handlers of seals."""
    body: Body[SealCheckRequest] = Body(SealCheckRequest)
    checks = metrics.seal_checks
    published = _encode(sealing.keys.published())
    tag = entity_tag(published)

    async def check_seal(request: Request[Any, Any, Any]) -> ASGIApp:
        request_body = body.decode(await read(request, largest_body))
        check = sealing.check(request_body, context_of(request.scope).caller or PUBLIC)
        checks.labels(check.status).inc()
        if request_body.today and check.quote is not None:
            told = await today.tell(check.quote, request_body.order, asker_of(request.scope, "questions"))
            check = replace(check, today=told)
        answer = _written(check)
        coding = coding_preference(request.scope).coding(len(answer))
        encoded = answer if coding is None else encode(answer, coding)
        return success(encoded, JSON, (VARY,), coding)

    async def read_keys(request: Request[Any, Any, Any]) -> Response[bytes]:
        return conditional(request, published, tag)

    return [CHECK_SEAL.handler(check_seal), READ_SEAL_KEYS.handler(read_keys)]


def _written(check: SealCheck) -> bytes:
    """Return a check as JSON, the order in it as it was sealed: without fields that have their default values.

    A client that has the description of an older version then finds no field in it that nobody used.
    """
    quote = check.quote
    if quote is None or quote.order is None:
        return _encode(check)
    order = Raw(seals.canonical(quote.order))
    return _encode({**asdict(check), "quote": {**asdict(quote), "order": order}})
