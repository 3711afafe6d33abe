"""The loaded shop book: its records by kind and id, and the revision of the whole."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from msgspec import Struct

from featherline.wire import records
from featherline_service.plugins import NONE, Plugins
from featherline_service.runtime import cache

cache.never_weigh(records.Cover, records.Film, records.Policy, records.ShoeModel)


class Practised(NamedTuple):
    """A statement of the trade, and the film that it is of."""

    film: str
    statement: records.Practice


class Book(Struct, frozen=True, kw_only=True, eq=False, weakref=True):
    """A shop book in memory: for each kind its records by id. Immutable, and hashed by identity.

    The loader has checked that every id that a record names is in the book and that there is one bench. `practices`
    are the films' statements of the trade by film and id. `font_files` are the paths of the fonts' files by the font's
    id; `plugins` are the shop's own additions.

    It is in force `since` an instant `until` another, both in UTC; None where no change before or after it is known.
    """

    revision: str
    since: datetime | None = None
    until: datetime | None = None
    bench: records.Bench
    sources: Mapping[str, records.Source]
    materials: Mapping[str, records.Material]
    contacts: Mapping[str, records.Contact]
    uppers: Mapping[str, records.Upper]
    labels: Mapping[str, records.TongueLabel]
    films: Mapping[str, records.Film]
    covers: Mapping[str, records.Cover]
    practices: Mapping[str, Practised]
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
    observations: Mapping[str, records.RecordedPressing]
    plugins: Plugins = NONE
