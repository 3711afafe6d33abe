"""The OpenAPI 3.1 document, built from the operations and their types; nothing in it is written twice."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from pathlib import Path
from typing import Final

import msgspec

from featherline.wire.problems import Problem
from featherline.wire.texts import Revision
from featherline_service.runtime.engine import ENGINE
from featherline_service.web.answering import pictures
from featherline_service.web.answering.languages import LANGUAGE_VARY
from featherline_service.web.answering.revisions import FIELD, UNTIL_FIELD
from featherline_service.web.http import problems
from featherline_service.web.openapi import schemas
from featherline_service.web.openapi.schemas import BINARY, Json
from featherline_service.web.routes import bulk, docs, health, metrics_page, records, well_known
from featherline_service.web.routes.deprecation import NOTICE
from featherline_service.web.routes.operations import Operation

OPERATIONS: Final = (
    *(operation for operation in well_known.INTERFACE if operation not in records.OPERATIONS),
    *records.described(),
    *health.OPERATIONS,
    *metrics_page.OPERATIONS,
    *docs.OPERATIONS,
    *well_known.OPERATIONS,
)
_TAGS: Final = {
    "questions": "Can this be marked, how, and for how much? Each answer is a pure function of the question and the "
    "book, so every question is safe to repeat.",
    "offers": "The same answers as a customer may see them: without costs, rates, margins and settings.",
    "seals": "Whether a price that somebody shows is ours, days later, with no record of it on either side.",
    "book": "What the shop knows before anybody asks: read-only, and the same while a revision is in force.",
    "health": "For whoever runs the service.",
    "description": "The service, described by itself.",
}
_ABOUT: Final = """\
A small shop marks finished shoes with heat-applied film on a heat press. This service resolves press recipes, checks
fit, estimates cost and composes quotes. It keeps no orders: it knows the shop book, and the request tells the rest.

Quantities go in as text with a unit, such as `"22 mm"`, and come out as plain numbers whose name carries the unit. A
shoe that cannot be marked is no error: the verdict is `decline`, with reasons. Every answer that is not a success is a
problem document (RFC 9457). HEAD works wherever GET does. Unknown fields and query parameters are refused.

Bodies may come with the Content-Encoding `gzip` or `zstd`; the limits are of what is in them. Answers are sent with the
one that Accept-Encoding prefers; problem documents and health checks always go as they are.

Every answer names the revision of the book that it is by (`book`) and until when that is in force, where a change is
known (`book_until`). From that instant on all replicas answer by the next revision. A request that names one in its
header field `Book-Revision` is answered by it while it is in force and for some time after: so one cart never has two
prices. `/v1/book` lists the revisions.

Sentences are in the language that `Accept-Language` prefers, and `Content-Language` names it; a reason whose sentence
is in another one says which. So are title, detail and faults of a problem that a customer can cause or meet; any other
problem is in English. Bench cards are in the shop's language. Programs go by `code` and `parameters`, never by
sentences.

Within `/v1` nothing is removed without notice. A deprecated operation is marked `deprecated` here, and its answers have
the fields `Deprecation` (RFC 9745), `Link` to its successor and, at least {days} days before it ends, `Sunset`
(RFC 8594).

Film makers' sheets, local rules and licensed practice come before anything that this service says."""
_SCHEME: Final = "key"
_ABOUT_KEYS: Final = """\
A key that the operator of the service issues (RFC 6750), with scopes: `ask` for questions one at a time, `bulk` for
streams of them, `book` for the shop's records, `watch` for the metrics, `price` for offers, which a customer may see,
`shop` for prices set by hand. A key with `ask` may ask for offers, too, and one with `price` or `shop` may check seals.
A key may be pinned to price policies, an owner, films, a currency and origins of pages: what is pinned is filled in
where it is left out, and refused where it is contradicted. A key may make so many requests a minute, and so many at
once. A service without keys listens on its own machine alone, and asks nobody for one."""
_TEXT: Final[Json] = {"type": "string"}


def document(examples: Path) -> Json:
    """Return the OpenAPI document.

    Args:
        examples: The folder of example requests and answers, one JSON file each.

    Raises:
        FileNotFoundError: An operation names an example that is not there.
    """
    answers = schemas.answered([*(answer for operation in OPERATIONS for answer in operation.answered), Problem])
    requests = schemas.requested([operation.asked for operation in OPERATIONS if operation.asked is not None])
    components = {**answers, **requests}
    paths = {
        path: {operation.method.lower(): _operation(operation, examples) for operation in group}
        for path, group in groupby(OPERATIONS, key=lambda operation: operation.path)
    }
    used = {
        name
        for path in paths.values()
        for operation in path.values()
        for response in operation["responses"].values()
        for name in response["headers"]
    }
    return {
        "openapi": "3.1.1",
        "info": {
            "title": "featherline",
            "version": ENGINE,
            "summary": "Press recipes, fit, cost and quotes for marking finished shoes with heat-applied film",
            "description": _ABOUT.replace("{days}", str(NOTICE.days)),
            "license": {"name": "Apache-2.0", "identifier": "Apache-2.0"},
        },
        "servers": [{"url": "/", "description": "The service that this description was read from"}],
        "security": [],
        "tags": [{"name": name, "description": words} for name, words in _TAGS.items()],
        "paths": paths,
        "components": {
            "schemas": dict(sorted({**components, **schemas.unions([paths, components])}.items())),
            "headers": {name: header for name, header in _HEADERS.items() if name in used},
            "securitySchemes": {_SCHEME: {"type": "http", "scheme": "bearer", "description": _ABOUT_KEYS}},
        },
    }


def text(examples: Path) -> str:
    """Return the OpenAPI document as the text that is committed and served."""
    return json.dumps(document(examples), indent=1, ensure_ascii=False) + "\n"


def _operation(operation: Operation, examples: Path) -> Json:
    return {
        "operationId": operation.id,
        "tags": [operation.tag],
        "summary": operation.summary,
        **({"description": operation.description} if operation.description else {}),
        "security": [{_SCHEME: [operation.scope]}] if operation.scope else [],
        **({"deprecated": True} if operation.deprecation is not None else {}),
        **({"parameters": parameters} if (parameters := list(_parameters(operation))) else {}),
        **({"requestBody": _request_body(operation, examples)} if operation.asked is not None else {}),
        **({"requestBody": _file(operation)} if operation.files else {}),
        "responses": {
            "200": _success(operation, examples),
            **(
                {
                    "304": _response(
                        "The caller has it already",
                        *_common(operation),
                        *_of_book(operation),
                        "ETag",
                        *(("Cache-Control",) if operation.revalidated else ()),
                        "Vary",
                    )
                }
                if operation.revalidated or operation.immutable
                else {}
            ),
            **dict(_problems(operation)),
        },
    }


def _parameters(operation: Operation) -> Iterator[Json]:
    for name, type_ in operation.parameters.items():
        yield {"name": name, "in": "path", "required": True, "schema": schemas.reference(type_)}
    for name, type_ in operation.query.items():
        described = msgspec.json.schema(type_)
        yield {
            "name": name,
            "in": "query",
            "description": described.pop("description"),
            **({"required": True} if name in operation.needed else {}),
            "schema": described,
        }
    if operation.revalidated or operation.immutable:
        yield {
            "name": "If-None-Match",
            "in": "header",
            "description": "The ETag of an answer that the caller has (RFC 9110 section 13.1.2).",
            "schema": {"type": "string"},
        }
    if operation.by_book:
        yield {
            "name": FIELD,
            "in": "header",
            "description": "The revision of the book to answer by, as an answer named it in `book`; without it, the "
            "one in force. A field and no part of the body, so that it holds for whatever is asked, pictures and "
            "records too, and seals are of the order alone. A revision that is gone, or to come, is refused (409).",
            "schema": schemas.reference(Revision),
        }
    if operation.by_language:
        yield {
            "name": LANGUAGE_VARY,
            "in": "header",
            "description": "The languages that the reader prefers (RFC 9110 section 12.5.4): sentences are in the "
            "first of them that there is, else in English. `/v1/catalogue` lists them.",
            "schema": {"type": "string", "examples": ["de-AT, de;q=0.9"]},
        }
    if operation.waits:
        yield {
            "name": "Prefer",
            "in": "header",
            "description": "For how many seconds the caller waits for the answer, if for less than the service would "
            "take: `wait=10` (RFC 7240 section 4.3). Other preferences are passed over.",
            "schema": {"type": "string", "examples": ["wait=10"]},
        }


def _common(operation: Operation) -> Sequence[str]:
    """Return the header fields that every answer of an operation may have."""
    if operation.deprecation is None:
        return ("X-Request-Id",)
    return ("X-Request-Id", "Deprecation", "Link", *(() if operation.deprecation.sunset is None else ("Sunset",)))


def _of_book(operation: Operation) -> Sequence[str]:
    """Return the header fields that tell of the book that an answer or problem is by."""
    return (FIELD, UNTIL_FIELD) if operation.by_book else ()


def _request_body(operation: Operation, examples: Path) -> Json:
    shown = _examples([request for request, _ in operation.examples if request is not None], examples)
    line = schemas.reference(operation.asked)
    described = {"schema": _lines(line) if operation.takes[0] == bulk.MEDIA_TYPE else line, **shown}
    # With two media types for files, a generator writes a client that cannot be imported; the words name the second.
    return {"required": True, "content": {operation.takes[0]: described}}


def _file(operation: Operation) -> Json:
    """Return a body that is a file, of the first of its media types; the words name the others, as above."""
    return {"required": True, "content": {operation.files[0]: {"schema": BINARY}}}


def _lines(line: Json) -> Json:
    """Return the schema of a body whose lines are each of a schema. The body is no JSON, so it has none of its types.

    References:
        JSON Schema Validation 2020-12 section 8.5; OpenAPI 3.1.1 section 4.8.14.3, on bodies that are not JSON.
    """
    return {**BINARY, "contentMediaType": bulk.MEDIA_TYPE, "contentSchema": line}


def _examples(names: Sequence[str], folder: Path) -> Json:
    """Return examples by their files' names: JSON, or lines as the text that they are."""
    shown: dict[str, Json] = {}
    for name in names:
        lines = folder / f"{name}.jsonl"
        if lines.exists():
            shown[name] = {"value": lines.read_text(encoding="utf-8")}
        else:
            shown[name] = {"value": json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))}
    return {"examples": shown} if shown else {}


def _success(operation: Operation, examples: Path) -> Json:
    references = [schemas.reference(answer) for answer in operation.answered]
    match references:
        case []:
            is_text = operation.produces.startswith("text/")
            schema: Json = {"type": "string"} if is_text else schemas.BINARY
            if operation.produces.endswith("json"):
                schema = {"type": "object"}
        case [schema]:
            schema = _lines(schema) if operation.produces == bulk.MEDIA_TYPE else schema
        case _:
            schema = {"anyOf": references}
    shown = _examples([answer for _, answer in operation.examples], examples)
    headers = (
        *_common(operation),
        *_of_book(operation),
        *(("ETag", "Cache-Control") if operation.revalidated else ("ETag",) if operation.immutable else ()),
        *(("Vary", "Content-Encoding") if operation.coded else ()),
        *(("Content-Language",) if operation.by_language else ()),
        *(("Preference-Applied",) if operation.waits else ()),
        *operation.headers,
    )
    links = {
        name: {"operationId": link.to, "parameters": dict(link.parameters)} for name, link in operation.links.items()
    }
    return {
        **_response("The answer", *headers),
        "content": {operation.produces: {"schema": schema, **shown}, **dict(_pictures(operation))},
        **({"links": links} if links else {}),
    }


def _pictures(operation: Operation) -> Iterator[tuple[str, Json]]:
    """Yield the answer's other media types: a page is text, a picture and a document are files."""
    for media_type in operation.pictures:
        yield media_type, {"schema": BINARY if media_type in {pictures.SVG, pictures.PNG, pictures.PDF} else _TEXT}


def _problems(operation: Operation) -> Iterator[tuple[str, Json]]:
    by_status = sorted(operation.problems, key=lambda kind: kind.status)
    for status, group in groupby(by_status, key=lambda kind: kind.status):
        kinds = list(group)
        headers = dict.fromkeys(name for kind in kinds for name in kind.headers)
        words = "; ".join(f"{kind.title} (`{kind.type}`)" for kind in kinds)
        yield (
            str(status),
            {
                **_response(words, *_common(operation), *_of_book(operation), "Content-Language", "Vary", *headers),
                "content": {problems.MEDIA_TYPE: {"schema": {"$ref": schemas.REFERENCE.format(name="Problem")}}},
            },
        )


def _response(words: str, *headers: str) -> Json:
    return {"description": words, "headers": {name: {"$ref": f"#/components/headers/{name}"} for name in headers}}


def _field(description: str, schema: Json = _TEXT, *, required: bool = True) -> Json:
    """Return the description of a header field."""
    return {"description": description, **({"required": True} if required else {}), "schema": schema}


_HEADERS: Final[Mapping[str, Json]] = {
    "X-Request-Id": _field(
        "The id of the request: the caller's own X-Request-Id when it is 1 to 128 letters, digits and "
        "`._:+/=-`, else a new one. It is in the log."
    ),
    FIELD: _field("The revision of the book that the answer is by, where it is by one.", required=False),
    UNTIL_FIELD: _field(
        "Until when that revision is in force, as an HTTP date (RFC 9110 section 5.6.7), where a change is known.",
        required=False,
    ),
    "ETag": _field("A strong validator: it changes with book, engine, language and coding (RFC 9110 section 8.8.3)."),
    "Vary": _field(
        "The fields of the request on which the answer depends (RFC 9110 section 12.5.5): "
        "Accept-Encoding, Accept where there are pictures, Book-Revision where the book answers, Accept-Language where "
        "there are sentences, and Origin where pages of other origins may ask.",
        {"type": "string", "pattern": "Accept"},
    ),
    "Content-Language": _field(
        "The language of the answer's sentences (RFC 9110 section 8.5), of a problem, too; of a bench card the shop's.",
        required=False,
    ),
    "Content-Encoding": _field(
        "The coding of the answer, where it has one (RFC 9110 section 8.4): what the caller takes, and "
        "of that what takes less time; an answer of less than 1024 bytes has none unless the caller insists.",
        {"enum": ["gzip", "zstd"]},
        required=False,
    ),
    "Cache-Control": _field(
        "`no-cache`: keep it, but ask whether it still holds; `no-store`: do not keep it.",
        {"enum": ["no-cache", "no-store"]},
    ),
    "Preference-Applied": _field("What was heard of the request's Prefer header (RFC 7240 section 3).", required=False),
    "WWW-Authenticate": _field(
        "How to show a key, and what is wrong with the one that was shown (RFC 6750 section 3).",
        {"type": "string", "pattern": '^Bearer realm="featherline"'},
    ),
    "Retry-After": _field(
        "In how many seconds to ask again (RFC 9110 section 10.2.3).", {"type": "integer", "minimum": 1}
    ),
    "Accept": _field(
        "The media types that are taken, where the body's is at fault (RFC 9110 section 12.5.1).", required=False
    ),
    "Accept-Encoding": _field(
        "The codings that are taken, where the body's is at fault (RFC 9110 section 12.5.3).", required=False
    ),
    "Content-Security-Policy": _field("The page loads what this service serves, and nothing else."),
    "Link": _field(
        "Where more is told (RFC 8288): `rel` is `next` for the next page of a list, `api-catalog` (RFC 9727), or "
        "`deprecation` (RFC 9745).",
        required=False,
    ),
    "Deprecation": _field(
        "Since when the operation is deprecated: `@` and seconds since 1970 (RFC 9745 section 2).",
        {"type": "string", "pattern": "^@[0-9]+$"},
    ),
    "Sunset": _field("When the operation ends (RFC 8594 section 3)."),
}
