"""What a shop book must be as a whole."""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Set as AbstractSet
from typing import Final, get_args

from iso4217 import Currency as IsoCurrency

from featherline.wire import records
from featherline.wire.records import Kind, Role
from featherline.wire.shoes import Label
from featherline_service.book.consistency import inconsistencies
from featherline_service.book.faults import BookFault
from featherline_service.book.record_values import walk
from featherline_service.book.references import dangling, mislabelled, uncoloured
from featherline_service.book.toml_records import Entries, shelf

Ids = AbstractSet[tuple[Kind, str]]

CONTACTS: Final[frozenset[tuple[Role, Role]]] = frozenset(
    {
        ("platen", "cover"), ("platen", "carrier"), ("platen", "film"),
        ("cover", "cover"), ("cover", "carrier"), ("cover", "film"), ("cover", "upper"),
        ("carrier", "film"), ("film", "film"), ("film", "upper"),
        ("upper", "upper"), ("upper", "pad"), ("pad", "lower-platen"),
    }
)  # fmt: skip
"""What may lie on what in a stack; each needs a contact."""

_CURRENCIES: Final = frozenset(currency.code for currency in IsoCurrency if currency.exponent is not None)
"""ISO 4217 codes that have a minor unit: not the codes for metals, for testing and for no currency."""


def check(entries: Entries, broken: Ids) -> Iterator[BookFault]:
    """Yield what is wrong within and between records. A broken record counts as there: its fault is told already."""
    named = entries.keys() | broken
    films, uppers = shelf(entries, records.Film), shelf(entries, records.Upper)
    for (kind, name), entry in entries.items():
        found = [*inconsistencies(kind, entry.record), *dangling(kind, entry.record, named)]
        if isinstance(entry.record, records.Offcut):
            found += uncoloured(entry.record, films)
        if isinstance(entry.record, records.LabelledUppers):
            found += mislabelled(entry.record, uppers)
        yield from (BookFault(str(entry.file), name, key, advice) for key, advice in found)
    yield from _of_currency(entries)
    yield from _of_contacts(entries, broken)
    yield from _of_pads(entries)
    yield from _of_number(named)


def _of_currency(entries: Entries) -> Iterator[BookFault]:
    """Yield sums whose currency is none, or is not that of the bench's rates: sums are added up, never converted."""
    rates = shelf(entries, records.Rates)
    benches = shelf(entries, records.Bench).values()
    shop = next((rates[bench.rates].currency for bench in benches if bench.rates in rates), None)
    for (_, name), entry in entries.items():
        for key, value in walk(entry.record):
            if key == "currency" or key.endswith(".currency"):
                if value not in _CURRENCIES:
                    advice = f"{value} is no currency in use; give its ISO 4217 code, such as 'EUR'"
                elif shop is not None and value != shop:
                    advice = f"{value} is not {shop}, in which the bench's rates are; give all sums in one currency"
                else:
                    continue
                yield BookFault(str(entry.file), name, key, advice)


def _of_contacts(entries: Entries, broken: Ids) -> Iterator[BookFault]:
    """Yield contacts that are there twice, and those that a stack may have and the book has not."""
    seen: dict[tuple[str, str], str] = {}
    for (_, name), entry in entries.items():
        if isinstance(entry.record, records.Contact):
            faces = (entry.record.above, entry.record.below)
            if faces in seen:
                advice = f"{seen[faces]} is {faces[0]} on {faces[1]} already; keep one"
                yield BookFault(str(entry.file), name, "below", advice)
            seen[faces] = name
    if not any(kind == "contacts" for kind, _ in broken):
        for above, below in sorted(CONTACTS - seen.keys()):
            yield BookFault("contacts", "", "", f"No contact is for {above} on {below}; add one")


def _of_pads(entries: Entries) -> Iterator[BookFault]:
    """Yield pads whose compression curve ends short of a pressure at which a press, or the bench, presses on them."""
    pads, platens = shelf(entries, records.Pad), shelf(entries, records.Platen)
    pressed = [
        (platens[platen].pad, f"the press {press.id}", press.pressures)
        for press in shelf(entries, records.Press).values()
        for platen in press.platens
        if platen in platens
    ]
    pressed += [
        (bench.reference_pad, f"the bench {bench.id}, whose reference pad it is,", bench.reference_pressures)
        for bench in shelf(entries, records.Bench).values()
    ]
    for name, by, own in dict.fromkeys(pressed):
        if name not in pads:
            continue
        curve = [point.pressure_kpa for point in pads[name].compression]
        if not min(curve) <= own.light_kpa <= own.firm_kpa <= max(curve):
            yield BookFault(
                str(entries["pads", name].file),
                name,
                "compression",
                f"Known from {min(curve):g} to {max(curve):g} kPa, and {by} presses on it with {own.light_kpa:g} to "
                f"{own.firm_kpa:g} kPa; extend the curve, or name another pad",
            )


def _of_number(named: Ids) -> Iterator[BookFault]:
    """Yield what a book must hold and does not."""
    benches = sorted(name for kind, name in named if kind == "benches")
    if len(benches) != 1:
        there = " and ".join(benches) or "none"
        yield BookFault("benches", "", "", f"A book has one bench, here: {there}; keep one, or give both the same id")
    for label in get_args(get_args(Label)[0]):
        if ("labels", label) not in named:
            yield BookFault("labels", label, "", "Missing; say which uppers the label may stand for")
