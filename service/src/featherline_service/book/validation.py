"""Checks of a shop book as a whole: its references, currency, contacts, pads, and the records it must hold."""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Set as AbstractSet
from typing import Final, get_args

from featherline.wire import records
from featherline.wire.records import Kind, Role
from featherline.wire.shoes import Label
from featherline_service.book.consistency import inconsistencies
from featherline_service.book.faults import BookFault
from featherline_service.book.record_values import at, fields_named
from featherline_service.book.references import missing_references, wrong_colours
from featherline_service.book.toml_records import CODE, CURRENCIES, Entries, shelf

Ids = AbstractSet[tuple[Kind, str]]

CONTACTS: Final[frozenset[tuple[Role, Role]]] = frozenset(
    {
        ("platen", "cover"), ("platen", "carrier"), ("platen", "film"),
        ("cover", "cover"), ("cover", "carrier"), ("cover", "film"), ("cover", "upper"),
        ("carrier", "film"), ("film", "film"), ("film", "upper"),
        ("upper", "upper"), ("upper", "pad"), ("pad", "lower-platen"),
    }
)  # fmt: skip
"""The faces that may touch in a stack, the upper one first; each pair needs a contact."""

_M_MM: Final = 1000.0


def check(entries: Entries, broken: Ids) -> Iterator[BookFault]:
    """Yield the faults within and between records. A broken record counts as present: its own fault is known."""
    named = entries.keys() | broken
    films = shelf(entries, records.Film)
    for (kind, name), entry in entries.items():
        flaws = [*inconsistencies(kind, entry.record), *missing_references(kind, entry.record, named)]
        if isinstance(entry.record, records.Offcut):
            flaws += wrong_colours(entry.record, films)
        yield from (BookFault(str(entry.file), name, key, advice) for key, advice in flaws)
    yield from _currency_faults(entries)
    yield from _contact_faults(entries, broken)
    yield from _pad_faults(entries)
    yield from _load_faults(entries)
    yield from _reading_faults(entries)
    yield from _count_faults(named)
    yield from _label_faults(entries, broken)


def _currency_faults(entries: Entries) -> Iterator[BookFault]:
    """Yield sums in an unknown currency or another one than the bench's rates: sums are added up, never converted."""
    rates = shelf(entries, records.Rates)
    benches = shelf(entries, records.Bench).values()
    shop = next((rates[bench.rates].currency for bench in benches if bench.rates in rates), None)
    for (_, name), entry in entries.items():
        for field in fields_named(type(entry.record), "currency"):
            for key, value in at(entry.record, field):
                if value not in CURRENCIES:
                    advice = f"{value} is not a currency in use; {CODE}"
                elif shop is not None and value != shop:
                    advice = f"{value} is not {shop}, the currency of the bench's rates; give all sums in one currency"
                else:
                    continue
                yield BookFault(str(entry.file), name, key, advice)


def _contact_faults(entries: Entries, broken: Ids) -> Iterator[BookFault]:
    """Yield contacts that are given twice, and those that a stack may need and the book lacks."""
    seen: dict[tuple[str, str], str] = {}
    for (_, name), entry in entries.items():
        if isinstance(entry.record, records.Contact):
            faces = (entry.record.above, entry.record.below)
            if faces in seen:
                advice = f"{seen[faces]} is already the contact of {faces[0]} on {faces[1]}; keep one of the two"
                yield BookFault(str(entry.file), name, "below", advice)
            seen[faces] = name
    if not any(kind == "contacts" for kind, _ in broken):
        for above, below in sorted(CONTACTS - seen.keys()):
            yield BookFault("contacts", "", "", f"The contact of {above} on {below} is missing; add it")


def _pad_faults(entries: Entries) -> Iterator[BookFault]:
    """Yield pads whose compression curve does not reach a pressure of a press or of the bench's reference."""
    pads, platens = shelf(entries, records.Pad), shelf(entries, records.Platen)
    pressed = [
        (platens[platen].pad, f"the press {press.id}", press.pressures)
        for press in shelf(entries, records.Press).values()
        for platen in press.platens
        if platen in platens
    ]
    pressed += [
        (bench.reference_pad, f"the bench {bench.id}, as its reference pad,", bench.reference_pressures)
        for bench in shelf(entries, records.Bench).values()
    ]
    for name, by, pressures in dict.fromkeys(pressed):
        if name not in pads:
            continue
        curve = [point.pressure_kpa for point in pads[name].compression]
        if not min(curve) <= pressures.light_kpa <= pressures.firm_kpa <= max(curve):
            yield BookFault(
                str(entries["pads", name].file),
                name,
                "compression",
                f"Known from {min(curve):g} to {max(curve):g} kPa, but {by} presses on it with "
                f"{pressures.light_kpa:g} to {pressures.firm_kpa:g} kPa; extend the curve, or name another pad",
            )


def _load_faults(entries: Entries) -> Iterator[BookFault]:
    """Yield cutters that lose a whole roll of a film with every load."""
    for cutter in shelf(entries, records.Cutter).values():
        lost_mm = (cutter.lead_in_mm or 0.0) + (cutter.trim_mm or 0.0)
        for film in shelf(entries, records.Film).values():
            if film.cutting is not None and lost_mm >= film.roll.length_m * _M_MM:
                yield BookFault(
                    str(entries["cutters", cutter.id].file),
                    cutter.id,
                    "lead_in_mm",
                    f"{lost_mm:g} mm with the trim, all of a roll of {film.id} ({film.roll.length_m:g} m); correct one",
                )


def _reading_faults(entries: Entries) -> Iterator[BookFault]:
    """Yield readings above layers that their stacks do not have."""
    covers, films = shelf(entries, records.Cover), shelf(entries, records.Film)
    uppers = shelf(entries, records.Upper)
    for pressing in shelf(entries, records.RecordedPressing).values():
        cover = covers.get(pressing.cover or "")
        film = films.get(pressing.film or "")
        upper = uppers.get(pressing.upper or "")
        names = [
            *(() if cover is None else (layer.name for layer in cover.layers)),
            *(() if film is None else ("carrier", *(layer.name for layer in film.layers))),
            *(layer.name for layer in (pressing.layers if upper is None else upper.layers)),
            "pad",
        ]
        for index, reading in enumerate(pressing.readings):
            if reading.above != "bond line" and reading.above not in names:
                yield BookFault(
                    str(entries["observations", pressing.id].file),
                    pressing.id,
                    f"readings[{index}].above",
                    f"The stack has no layer {reading.above!r}; name one of bond line, {', '.join(names)}",
                )


def _count_faults(named: Ids) -> Iterator[BookFault]:
    """Yield the bench and the labels that a book must have and lacks, and a second bench."""
    benches = sorted(name for kind, name in named if kind == "benches")
    if len(benches) != 1:
        if benches:
            advice = f"A book has one bench, this has {' and '.join(benches)}; keep one, or give both the same id"
        else:
            advice = "A book needs a bench; add one"
        yield BookFault("benches", "", "", advice)
    for label in get_args(get_args(Label)[0]):
        if ("labels", label) not in named:
            yield BookFault("labels", label, "", "Missing; add the label")


def _label_faults(entries: Entries, broken: Ids) -> Iterator[BookFault]:
    """Yield labels that no upper is sold under: a walk-in shoe so labelled could be of nothing."""
    sold = {label for upper in shelf(entries, records.Upper).values() for label in upper.labels}
    if not any(kind == "uppers" for kind, _ in broken):
        for name in sorted(shelf(entries, records.TongueLabel).keys() - sold):
            yield BookFault(str(entries["labels", name].file), name, "", "No upper names it in its `labels`; add one")
