"""The loaded shop book: one shelf of records per kind, and the revision of the whole."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct

from featherline.wire import records
from featherline_service.plugins import NONE, Plugins


class Book(Struct, frozen=True, kw_only=True, eq=False, weakref=True):
    """A shop book in memory: records by id on the shelf of their kind. Immutable, and hashed by identity.

    Every id that a record names is known to be on its shelf: the loader has checked it. There is one bench.
    `font_files` says where each font's file is, by the font's id. `plugins` are what the shop has added of its own.
    """

    revision: str
    bench: records.Bench
    sources: Mapping[str, records.Source]
    materials: Mapping[str, records.Material]
    contacts: Mapping[str, records.Contact]
    uppers: Mapping[str, records.Upper]
    labels: Mapping[str, records.LabelledUppers]
    films: Mapping[str, records.Film]
    covers: Mapping[str, records.Cover]
    pads: Mapping[str, records.Pad]
    platens: Mapping[str, records.Platen]
    presses: Mapping[str, records.Press]
    cutters: Mapping[str, records.Cutter]
    fonts: Mapping[str, records.Font]
    font_files: Mapping[str, Path]
    shoes: Mapping[str, records.ShoeModel]
    offcuts: Mapping[str, records.Offcut]
    rates: Mapping[str, records.Rates]
    policies: Mapping[str, records.Policy]
    plugins: Plugins = NONE
