"""The sheets that tape tracings are stuck on: one for each paper, as PDF and as SVG."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any, Final, get_args

from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler

from featherline.wire.tracings import Paper
from featherline_service.drawing import card_pages
from featherline_service.drawing.media import svg
from featherline_service.questions import tracings
from featherline_service.web.http.context import header
from featherline_service.web.http.negotiation import conditional, entity_tag, preferred
from featherline_service.web.http.problems import NO_SUCH_RECORD, ProblemError
from featherline_service.web.routes.operations import Operation

PDF: Final = "application/pdf"
PAPERS: Final[tuple[Paper, ...]] = get_args(Paper.__origin__)  # type: ignore[attr-defined] # of Annotated

READ_TRACING_SHEET: Final = Operation(
    id="readTracingSheet",
    path="/v1/tracing-sheets/{paper}",
    tag="questions",
    scope="ask",
    also=("price", "shop", "book"),
    summary="Print the sheet that a tape tracing is stuck on",
    description="Coded marks around a field, two bars to be measured, and in words how to trace and to take the photo. "
    "Print it at 100 %; a print that is a little smaller or larger is right, too, if its own bars are measured.",
    produces=PDF,
    pictures=(svg.MEDIA_TYPE,),
    parameters={"paper": Paper},
    own_problems=(NO_SUCH_RECORD,),
    revalidated=True,
)


@cache
def _written(paper: Paper, media_type: str) -> tuple[bytes, str]:
    scene = tracings.sheet(paper)
    if media_type == PDF:
        from featherline_service.drawing.media import pdf  # noqa: PLC0415 - what sets it takes 7 MB, and few ask for it

        body = pdf.write(scene)
    else:
        body = svg.write(scene).encode()
    return body, entity_tag(body)


def handlers() -> Sequence[HTTPRouteHandler]:
    """Return the handler of the sheets."""

    async def read_sheet(request: Request[Any, Any, Any]) -> Response[bytes]:
        asked = request.path_params["paper"]
        paper = next((paper for paper in PAPERS if paper == asked), None)
        if paper is None:
            raise ProblemError(NO_SUCH_RECORD, f"There are tracing sheets for: {', '.join(PAPERS)}.")
        media_type = preferred(header(request.scope, b"accept"), READ_TRACING_SHEET.media_types)
        response = conditional(request, *_written(paper, media_type), media_type, vary="Accept, Accept-Encoding")
        response.headers["x-content-type-options"] = "nosniff"
        if media_type == PDF:
            response.headers["content-disposition"] = f'inline; filename="tracing-sheet-{paper}.pdf"'
        else:
            response.headers["content-security-policy"] = card_pages.POLICY
        return response

    return [READ_TRACING_SHEET.handler(read_sheet)]
