"""Folders of records, laid one over the other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from featherline_service.book.faults import BookFault
from featherline_service.book.toml_records import (
    DEFAULTS,
    REPLACES,
    Chain,
    Key,
    Part,
    Preface,
    Reading,
    read_folder,
    read_preface,
)

SERVICE_KINDS: Final = frozenset(
    {"sources", "materials", "contacts", "uppers", "labels", "covers", "pads", "platens", "fonts"}
)
"""The kinds whose records a shop of its own keeps from the book before it; all others are of a shop."""

WHOLE_KINDS: Final = frozenset({"fonts"})
"""The kinds whose records always replace those before them: a font's file is of a package, or lies beside the book."""


class Layer(Struct, frozen=True):
    """A folder of records, and how it is laid over those before it."""

    preface: Preface
    reading: Reading

    def instants(self) -> Iterator[datetime]:
        """Yield the instants at which something of it begins to count."""
        if self.preface.valid_from is not None:
            yield self.preface.valid_from
        yield from self.reading.later


class Laid(Struct, frozen=True):
    """What several layers say together.

    `currency` is the book's, None where no layer says it. `in_another` are the parts before the layer that says it:
    whatever currency their sums are in, the amounts count in the book's.
    """

    chains: Mapping[Key, Chain]
    broken: frozenset[Key]
    faults: tuple[BookFault, ...]
    currency: str | None = None
    in_another: frozenset[Part] = frozenset()


def read_layer(folder: Path) -> Layer:
    """Read a folder with its `book.toml`."""
    preface, reading = read_preface(folder), read_folder(folder)
    if isinstance(preface, BookFault):
        return Layer(Preface(mode="overlay"), replace(reading, faults=(preface, *reading.faults)))
    return Layer(preface, reading)


def laid_over(layers: Sequence[Layer], instant: datetime | None) -> Laid:
    """Return what the layers that count at an instant say together; without one, those that have always counted.

    A record of a layer is laid over the one of its kind and id field by field, or replaces it (``replaces = true``).
    """
    before = Laid({}, frozenset(), ())
    for layer in layers:
        start, reading = layer.preface.valid_from, layer.reading
        if start is not None and (instant is None or instant < start):
            continue
        kept = _kept(before, layer.preface.mode)
        currency = layer.preface.currency
        before = Laid(
            _joined(kept.chains, reading.at(instant)),
            kept.broken | reading.broken,
            (*kept.faults, *reading.faults),
            currency or kept.currency,
            kept.in_another if currency is None else _parts(kept.chains),
        )
    return before


def _kept(before: Laid, mode: str) -> Laid:
    """Return what a layer of some mode keeps of what is before it."""
    if mode == "replace":
        return Laid({}, frozenset(), ())
    if mode == "own":
        kept = {key: chain for key, chain in before.chains.items() if _is_of_service(key)}
        return replace(before, chains=kept, broken=frozenset(filter(_is_of_service, before.broken)))
    return before


def _is_of_service(key: Key) -> bool:
    return key[0] in SERVICE_KINDS or key[0].startswith(f"{DEFAULTS}/")


def _joined(before: Mapping[Key, Chain], after: Mapping[Key, Chain]) -> Mapping[Key, Chain]:
    joined = dict(before)
    for key, chain in after.items():
        parts = (*before.get(key, ()), *chain)
        whole = key[0] in WHOLE_KINDS
        first = max((at for at, part in enumerate(parts) if whole or part.table.get(REPLACES) is True), default=0)
        joined[key] = parts[first:]
    return joined


def _parts(chains: Mapping[Key, Chain]) -> frozenset[Part]:
    return frozenset(part for chain in chains.values() for part in chain)
