"""The shop book, read-only: its contents, the records of a kind, and one record."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from typing import Any, Final, get_args, get_type_hints

from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler
from msgspec.structs import replace

from featherline.wire.book import BookAnswer, RecordAnswer, RecordsAnswer, Shelf
from featherline.wire.records import Bench, Kind, Record, ShelfKind
from featherline.wire.texts import Identifier
from featherline_service.book.shop_book import Book
from featherline_service.book.timetable import records_of
from featherline_service.identifiers import listed
from featherline_service.runtime.engine import ENGINE
from featherline_service.web.answering.revisions import VARY, Revisions
from featherline_service.web.http.context import context_of
from featherline_service.web.http.json_text import encode
from featherline_service.web.http.negotiation import conditional, entity_tag
from featherline_service.web.http.problems import NO_SUCH_RECORD, UNUSABLE_PARAMETER, ProblemError
from featherline_service.web.routes import pages
from featherline_service.web.routes.operations import Link, Operation

KINDS: Final[tuple[Kind, ...]] = get_args(Kind)


def _record_type(kind: Kind) -> type[Record]:
    record_type: type[Record] = Bench if kind == "benches" else get_args(get_type_hints(Book)[kind])[1]
    return record_type


_read: Final = partial(Operation, tag="book", scope="book", revalidated=True, by_book=True)

READ_BOOK: Final = _read(
    id="readBook",
    path="/v1/book",
    summary="Read what the shop book holds",
    answered=(BookAnswer,),
    examples=((None, "book-answer"),),
    links={
        "records": Link(to="listFilms", parameters={}),
        "record": Link(to="readFilm", parameters={"id": f"$response.body#/kinds/{KINDS.index('films')}/ids/0"}),
    },
)
LIST_RECORDS: Final = _read(
    id="listRecords",
    path="/v1/book/{kind}",
    summary="Read the records of one kind, a page at a time",
    description=f"In the order of their ids, up to {pages.MOST}; `next` and the header field `Link` (RFC 8288) say "
    "where the others are. Pages whose `book` differs are not of one list: begin again.",
    answered=tuple(RecordsAnswer[_record_type(kind)] for kind in KINDS),  # type: ignore[misc] # not a type, a value of one
    parameters={"kind": Kind},
    query=pages.QUERY,
    headers=("Link",),
    own_problems=(NO_SUCH_RECORD, UNUSABLE_PARAMETER),
    examples=((None, "records-answer"),),
)
READ_RECORD: Final = _read(
    id="readRecord",
    path="/v1/book/{kind}/{id}",
    summary="Read one record",
    answered=tuple(RecordAnswer[_record_type(kind)] for kind in KINDS),  # type: ignore[misc] # not a type, a value of one
    parameters={"kind": Kind, "id": Identifier},
    own_problems=(NO_SUCH_RECORD,),
    examples=((None, "record-answer"),),
)
OPERATIONS: Final = (READ_BOOK, LIST_RECORDS, READ_RECORD)
_SHOWN: Final[Mapping[str, Kind]] = {LIST_RECORDS.id: "policies", READ_RECORD.id: "films"}


def described() -> Iterator[Operation]:
    """Yield the operations as they are described: those on any kind of record as one for each kind.

    No field of a record says of which kind it is: where one of many types may come, generated clients take the first
    that reads it. The path says it, so each path has its type.
    """
    yield READ_BOOK
    for kind, several, single in zip(KINDS, LIST_RECORDS.answered, READ_RECORD.answered, strict=True):
        type_ = _record_type(kind).__name__
        all_of, one_of = f"list{kind.capitalize()}", f"read{type_}"
        first = {"record": Link(to=one_of, parameters={"id": "$response.body#/records/0/id"})}
        for operation, id_, answer, links in (
            (LIST_RECORDS, all_of, several, first),
            (READ_RECORD, one_of, single, {}),
        ):
            yield replace(
                operation,
                id=id_,
                path=operation.path.replace("{kind}", kind),
                summary=f"{operation.summary}: {type_}",
                answered=(answer,),
                parameters={name: of for name, of in operation.parameters.items() if name != "kind"},
                own_problems=operation.own_problems if operation is READ_RECORD else (UNUSABLE_PARAMETER,),
                examples=operation.examples if _SHOWN[operation.id] == kind else (),
                links=links,
            )


def handlers(revisions: Revisions) -> Sequence[HTTPRouteHandler]:
    """Return the handlers of the shop book's resources."""
    # Strong: the answers are a function of the path, the book, when it ends and the engine, byte for byte.
    tags = [_tag(book) for book in revisions.books]
    respond = partial(conditional, vary=VARY)

    def chosen(request: Request[Any, Any, Any]) -> tuple[Book, str]:
        number = context_of(request.scope).book
        return revisions.books[number], tags[number]

    async def read_book(request: Request[Any, Any, Any]) -> Response[bytes]:
        book, _ = chosen(request)
        kinds = tuple(Shelf(kind=kind, ids=tuple(sorted(records_of(book, kind)))) for kind in get_args(ShelfKind))
        answer = BookAnswer(
            name=book.bench.name,
            invented=book.bench.invented,
            kinds=kinds,
            observations=tuple(sorted(book.observations)),
            plugins=book.plugins.listed,
            revisions=revisions.known(),
            book=book.revision,
            book_until=book.until,
            engine=ENGINE,
        )
        body = encode(answer)
        return respond(request, body, entity_tag(body))

    async def list_records(request: Request[Any, Any, Any]) -> Response[bytes]:
        book, tag = chosen(request)
        _, by_id = _shelf(book, request)
        page = pages.page(request, sorted(by_id))
        records = tuple(by_id[name] for name in page.ids)
        answer = RecordsAnswer(
            records=records, next=page.next, book=book.revision, book_until=book.until, engine=ENGINE
        )
        response = respond(request, encode(answer), tag)
        if page.next_path is not None:
            response.headers["link"] = f'<{page.next_path}>; rel="next"'
        return response

    async def read_record(request: Request[Any, Any, Any]) -> Response[bytes]:
        book, tag = chosen(request)
        kind, by_id = _shelf(book, request)
        wanted: str = request.path_params["id"]
        record = by_id.get(wanted)
        if record is None:
            raise ProblemError(NO_SUCH_RECORD, f"Of {kind} the book has: {listed(wanted, sorted(by_id))}.")
        answer = RecordAnswer(record=record, book=book.revision, book_until=book.until, engine=ENGINE)
        return respond(request, encode(answer), tag)

    return [
        READ_BOOK.handler(read_book, revisions),
        LIST_RECORDS.handler(list_records, revisions),
        READ_RECORD.handler(read_record, revisions),
    ]


def _tag(book: Book) -> str:
    until = "" if book.until is None else f"-{int(book.until.timestamp())}"
    return f'"{book.revision.removeprefix("sha256:")[:32]}{until}-{ENGINE}"'


def _shelf(book: Book, request: Request[Any, Any, Any]) -> tuple[Kind, Mapping[str, Record]]:
    """Return the kind of record that the path names, and its shelf."""
    for kind in KINDS:
        if kind == request.path_params["kind"]:
            return kind, records_of(book, kind)
    raise ProblemError(NO_SUCH_RECORD, f"The book has no such kind of record; it has: {', '.join(KINDS)}.")
