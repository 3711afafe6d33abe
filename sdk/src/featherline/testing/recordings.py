"""Recorded requests and their answers: the examples of the SDK, and the recordings of a project."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path
from typing import Any, Final

import msgspec
from msgspec import Raw, Struct

from featherline._client import Client
from featherline._endpoints import BOOK, BY_REQUEST, CATALOGUE, QUESTIONS, RECORD_KINDS, SEAL_KEYS, Endpoint, records_of
from featherline.plugins import Shelves
from featherline.wire.book import RecordsAnswer

ENDPOINTS: Final[Mapping[str, Endpoint[Any]]] = {
    endpoint.path: endpoint for endpoint in (*QUESTIONS, BOOK, CATALOGUE, SEAL_KEYS, *map(records_of, RECORD_KINDS))
}
"""The endpoints whose answers can be recorded or given, by path."""

_EXAMPLES: Final = resources.files("featherline") / "examples"


class Recording(Struct, frozen=True, kw_only=True):
    """A request and its answer; `request` is None for a GET."""

    path: str
    request: Any
    answer: Any


class _Entry(Struct, frozen=True):
    """The files of a recorded example."""

    path: str
    answer: str
    request: str | None = None


class _Index(Struct, frozen=True):
    """The recorded examples: POSTs and GETs."""

    asked: tuple[_Entry, ...]
    read: tuple[_Entry, ...]


class _File(Struct, frozen=True, kw_only=True):
    """A recording in a project's folder."""

    path: str
    request: Raw
    answer: Raw


def examples() -> Iterator[Recording]:
    """Yield the recordings of the SDK: the examples of the documentation, and records of the demo book."""
    index = msgspec.json.decode((_EXAMPLES / "recorded" / "index.json").read_bytes(), type=_Index)
    for entry in (*index.asked, *index.read):
        if entry.path in ENDPOINTS:
            request = None if entry.request is None else (_EXAMPLES / entry.request).read_bytes()
            yield _recording(entry.path, request, (_EXAMPLES / entry.answer).read_bytes())


def of_folder(folder: Path) -> Iterator[Recording]:
    """Yield the recordings that `record` wrote into a folder.

    Raises:
        ValueError: A file is not a recording, or one of another version; the message names it.
    """
    for path in sorted(folder.glob("*.json")):
        try:
            file = msgspec.json.decode(path.read_bytes(), type=_File)
            yield _recording(file.path, bytes(file.request), bytes(file.answer))
        except (msgspec.DecodeError, KeyError) as error:
            raise ValueError(f"{path} is not a recording that this version reads ({error}): record it anew") from error


def record(client: Client, request: Struct, folder: Path) -> Path:
    """Ask a running service, and write the answer into a folder, for `RecordedService` to give it again.

    Args:
        client: A client of the service to ask.
        request: What to ask it: an `Order`, a `FitRequest`, or any other request.
        folder: The folder, made if it is missing.

    Returns:
        The file, named after the request.

    Raises:
        FeatherlineError: There is no answer.
        TypeError: It is not a request.
    """
    path = endpoint_of(type(request)).path
    answer = client._ask(Endpoint(path, Raw), request, None)  # noqa: SLF001 - as it arrived
    file = _File(path=path, request=Raw(msgspec.json.encode(request)), answer=answer)
    digest = hashlib.sha256(path.encode() + bytes(file.request)).hexdigest()[:16]
    folder.mkdir(parents=True, exist_ok=True)
    written = folder / f"{path.rpartition('/')[2]}-{digest}.json"
    written.write_bytes(msgspec.json.format(msgspec.json.encode(file), indent=2) + b"\n")
    return written


def endpoint_of(type_: type[Struct]) -> Endpoint[Any]:
    """Return the endpoint of a class of requests.

    Raises:
        TypeError: Its objects are not requests.
    """
    if type_ not in BY_REQUEST:
        raise TypeError(f"A {type_.__name__} is not a request; give one such as an Order of featherline.wire")
    return BY_REQUEST[type_]


def shelves() -> Shelves:
    """Return the recorded records of the demo book: films, shoes, rates, policies and sources."""
    return {
        RECORD_KINDS[type(recording.answer.records[0])]: {record.id: record for record in recording.answer.records}
        for recording in examples()
        if isinstance(recording.answer, RecordsAnswer)
    }


def _recording(path: str, request: bytes | None, answer: bytes) -> Recording:
    endpoint = ENDPOINTS[path]
    return Recording(
        path=path,
        request=None if request is None else msgspec.json.decode(request, type=endpoint.request),
        answer=msgspec.json.decode(answer, type=endpoint.answer),
    )
