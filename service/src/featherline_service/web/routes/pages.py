"""Pages of a list: so many of its items after one, and where the next page is (RFC 8288)."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Final
from urllib.parse import urlencode

from litestar import Request
from msgspec import Meta, Struct

from featherline.wire.texts import Identifier
from featherline_service.web.http.negotiation import parameter

MOST: Final = 100
"""Items of a page."""

QUERY: Final[Mapping[str, Any]] = {
    "after": Annotated[Identifier, Meta(description="The id after which the page begins; it need not be there.")],
    "limit": Annotated[int, Meta(ge=1, le=MOST, description="The most items of the page.")],
}


class Page(Struct, frozen=True):
    """The ids of a page; the path and query of the page that follows, and the id it begins after, if one does."""

    ids: Sequence[str]
    next: str | None
    next_path: str | None


def page(request: Request[Any, Any, Any], ids: Sequence[str]) -> Page:
    """Return the page that a request asks for of ids in their order.

    Raises:
        ProblemError: A parameter of the query cannot be used.
    """
    after: str = parameter(request, "after", QUERY["after"], "")
    limit: int = parameter(request, "limit", QUERY["limit"], MOST)
    begin = bisect_right(ids, after)
    chosen = ids[begin : begin + limit]
    if begin + limit >= len(ids):
        return Page(chosen, None, None)
    query = {"after": chosen[-1]} | ({} if limit == MOST else {"limit": limit})
    return Page(chosen, chosen[-1], f"{request.scope['path']}?{urlencode(query)}")
