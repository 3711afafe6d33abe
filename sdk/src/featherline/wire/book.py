"""Answers about the contents of the shop book."""

from __future__ import annotations

from typing import Annotated, Generic, Literal, TypeVar

from msgspec import Meta, Struct

from featherline.wire.records import Record, ShelfKind
from featherline.wire.texts import BookUntil, Engine, Identifier, Instant, Name, Revision

AnyRecord = TypeVar("AnyRecord", bound=Record)


class Shelf(Struct, frozen=True, kw_only=True):
    """The ids of one kind of record."""

    kind: ShelfKind
    ids: tuple[Identifier, ...]


PluginKind = Literal["price-policy", "record-source", "artwork-reader", "check"]


class Plugin(Struct, frozen=True, kw_only=True):
    """A plug-in in force, and the distribution that it comes from."""

    name: Identifier
    kind: PluginKind
    distribution: Annotated[str, Meta(min_length=1, max_length=120)]
    version: Annotated[str, Meta(min_length=1, max_length=120)]


BookState = Annotated[
    Literal["superseded", "in-force", "to-come"],
    Meta(description="Whether the revision was in force before, is now, or will be."),
]


class BookRevision(Struct, frozen=True, kw_only=True):
    """A revision of the book, when it is in force, and what it changes.

    A request may name one that is in force or superseded in its `Book-Revision` header field, before `pinned_until`.
    `changes` are the records by which it differs from the revision before it, those taken away among them.
    """

    revision: Revision
    state: BookState
    since: Annotated[Instant | None, Meta(description="Null for the first revision that is known.")]
    until: Annotated[Instant | None, Meta(description="Null for the last.")]
    pinned_until: Annotated[
        Instant | None, Meta(description="Until when a request may name it. Null where no end is known.")
    ]
    changes: tuple[Shelf, ...]
    observations: Annotated[
        tuple[Identifier, ...], Meta(description="The observations among the records by which it differs.")
    ] = ()


class BookAnswer(Struct, frozen=True, kw_only=True):
    """The contents of the shop book, and the plug-ins in force."""

    name: Name
    invented: Annotated[bool, Meta(description="True for demo data: no such shop, and no such prices.")]
    kinds: tuple[Shelf, ...]
    observations: Annotated[
        tuple[Identifier, ...], Meta(description="The ids of the shop's own pressings with what was observed of them.")
    ] = ()
    plugins: tuple[Plugin, ...] = ()
    revisions: Annotated[
        tuple[BookRevision, ...], Meta(description="The revisions that are known, in the order of time.")
    ] = ()
    book: Revision
    book_until: BookUntil = None
    engine: Engine


class RecordsAnswer(Struct, Generic[AnyRecord], frozen=True, kw_only=True):
    """Records of one kind, in the order of their ids: all, or a page of them."""

    records: tuple[AnyRecord, ...]
    next: Annotated[
        Identifier | None, Meta(description="The id after which the next page begins; null: there are no more.")
    ] = None
    book: Revision
    book_until: BookUntil = None
    engine: Engine


class RecordAnswer(Struct, Generic[AnyRecord], frozen=True, kw_only=True):
    """One record."""

    record: AnyRecord
    book: Revision
    book_until: BookUntil = None
    engine: Engine
