"""Recorded questions and their answers: the examples that the SDK brings, and a project's own."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path
from typing import Any, Final

import msgspec
from msgspec import Raw, Struct

from featherline.client import KINDS, Client
from featherline.plugins import Shelves
from featherline.transport import Question
from featherline.wire.book import BookAnswer, RecordsAnswer
from featherline.wire.costs import CostAnswer, CostRequest, Order
from featherline.wire.fits import FitAnswer, FitRequest
from featherline.wire.measures import ArtworkAnswer, ArtworkRequest
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import RecipeAnswer, RecipeRequest
from featherline.wire.rosters import Roster, RosterAnswer
from featherline.wire.seals import PublishedKeys, SealCheck, SealCheckRequest
from featherline.wire.trials import TrialAnswer, TrialRequest


class Kind(Struct, frozen=True):
    """A question by its path: the types of its request and of its answer."""

    path: str
    asked: Any
    answered: Any


KINDS_OF_QUESTION: Final = (
    Kind("/v1/recipes", RecipeRequest, RecipeAnswer),
    Kind("/v1/fits", FitRequest, FitAnswer),
    Kind("/v1/artworks", ArtworkRequest, ArtworkAnswer),
    Kind("/v1/costs", CostRequest, CostAnswer),
    Kind("/v1/quotes", Order, QuoteAnswer),
    Kind("/v1/rosters", Roster, RosterAnswer),
    Kind("/v1/trials", TrialRequest, TrialAnswer),
    Kind("/v1/seals/check", SealCheckRequest, SealCheck),
)
BY_PATH: Final[Mapping[str, Kind]] = {kind.path: kind for kind in KINDS_OF_QUESTION}
BULK: Final = "/v1/bulk"
READ: Final[Mapping[str, Any]] = {
    "/v1/book": BookAnswer,
    "/.well-known/jwks.json": PublishedKeys,
    **{f"/v1/book/{kind}": RecordsAnswer[type_] for type_, kind in KINDS.items()},  # type: ignore[valid-type]
}


class Recording(Struct, frozen=True, kw_only=True):
    """A question and its answer; `asked` is None of what is only read."""

    path: str
    asked: Any
    answered: Any


class _Entry(Struct, frozen=True):
    path: str
    answer: str
    request: str | None = None


class _Index(Struct, frozen=True):
    asked: tuple[_Entry, ...]
    read: tuple[_Entry, ...]


class _File(Struct, frozen=True, kw_only=True):
    """A recording as a project keeps it."""

    path: str
    request: Raw
    answer: Raw


_EXAMPLES: Final = resources.files("featherline") / "examples"


def examples() -> Iterator[Recording]:
    """Yield what the SDK brings: the questions of the documentation, and records of the demo book."""
    index = msgspec.json.decode((_EXAMPLES / "recorded" / "index.json").read_bytes(), type=_Index)
    for entry in (*index.asked, *index.read):
        answered = (_EXAMPLES / entry.answer).read_bytes()
        if entry.request is None:
            if entry.path in READ:
                yield Recording(path=entry.path, asked=None, answered=_decode(answered, READ[entry.path]))
        elif entry.path in BY_PATH:
            kind = BY_PATH[entry.path]
            asked = _decode((_EXAMPLES / entry.request).read_bytes(), kind.asked)
            yield Recording(path=entry.path, asked=asked, answered=_decode(answered, kind.answered))


def own(folder: Path) -> Iterator[Recording]:
    """Yield what `record` kept in a folder.

    Raises:
        ValueError: A file is no recording, or one of another version; the message names it.
    """
    for file in sorted(folder.glob("*.json")):
        try:
            found = msgspec.json.decode(file.read_bytes(), type=_File)
            kind = BY_PATH[found.path]
            yield Recording(
                path=found.path,
                asked=_decode(bytes(found.request), kind.asked),
                answered=_decode(bytes(found.answer), kind.answered),
            )
        except (msgspec.DecodeError, KeyError) as error:
            raise ValueError(f"{file} is no recording that this version reads ({error}): record it anew") from error


def record(client: Client, request: Struct, folder: Path) -> Path:
    """Ask a running service, and keep the answer in a folder, for `RecordedService` to give it again.

    Args:
        client: A client of the service to ask.
        request: What to ask it: an `Order`, a `FitRequest`, or any other request.
        folder: Where to keep it; it is made where there is none.

    Returns:
        The file, named after the request.

    Raises:
        FeatherlineError: There is no answer.
        TypeError: It is no request.
    """
    kind = kind_of(request)
    answered = client._transport.ask(Question(kind.path, Raw, request), None)  # noqa: SLF001 - as it was sent
    kept = _File(path=kind.path, request=Raw(msgspec.json.encode(request)), answer=answered)
    folder.mkdir(parents=True, exist_ok=True)
    digest = hashlib.sha256(kind.path.encode() + bytes(kept.request)).hexdigest()[:16]
    file = folder / f"{kind.path.rpartition('/')[2]}-{digest}.json"
    file.write_bytes(msgspec.json.format(msgspec.json.encode(kept), indent=2) + b"\n")
    return file


def kind_of(request: Struct | type[Struct]) -> Kind:
    """Return what kind of question a request, or a type of requests, is.

    Raises:
        TypeError: It is none.
    """
    type_ = request if isinstance(request, type) else type(request)
    for kind in KINDS_OF_QUESTION:
        if issubclass(type_, kind.asked):
            return kind
    raise TypeError(f"A {type_.__name__} is no request; give one such as an Order of featherline.wire")


def shelves() -> Shelves:
    """Return the records of the demo book that are recorded: films, shoes, rates, policies and sources."""
    return {
        KINDS[type(each.answered.records[0])]: {record.id: record for record in each.answered.records}
        for each in examples()
        if isinstance(each.answered, RecordsAnswer)
    }


def _decode(content: bytes, type_: Any) -> Any:  # noqa: ANN401 - as the type says
    return msgspec.json.decode(content, type=type_)
