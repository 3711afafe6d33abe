"""The shop book, read-only: what it holds, its records by kind, and one record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final, get_args

import msgspec
from litestar import Request, Response, get
from litestar.handlers import HTTPRouteHandler

from featherline.wire.book import BookAnswer, RecordAnswer, RecordsAnswer, Shelf
from featherline.wire.records import Kind, Record
from featherline_service.book.shelves import Book
from featherline_service.engine import ENGINE
from featherline_service.web.problems import NO_SUCH_RECORD, ProblemError
from featherline_service.web.representations import conditional

KINDS: Final[tuple[Kind, ...]] = get_args(Kind)

_encode: Final = msgspec.json.Encoder().encode


def handlers(book: Book) -> Sequence[HTTPRouteHandler]:
    """Return the handlers of the shop book's resources."""
    # Strong: the answers are a function of the path, the book and the engine, byte for byte.
    tag = f'"{book.revision.removeprefix("sha256:")[:32]}-{ENGINE}"'

    @get("/v1/book", name="readBook")
    async def read_book(request: Request[Any, Any, Any]) -> Response[bytes]:
        kinds = tuple(Shelf(kind=kind, ids=tuple(sorted(shelf(book, kind)))) for kind in KINDS)
        answer = BookAnswer(
            name=book.bench.name, invented=book.bench.invented, kinds=kinds, book=book.revision, engine=ENGINE
        )
        return conditional(request, _encode(answer), tag)

    @get("/v1/book/{kind:str}", name="listRecords")
    async def list_records(request: Request[Any, Any, Any], kind: str) -> Response[bytes]:
        found = _shelf(book, kind)
        records = tuple(found[each] for each in sorted(found))
        return conditional(request, _encode(RecordsAnswer(records=records, book=book.revision, engine=ENGINE)), tag)

    @get("/v1/book/{kind:str}/{record_id:str}", name="readRecord")
    async def read_record(request: Request[Any, Any, Any], kind: str, record_id: str) -> Response[bytes]:
        found = _shelf(book, kind)
        if record_id not in found:
            raise ProblemError(NO_SUCH_RECORD, f"Of {kind} the book has: {', '.join(sorted(found)) or 'none'}.")
        answer = RecordAnswer(record=found[record_id], book=book.revision, engine=ENGINE)
        return conditional(request, _encode(answer), tag)

    return [read_book, list_records, read_record]


def shelf(book: Book, kind: Kind) -> Mapping[str, Record]:
    """Return the records of one kind by their ids."""
    if kind == "benches":
        return {book.bench.id: book.bench}
    found: Mapping[str, Record] = getattr(book, kind)
    return found


def _shelf(book: Book, kind: str) -> Mapping[str, Record]:
    for known in KINDS:
        if known == kind:
            return shelf(book, known)
    raise ProblemError(NO_SUCH_RECORD, f"The book has no such kind of record; it has: {', '.join(KINDS)}.")
