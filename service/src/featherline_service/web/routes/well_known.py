"""Well-known paths (RFC 8615): the catalog of the interface, and the contact for reports of weaknesses."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any, Final

import msgspec
from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler

from featherline_service.settings import Settings
from featherline_service.web.http.negotiation import JSON, conditional, entity_tag
from featherline_service.web.http.problems import NO_SUCH_PATH, ProblemError
from featherline_service.web.routes import bulk, catalogue, questions, records, seals
from featherline_service.web.routes.docs import READ_DESCRIPTION, READ_DOCS
from featherline_service.web.routes.health import CHECK_READY
from featherline_service.web.routes.operations import Operation
from featherline_service.web.routes.pictures import picture_routes
from featherline_service.web.routes.tracing import photos, sheets

LINKSET: Final = "application/linkset+json"
TEXT: Final = "text/plain"
_PROFILE: Final = "https://www.rfc-editor.org/info/rfc9727"

READ_API_CATALOG: Final = Operation(
    id="readApiCatalog",
    path="/.well-known/api-catalog",
    tag="description",
    scope=None,
    summary="Find the interface that is here, and where it is described",
    description="A set of links (RFC 9264, RFC 9727) to this description, to the page that shows it, and to the health "
    "check. HEAD answers with the `Link` to it alone.",
    produces=LINKSET,
    revalidated=True,
    headers=("Link",),
    examples=((None, "api-catalog-answer"),),
)
READ_SECURITY_CONTACT: Final = Operation(
    id="readSecurityContact",
    path="/.well-known/security.txt",
    tag="description",
    scope=None,
    summary="Find whom to tell of a weakness",
    description="`security.txt` (RFC 9116), as whoever runs the service has set it; 404 where nothing is set, or what "
    "was has expired.",
    produces=TEXT,
    own_problems=(NO_SUCH_PATH,),
    revalidated=True,
)
INTERFACE: Final = (
    *questions.OPERATIONS,
    *photos.OPERATIONS,
    sheets.READ_TRACING_SHEET,
    *bulk.OPERATIONS,
    *seals.OPERATIONS,
    *picture_routes.OPERATIONS,
    *catalogue.OPERATIONS,
    *records.OPERATIONS,
)
OPERATIONS: Final = (READ_API_CATALOG, READ_SECURITY_CONTACT)


def _catalog() -> bytes:
    """Return the catalog of this one interface.

    References:
        RFC 8631 section 4: the relations. RFC 9264 section 4.2: the form; a relative target is resolved against the
        address that the set was read from, so that the catalog holds behind any proxy.
    """
    paths = [operation.path for operation in INTERFACE if not operation.parameters]
    items = {"anchor": READ_API_CATALOG.path, "item": [{"href": path} for path in dict.fromkeys(paths)]}
    described = {
        "anchor": "/v1",
        "service-desc": [{"href": READ_DESCRIPTION.path, "type": JSON}],
        "service-doc": [{"href": READ_DOCS.path, "type": READ_DOCS.produces}],
        "status": [{"href": CHECK_READY.path, "type": JSON}],
    }
    return msgspec.json.encode({"linkset": [items, described]})


def handlers(settings: Settings) -> Sequence[HTTPRouteHandler]:
    """Return the handlers of the well-known paths."""
    catalog = _catalog()
    contact = _contact(settings)

    async def read_catalog(request: Request[Any, Any, Any]) -> Response[bytes]:
        response = conditional(request, catalog, entity_tag(catalog), f'{LINKSET}; profile="{_PROFILE}"')
        response.headers["link"] = f'<{READ_API_CATALOG.path}>; rel="api-catalog"'
        return response

    async def read_contact(request: Request[Any, Any, Any]) -> Response[bytes]:
        if contact is None or settings.security_expires is None or settings.security_expires <= datetime.now(UTC):
            raise ProblemError(NO_SUCH_PATH, "Whoever runs this service has set no contact that is in force.")
        return conditional(request, contact, entity_tag(contact), TEXT)

    return [READ_API_CATALOG.handler(read_catalog), READ_SECURITY_CONTACT.handler(read_contact)]


def _contact(settings: Settings) -> bytes | None:
    """Return the text of `security.txt`, None where no contact is set."""
    if settings.security_contact is None or settings.security_expires is None:
        return None
    expires = settings.security_expires.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    return f"Contact: {settings.security_contact}\r\nExpires: {expires}\r\n".encode()
