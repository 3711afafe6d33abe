"""Answers about the contents of the shop book."""

from __future__ import annotations

from typing import Annotated, Generic, Literal, TypeVar

from msgspec import Meta, Struct

from featherline.wire.records import Kind, Record
from featherline.wire.texts import Engine, Identifier, Name, Revision

AnyRecord = TypeVar("AnyRecord", bound=Record)


class Shelf(Struct, frozen=True, kw_only=True):
    """The ids of one kind of record."""

    kind: Kind
    ids: tuple[Identifier, ...]


PluginKind = Literal["price-policy", "record-source", "artwork-reader", "check"]


class Plugin(Struct, frozen=True, kw_only=True):
    """A plug-in in force, and the distribution that it comes from."""

    name: Identifier
    kind: PluginKind
    distribution: Annotated[str, Meta(min_length=1, max_length=120)]
    version: Annotated[str, Meta(min_length=1, max_length=120)]


class BookAnswer(Struct, frozen=True, kw_only=True):
    """The contents of the shop book, and the plug-ins in force."""

    name: Name
    invented: Annotated[bool, Meta(description="True for demo data: no such shop, and no such prices.")]
    kinds: tuple[Shelf, ...]
    plugins: tuple[Plugin, ...] = ()
    book: Revision
    engine: Engine


class RecordsAnswer(Struct, Generic[AnyRecord], frozen=True, kw_only=True):
    """Records of one kind, in the order of their ids: all, or a page of them."""

    records: tuple[AnyRecord, ...]
    next: Annotated[
        Identifier | None, Meta(description="The id after which the next page begins; null: there are no more.")
    ] = None
    book: Revision
    engine: Engine


class RecordAnswer(Struct, Generic[AnyRecord], frozen=True, kw_only=True):
    """One record."""

    record: AnyRecord
    book: Revision
    engine: Engine
