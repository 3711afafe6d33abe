"""The description of the service: the OpenAPI document, and pages to read it and try it in a browser."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, Final

from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler
from swagger_ui_bundle import swagger_ui_path

from featherline_service.web.http.negotiation import JSON, conditional, entity_tag
from featherline_service.web.routes.operations import Operation

_PAGE: Final = b"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>featherline</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/docs/swagger-ui.css">
</head>
<body>
<div id="docs"></div>
<script src="/docs/swagger-ui-bundle.js"></script>
<script src="/docs/start.js"></script>
</body>
</html>
"""
_START: Final = b"""SwaggerUIBundle({
  url: "/openapi.json", dom_id: "#docs", deepLinking: true, validatorUrl: null, tryItOutEnabled: true,
});
"""
# The page may load what this service serves, and nothing else. The styles and images are in the package's script.
_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

READ_DESCRIPTION: Final = Operation(
    id="readDescription",
    path="/openapi.json",
    tag="description",
    scope=None,
    summary="Read this description",
    revalidated=True,
)
READ_DOCS: Final = Operation(
    id="readDocs",
    path="/docs",
    tag="description",
    scope=None,
    summary="Read this description as a page, and try it",
    produces="text/html",
    revalidated=True,
    headers=("Content-Security-Policy",),
)
OPERATIONS: Final = (READ_DESCRIPTION, READ_DOCS)


def handlers() -> Sequence[HTTPRouteHandler]:
    """Return the handlers of the description and its pages. Files are read when they are first asked for.

    Raises:
        OSError: A file is not there: the installation is not complete.
    """
    return [
        _file(READ_DESCRIPTION, resources.files("featherline_service.web.openapi").joinpath("openapi.json").read_bytes),
        _file(READ_DOCS, lambda: _PAGE),
        _file(_asset("start.js", "text/javascript"), lambda: _START),
        _file(_asset("swagger-ui-bundle.js", "text/javascript"), _shipped("swagger-ui-bundle.js")),
        _file(_asset("swagger-ui.css", "text/css"), _shipped("swagger-ui.css")),
    ]


def _shipped(name: str) -> Callable[[], bytes]:
    path = Path(swagger_ui_path, name)
    path.stat()  # raises at the start if it is not there
    return path.read_bytes


def _asset(name: str, media_type: str) -> Operation:
    """Return the operation of a file that the page loads; it is not described."""
    return Operation(id=name, path=f"/docs/{name}", tag="description", scope=None, summary=name, produces=media_type)


def _file(operation: Operation, content: Callable[[], bytes]) -> HTTPRouteHandler:
    headers = {} if operation.produces == JSON else {"content-security-policy": _POLICY}

    @cache
    def tagged() -> tuple[bytes, str]:
        body = content()
        return body, entity_tag(body)

    async def read(request: Request[Any, Any, Any]) -> Response[bytes]:
        response = conditional(request, *tagged(), operation.produces)
        response.headers.update(headers)
        return response

    return operation.handler(read)
