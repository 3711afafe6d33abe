"""Authentication: the ASGI layer that asks for a key, and the check of a key's scopes."""

from __future__ import annotations

import re
from collections.abc import Collection
from typing import Final

from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPScope, Receive, Scope, Send

from featherline_service.web.http import problems
from featherline_service.web.http.callers import KEYLESS, PUBLIC, Caller, Permission
from featherline_service.web.http.context import context_of, header
from featherline_service.web.http.problems import KEY_REFUSED, KEY_REQUIRED, OUT_OF_SCOPE, ProblemError
from featherline_service.web.server.addresses import Addresses
from featherline_service.web.server.caller_keys import Keys
from featherline_service.web.server.rate_limits import RateLimits

# Probes have no key. The description is no secret, and browsers and generators that fetch it send none. What is well
# known is for everybody (RFC 8615): whoever is shown a seal has to find the keys that check it. The counter is a page
# that asks for a key. A picture's address is its own key.
_FOR_ALL: Final = ("/health/", "/openapi.json", "/docs", "/docs/", "/.well-known/")
PUBLIC_PATHS: Final = (*_FOR_ALL, "/counter", "/counter/", "/v1/pictures/")
_PUBLIC_PREFIXES: Final = tuple(path for path in PUBLIC_PATHS if path.endswith("/"))
_BEARER: Final = re.compile(r"[Bb][Ee][Aa][Rr][Ee][Rr] +([A-Za-z0-9._~+/-]+=*)")
_CHALLENGE: Final = 'Bearer realm="featherline"'


class Authentication:
    """An ASGI application around another. Without keys it lets everybody in; then the service listens locally."""

    def __init__(self, app: ASGIApp, keys: Keys | None, limits: RateLimits, addresses: Addresses) -> None:
        self._app = app
        self._keys = keys
        self._limits = limits
        self._addresses = addresses

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] == ScopeType.HTTP:
            try:
                self._authenticate(scope)
            except ProblemError as problem:
                await problems.send_problem(scope, send, problem)
                return
        await self._app(scope, receive, send)

    def _authenticate(self, scope: HTTPScope) -> None:
        """Put the caller into the request's context.

        Raises:
            ProblemError: There is no valid key (401), or it has made too many requests, or too heavy ones (429).
        """
        context = context_of(scope)
        context.address = self._addresses.of(scope)
        if self._keys is None:
            context.caller = KEYLESS
        elif is_public(scope["path"]):
            context.caller = PUBLIC
        else:
            context.caller = caller = identify(self._keys, scope)
            _refuse_origin(scope, caller)
            context.response_headers = (*context.response_headers, *self._limits.fields(caller))
            context.work = self._limits.take(caller)


def _refuse_origin(scope: HTTPScope, caller: Caller) -> None:
    """Raise the problem of a request that does not come from a page of the key's origins, where it has any."""
    origin = header(scope, b"origin")
    if caller.origins and origin not in caller.origins:
        raise ProblemError(
            OUT_OF_SCOPE,
            f"The key {caller.id} is for pages of {', '.join(caller.origins)}, and the request "
            f"{'names no origin' if origin is None else 'is of another'}: ask from there, or with another key.",
            headers={"www-authenticate": _CHALLENGE},
        )


def is_public(path: str) -> bool:
    """Return whether a path is there for everybody."""
    return path in PUBLIC_PATHS or path.startswith(_PUBLIC_PREFIXES)


def identify(keys: Keys, scope: HTTPScope) -> Caller:
    """Return the caller whose key a request shows.

    Raises:
        ProblemError: It shows no key, or one that is unknown, expired or not yet valid.

    References:
        RFC 6750 sections 2.1 and 3; RFC 9110 section 11.1, on the scheme's case.
    """
    authorization = header(scope, b"authorization")
    if authorization is None or not authorization.lower().startswith("bearer"):
        raise ProblemError(
            KEY_REQUIRED,
            "Send your key as `Authorization: Bearer KEY`; the operator of this service issues keys.",
            headers={"www-authenticate": _CHALLENGE},
        )
    shown = _BEARER.fullmatch(authorization)
    caller = keys.find(shown[1]) if shown else None
    if caller is None:
        holder = keys.holder(shown[1]) if shown else None
        context_of(scope).refused_key = None if holder is None else holder.id
        raise ProblemError(
            KEY_REFUSED,
            "The key is unknown, expired or not yet valid. Check it for typing errors, or ask its issuer for another.",
            headers={"www-authenticate": f'{_CHALLENGE}, error="invalid_token"'},
        )
    return caller


def refuse_scope(
    scope: Scope, required: Permission | None, also: Collection[Permission] = (), for_customers: str | None = None
) -> None:
    """Raise the problem of a key without a scope that an operation takes; None: it requires none.

    Args:
        scope: The request's scope.
        required: The scope that the operation is for.
        also: Scopes that will do as well.
        for_customers: The path that gives the answer for customers, where there is one.

    References:
        RFC 6750 section 3.1.
    """
    if required is None:
        return
    caller = context_of(scope).caller or PUBLIC
    if required in caller.scopes or any(permission in caller.scopes for permission in also):
        return
    advice = ""
    if "price" in caller.scopes:
        advice = (
            " Nothing of it is for customers: let the shop's own server ask, with another key."
            if for_customers is None
            else f" Ask {for_customers} instead, which answers what is for customers."
        )
    raise ProblemError(
        OUT_OF_SCOPE,
        f"This needs a key with the scope `{required}`; {caller.id} has: {', '.join(caller.scopes)}.{advice}",
        headers={"www-authenticate": f'{_CHALLENGE}, error="insufficient_scope", scope="{required}"'},
    )
