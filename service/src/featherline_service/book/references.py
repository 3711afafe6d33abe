"""References between records: every id that a record names must be in the book."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Final, get_args

from featherline.wire.records import Film, Kind, Offcut, Record
from featherline_service.book.record_values import at
from featherline_service.identifiers import listed

REFERENCES: Final[Mapping[tuple[Kind, str], Kind]] = {
    ("uppers", "layers.material"): "materials",
    ("materials", "dry"): "materials",
    ("materials", "damp"): "materials",
    ("films", "layers.material"): "materials",
    ("films", "carrier.material"): "materials",
    ("covers", "layers.material"): "materials",
    ("films", "practices.upper"): "uppers",
    ("films", "practices.cover"): "covers",
    ("pads", "material"): "materials",
    ("platens", "pad"): "pads",
    ("presses", "platens"): "platens",
    ("shoes", "panels.upper"): "uppers",
    ("offcuts", "film"): "films",
    ("observations", "press"): "presses",
    ("observations", "cover"): "covers",
    ("observations", "film"): "films",
    ("observations", "upper"): "uppers",
    ("observations", "layers.material"): "materials",
    ("benches", "reference_upper"): "uppers",
    ("benches", "reference_pad"): "pads",
    ("benches", "cover"): "covers",
    ("benches", "press"): "presses",
    ("benches", "cutter"): "cutters",
    ("benches", "rates"): "rates",
    ("benches", "policy"): "policies",
}
"""The kind that each field of a kind refers to. Citations refer to sources in every kind."""

_BY_KIND: Final[Mapping[Kind, Sequence[tuple[str, Kind]]]] = {
    kind: [(field, target) for (of, field), target in REFERENCES.items() if of == kind] for kind in get_args(Kind)
}
_CITED: Final[Sequence[tuple[str, Kind]]] = (("cites.source", "sources"),)


def references(kind: Kind, record: Record) -> Iterator[tuple[str, Kind, str]]:
    """Yield key, kind and id of every record that a record names."""
    for field, target in (*_BY_KIND[kind], *(_CITED if hasattr(record, "cites") else ())):
        for key, value in at(record, field):
            if isinstance(value, str):
                yield key, target, value


def missing_references(kind: Kind, record: Record, named: Collection[tuple[Kind, str]]) -> Iterator[tuple[str, str]]:
    """Yield key and advice for every reference of a record to another that the book lacks."""
    for key, target, name in references(kind, record):
        if (target, name) not in named:
            there = [known for of, known in named if of == target]
            others = f", or name one of {listed(name, sorted(there))}" if there else ""
            yield key, f"There is no {target}/{name}; add that record{others}"


def wrong_colours(offcut: Offcut, films: Mapping[str, Film]) -> Iterator[tuple[str, str]]:
    """Yield key and advice if an offcut's colour is not one of its film's."""
    if offcut.film in films:
        colours = [colour.id for colour in films[offcut.film].colours]
        if offcut.colour not in colours:
            yield (
                "colour",
                f"{offcut.film} does not come in {offcut.colour}; name one of {listed(offcut.colour, colours)}",
            )
