"""The files of the counter's page: HTML, style, modules and words, with the policy that browsers enforce."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from typing import Any, Final, NamedTuple

from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler

from featherline_service.web.http.negotiation import JSON, conditional, entity_tag
from featherline_service.web.http.problems import NO_SUCH_PATH, ProblemError
from featherline_service.web.routes.operations import Operation

COUNTER: Final = "/counter"
HTML: Final = "text/html"
PAGE: Final = "index.html"
POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""The page loads what this service serves, shows pictures that it was answered with, and sends nothing elsewhere."""

_MEDIA_TYPES: Final = {
    "html": HTML,
    "css": "text/css",
    "js": "text/javascript",
    "json": JSON,
    "svg": "image/svg+xml",
}
_HEADERS: Final = {
    "content-security-policy": POLICY,
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
}


class File(NamedTuple):
    """A file's bytes, their tag, and their media type."""

    body: bytes
    tag: str
    media_type: str


@cache
def files() -> Mapping[str, File]:
    """Return the files of the page by their names.

    Raises:
        OSError: They are not there: the installation is not complete.
    """
    folder = resources.files("featherline_service.web.counter").joinpath("static")
    return {
        file.name: File(file.read_bytes(), entity_tag(file.read_bytes()), _MEDIA_TYPES[file.name.rpartition(".")[2]])
        for file in folder.iterdir()
    }


def handlers() -> Sequence[HTTPRouteHandler]:
    """Return the handlers of the page and of the files that it loads.

    Raises:
        OSError: A file is not there: the installation is not complete.
    """
    shipped = files()
    page = Operation(
        id="readCounter",
        path=COUNTER,
        tag="counter",
        scope=None,
        summary="The counter",
        produces=HTML,
        query={"lang": str},
    )
    # One route for all files, so that metrics have one series for them.
    part = Operation(
        id="readCounterFile",
        path=f"{COUNTER}/{{name}}",
        tag="counter",
        scope=None,
        summary="A file that the counter's page loads",
        produces=JSON,
        pictures=tuple(sorted({file.media_type for file in shipped.values()} - {JSON})),
        parameters={"name": str},
    )

    async def read_page(request: Request[Any, Any, Any]) -> Response[bytes]:
        return _answer(request, shipped[PAGE])

    async def read_part(request: Request[Any, Any, Any]) -> Response[bytes]:
        file = shipped.get(request.path_params["name"])
        if file is None or file is shipped[PAGE]:
            raise ProblemError(NO_SUCH_PATH, f"The page is {COUNTER}, which names the files that there are.")
        return _answer(request, file)

    return [page.handler(read_page), part.handler(read_part)]


def _answer(request: Request[Any, Any, Any], file: File) -> Response[bytes]:
    response = conditional(request, *file)
    response.headers.update(_HEADERS)
    return response
