"""Consistency of the values within one record."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import pairwise
from operator import attrgetter
from typing import Any, Final

import iso4217

from featherline.wire.money import Charge
from featherline.wire.records import (
    Bench,
    Citation,
    Ending,
    Film,
    Kind,
    Pad,
    Policy,
    Rates,
    Record,
    RecordedPressing,
    ShoeModel,
)
from featherline_service.book.record_values import field_of, walk
from featherline_service.identifiers import listed
from featherline_service.messages.catalogues import catalogues, faults_of
from featherline_service.messages.pseudo import CHANGES

_PRESSURES: Final = ("light_kpa", "medium_kpa", "firm_kpa")

_RISING: Final[Mapping[Kind, tuple[tuple[str, ...], ...]]] = {
    "films": (
        ("setting.coolest_c", "setting.hottest_c"),
        ("setting.shortest_s", "setting.longest_s"),
        ("adhesive.activation_low_kj_mol", "adhesive.activation_kj_mol", "adhesive.activation_high_kj_mol"),
        ("needed_share.low", "needed_share.high"),
    ),
    "presses": (("coolest_c", "hottest_c"), tuple(f"pressures.{level}" for level in _PRESSURES)),
    "shoes": (("sizes.smallest", "sizes.largest"),),
    "benches": (tuple(f"reference_pressures.{level}" for level in _PRESSURES),),
}
"""Keys of each kind whose values must not fall from one key to the next."""

UNCITED: Final = (
    'No citation covers this value; write `source = "maker-sheet"`, "measured" or "guess" in the record, or name the '
    "value in a citation"
)


def inconsistencies(kind: Kind, record: Record) -> Iterator[tuple[str, str]]:
    """Yield key and advice for every inconsistency of a record."""
    values = tuple(walk(record))
    yield from _not_finite(values)
    yield from _out_of_order(kind, record)
    match record:
        case Film():
            yield from _repeated("colours", [colour.id for colour in record.colours])
            if (record.family == "printed") != (record.cutting is None):
                yield (
                    "cutting",
                    "Every film but a printed transfer is cut; add the table, or take it out of a printed transfer",
                )
            yield from _film_faults(record)
        case Pad():
            yield from _not_increasing("compression", "pressure_kpa", [p.pressure_kpa for p in record.compression])
            yield from _not_increasing("compression", "strain", [p.strain for p in record.compression])
        case ShoeModel():
            yield from _repeated("panels", [panel.id for panel in record.panels])
            yield from _join_faults(record)
            yield from _colour_faults(record)
            yield from _view_faults(record)
        case Bench():
            yield from _bench_faults(record)
        case Rates():
            yield from _rates_faults(record)
        case Policy():
            yield from _policy_faults(record)
        case RecordedPressing():
            yield from _pressing_faults(record)
        case _:
            pass
    yield from _name_faults(record)
    yield from _citation_faults(record, values)


def _not_finite(values: Sequence[tuple[str, object]]) -> Iterator[tuple[str, str]]:
    """Yield numbers that are not finite: TOML has `inf` and `nan`."""
    for key, value in values:
        if isinstance(value, float) and not math.isfinite(value):
            yield key, "Not a finite number; give a finite one"


def _out_of_order(kind: Kind, record: Record) -> Iterator[tuple[str, str]]:
    """Yield values that are less than the one that they must not fall below."""
    for keys in _RISING.get(kind, ()):
        for low, high in pairwise(keys):
            if attrgetter(low)(record) > attrgetter(high)(record):
                yield high, f"Less than {low}; swap the two, or correct one"


def _not_increasing(table: str, name: str, values: Sequence[float]) -> Iterator[tuple[str, str]]:
    """Yield rows of a table whose value is not above that of the row before."""
    for index, (before, after) in enumerate(pairwise(values), start=1):
        if after <= before:
            yield f"{table}[{index}].{name}", f"{after:g} is not above the {before:g} of the row before; order the rows"


def _repeated(table: str, ids: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Yield rows of a table whose id an earlier row has."""
    for index, name in enumerate(ids):
        if name in ids[:index]:
            yield f"{table}[{index}].id", f"An earlier row is named {name}; give this one another id"


def _join_faults(shoe: ShoeModel) -> Iterator[tuple[str, str]]:
    """Yield joins of panels that the shoe has not, of a panel with itself, or along an edge without length."""
    for index, join in enumerate(shoe.joins):
        yield from _no_panels(shoe, [(f"joins[{index}].panel", join.panel), (f"joins[{index}].other", join.other)])
        if join.panel == join.other:
            yield f"joins[{index}].other", "A panel is not joined to itself; name the panel beside it"
        for key, (first, second) in (("ends_mm", join.ends_mm), ("other_ends_mm", join.other_ends_mm)):
            if first == second:
                yield f"joins[{index}].{key}", "Both ends are one point; give the two ends of the edge"


def _colour_faults(shoe: ShoeModel) -> Iterator[tuple[str, str]]:
    """Yield colours of one id, and of panels that the shoe has not."""
    yield from _repeated("colours", [colour.id for colour in shoe.colours])
    for index, colour in enumerate(shoe.colours):
        named = [(f"colours[{index}].panels[{at}].panel", other.panel) for at, other in enumerate(colour.panels)]
        yield from _no_panels(shoe, named)


def _view_faults(shoe: ShoeModel) -> Iterator[tuple[str, str]]:
    """Yield parts and places of panels that the shoe has not, panels in two places, and places that show nothing."""
    for index, view in enumerate(shoe.views):
        at = f"views[{index}]"
        parts = (
            (f"{at}.{key}[{number}]", part)
            for key, parts in (("parts", view.parts), ("over", view.over))
            for number, part in enumerate(parts)
        )
        named = [(f"{key}.panel", part.panel) for key, part in parts if part.panel is not None]
        named += [(f"{at}.places[{number}].panel", place.panel) for number, place in enumerate(view.places)]
        yield from _no_panels(shoe, named)
        placed: set[str] = set()
        for number, place in enumerate(view.places):
            if place.panel in placed:
                yield f"{at}.places[{number}].panel", f"{place.panel} has a place already; leave one of them out"
            placed.add(place.panel)
            a, b, c, d, _, _ = place.matrix
            if a * d == b * c:
                yield f"{at}.places[{number}].matrix", "It lays the panel flat on a line; give a matrix that turns it"


def _no_panels(shoe: ShoeModel, named: Sequence[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    ids = [panel.id for panel in shoe.panels]
    for key, name in named:
        if name not in ids:
            yield key, f"The shoe has no panel {name}; name one of {listed(name, ids)}"


def _name_faults(record: Record) -> Iterator[tuple[str, str]]:
    """Yield second names of a record, or of a part of it, in one language."""
    parts: list[tuple[str, Any]] = [("", record)]
    for field in ("panels", "colours"):
        parts += [(f"{field}[{index}].", part) for index, part in enumerate(getattr(record, field, ()))]
    for at, part in parts:
        spoken = [local.language for local in getattr(part, "names", ())]
        for index, language in enumerate(spoken):
            if language in spoken[:index]:
                yield f"{at}names[{index}].language", f"It has a name in {language} already; keep one of the two"


def _bench_faults(bench: Bench) -> Iterator[tuple[str, str]]:
    """Yield a wait without a place for it, messages that are given twice, and patterns that cannot be used."""
    workplace = bench.workplace
    if workplace is not None and workplace.wait == "overlapped" and not workplace.cooling_places:
        yield "workplace.cooling_places", "None; an overlapped wait needs a place to lay the shoes on"
    seen = set[tuple[str, str]]()
    has = dict.fromkeys((*catalogues(), *(own.language for own in bench.messages), *CHANGES))
    if bench.language not in has:
        yield (
            "language",
            f"There are no messages in {bench.language!r}; name one of {', '.join(has)}, or give `messages`",
        )
    for index, own in enumerate(bench.messages):
        if (own.language, own.message) in seen:
            yield f"messages[{index}].message", f"{own.message} is there in {own.language} already; keep one of the two"
        seen.add((own.language, own.message))
        for advice in faults_of(own.message, own.pattern, own.language):
            yield f"messages[{index}].pattern", advice


def _film_faults(film: Film) -> Iterator[tuple[str, str]]:
    """Yield limits of a film's pressing and peel, and lengths of its roll, that contradict its other values."""
    if film.roll.sold_by_m is not None and film.roll.sold_by_m > film.roll.length_m:
        yield "roll.sold_by_m", "More than a roll has; give a part of roll.length_m, or leave it out for whole rolls"
    peel, harm = film.peel, film.overpressing
    if peel.coolest_c is not None and peel.hottest_c is not None and peel.coolest_c > peel.hottest_c:
        yield "peel.hottest_c", "Less than peel.coolest_c; swap the two, or correct one"
    if peel.hottest_c is None and peel.when != "hot":
        yield "peel.hottest_c", f"Missing; say how cool the bond line must be for a {peel.when} peel, or peel it hot"
    if harm is not None and harm.longest_s < film.setting.longest_s:
        yield "overpressing.longest_s", "Less than setting.longest_s, which the maker gives; correct one"


def _pressing_faults(pressing: RecordedPressing) -> Iterator[tuple[str, str]]:
    """Yield what cannot be of an observed pressing and its readings."""
    if (pressing.upper is None) != bool(pressing.layers):
        yield "upper", "Say what was pressed on: an upper of the book, or the `layers` of a scrap, and not both"
    if pressing.bond is not None and pressing.film is None:
        yield "bond", "Nothing was pressed that could bond; name the `film`, or take it out"
    if pressing.beside_looks is not None and pressing.cover is None:
        yield "beside_looks", "No cover sheet lay beside the film; name the `cover`, or take it out"
    if not pressing.readings and {pressing.bond, pressing.upper_looks, pressing.beside_looks} == {None}:
        yield "readings", "Nothing was observed; give readings, `bond`, `upper_looks` or `beside_looks`"
    for index, reading in enumerate(pressing.readings):
        at = f"readings[{index}]"
        if reading.at_s > pressing.dwell_s:
            yield f"{at}.at_s", "After the press opened; take readings while it is closed"
        if (reading.kind == "strip") != (reading.below_c is not None):
            yield f"{at}.below_c", "A strip has a next step that did not turn, and a thermocouple has none"
        elif reading.below_c is not None and reading.below_c <= reading.value_c:
            yield f"{at}.below_c", "Not above value_c, at which the strip turned; swap the two, or correct one"


def _rates_faults(rates: Rates) -> Iterator[tuple[str, str]]:
    """Yield shares of rates that are more than the whole."""
    if rates.orders is not None and Decimal(rates.orders.card_share) >= 1:
        yield "orders.card_share", "A card fee is a share of what is paid; give a share below 1"
    if rates.remnant_share is not None and Decimal(rates.remnant_share) > 1:
        yield "remnant_share", "More than film from the roll; give a share of its price, 1 at most"


def _policy_faults(policy: Policy) -> Iterator[tuple[str, str]]:
    """Yield values of a price policy that give no usable price."""
    if policy.method == "margin" and Decimal(policy.share) >= 1:
        yield "share", "A margin is a share of the price; give a share below 1"
    if policy.method == "list" and Decimal(policy.share) > 0:
        yield "share", "A price list does not depend on the cost; take the share out"
    charges = (policy.per_placement, policy.per_character, policy.setup, policy.floor_per_pair)
    if policy.method == "list" and not any(charge is not None and Decimal(charge.amount) > 0 for charge in charges):
        yield (
            "method",
            "A price list without charges gives a price of zero; give per_placement, per_character or a floor",
        )
    yield from _not_increasing("breaks", "pairs", [step.pairs for step in policy.breaks])
    for index, step in enumerate(policy.breaks):
        if Decimal(step.off) > 1:
            yield f"breaks[{index}].off", "More than the whole price; give a share of it, such as '0.10'"
    if policy.ending is not None:
        yield from _ending_faults(policy.ending, policy.currency)
    if policy.tax is not None and Decimal(policy.tax.rate) >= 1:
        yield "tax.rate", "A tax is a share of the net price; give a share below 1, such as '0.20' for 20 %"
    if policy.tax is not None and policy.tax.line_step is not None:
        yield from _line_step_faults(policy.tax.line_step, policy.currency)


def _ending_faults(ending: Ending, currency: str) -> Iterator[tuple[str, str]]:
    """Yield amounts of a price ending that no price can have."""
    if Decimal(ending.step.amount) <= Decimal(ending.less.amount):
        yield "ending.less", "Not less than the step; give a smaller sum"
    unit = _minor_unit(currency)
    for name, charge in (("step", ending.step), ("less", ending.less)):
        if unit is not None and Decimal(charge.amount) % unit:
            yield f"ending.{name}", f"Finer than the minor unit of {currency}; give a multiple of {unit}"


def _line_step_faults(step: Charge, currency: str) -> Iterator[tuple[str, str]]:
    """Yield a step of a line's tax that the minor unit is no multiple of."""
    unit = _minor_unit(currency)
    if unit is not None and (Decimal(step.amount) <= 0 or unit % Decimal(step.amount)):
        yield (
            "tax.line_step",
            f"The minor unit of {currency} is no multiple of it; give a part of {unit}, or leave it out",
        )


def _minor_unit(currency: str) -> Decimal | None:
    """Return the minor unit of a currency; None where ISO 4217 has none."""
    try:
        digits = iso4217.Currency(currency).exponent
    except ValueError:
        return None
    return None if digits is None else Decimal(1).scaleb(-digits)


def _citation_faults(record: Record, values: Sequence[tuple[str, object]]) -> Iterator[tuple[str, str]]:
    """Yield physical values that no citation covers, and citations of fields that the record lacks.

    A citation of a field covers everything in it. Money and a price policy need none: a shop knows its own. A spread
    needs none: it is a judgement of the value beside it.
    """
    cites: tuple[Citation, ...] | None = getattr(record, "cites", None)
    if cites is None:
        return
    fields, physical = set[str](), set[str]()
    for key, value in values:
        field = field_of(key)
        fields.add(field)
        if _is_number(value) and not isinstance(record, Policy):
            physical.add(field)
    for index, cite in enumerate(cites):
        for place, name in enumerate(cite.values):
            if name not in fields:
                yield f"cites[{index}].values[{place}]", f"The record has no field {name}; name one of its fields"
    cited = {name for cite in cites for name in cite.values}
    for field in sorted(physical):
        parts = field.split(".")
        above = {".".join(parts[:depth]) for depth in range(1, len(parts) + 1)}
        if not field.endswith("spread") and cited.isdisjoint(above):
            yield field, UNCITED


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
