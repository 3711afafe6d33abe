"""Who asks a question, from the context of its request."""

from __future__ import annotations

import math
from typing import Final

from litestar.types import Scope

from featherline_service.computing.pool import Caller, CallerClass
from featherline_service.web.answering.answer_cache import Asker
from featherline_service.web.answering.pins import pins_of
from featherline_service.web.http.callers import KEYLESS, PUBLIC
from featherline_service.web.http.context import context_of

_NOWHERE: Final = "(unknown address)"


def asker_of(scope: Scope, class_: CallerClass, wait_s: float = math.inf) -> Asker:
    """Return who asks: a caller by its key, without keys by its address.

    Args:
        scope: The request's scope.
        class_: The class of its questions.
        wait_s: How long the caller waits.
    """
    context = context_of(scope)
    caller = context.caller or PUBLIC
    name = context.address or _NOWHERE if caller is KEYLESS else caller.id
    work = context.work

    def charge(seconds: float) -> None:
        if work is not None:
            work.spend(seconds)

    return Asker(
        Caller(name, class_),
        context.request_id,
        wait_s,
        lambda: not context.disconnected,
        charge,
        book=context.book,
        pins=pins_of(caller),
        audience=None if caller in {KEYLESS, PUBLIC} else caller.id,
        language=context.language,
    )
