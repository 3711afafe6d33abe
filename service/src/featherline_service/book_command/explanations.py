"""What a record says, where each value is from, what it is used for, and how much its guesses matter."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any, Final

import msgspec
from msgspec import Struct

from featherline.wire.recipes import RecipeRequest, ShoePanel
from featherline.wire.records import Film
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.record_values import field_of, walk
from featherline_service.book.references import references
from featherline_service.book.tables.merging import within
from featherline_service.book.tables.places import line_of
from featherline_service.book.toml_records import Entry
from featherline_service.book_command.checks import GUESSES
from featherline_service.book_command.opened_books import OpenedBook
from featherline_service.evidence.beliefs import Parameter
from featherline_service.identifiers import listed
from featherline_service.questions.matrix.matrices import middle_size
from featherline_service.questions.recipe.evidence.sensitivities import Sensitivities, band, sensitivities
from featherline_service.questions.recipe.recipe_tasks import read_task
from featherline_service.questions.recipe.recipes import options_of

_MOST_PRESSINGS: Final = 6
_NO_VALUES: Final = ("cites", "id", "name", "note")
_LEAST_DOUBT: Final = 0.005
_MOST_NAMED: Final = 5
_UNKNOWABLE: Final = frozenset({"memory", "invented"})
"""Kinds of sources whose values nobody has measured or published."""


class Value(Struct, frozen=True):
    """A value of a record: its field, the file and line that it is from, its source, and whether it is a guess."""

    field: str
    value: str
    place: str
    source: str
    is_guess: bool
    parameter: Parameter | None = None


class Pressing(Struct, frozen=True):
    """A pressing of the book: a film on a panel, at the setting of its recipe."""

    film: str
    shoe: str
    panel: str
    found: Sensitivities
    dwell_s: float


class Explanation(Struct, frozen=True):
    """A record, its values, the records that name it, and the pressings that it is part of."""

    kind: str
    name: str
    values: tuple[Value, ...]
    named_by: tuple[str, ...]
    pressings: tuple[Pressing, ...]


class UnknownRecordError(LookupError):
    """The book has no such record."""


def explain(opened: OpenedBook, kind: str, name: str) -> Explanation:
    """Return what there is to say of a record.

    Raises:
        UnknownRecordError: The book has no such record.
    """
    entry = next((entry for key, entry in opened.entries.items() if key == (kind, name)), None)
    if entry is None:
        every = [f"{of}/{other}" for of, other in opened.entries]
        wanted = f"{kind}/{name}" if name else kind
        raise UnknownRecordError(f"There is no {wanted} in the book; name a record, such as {listed(wanted, every)}")
    values = tuple(_values(opened, kind, entry))
    parameters = {value.parameter for value in values if value.parameter is not None}
    named_by = tuple(
        f"{of}/{other}"
        for (of, other), record in opened.entries.items()
        if any((target, named) == (kind, name) for _, target, named in references(of, record.record))
    )
    return Explanation(kind, name, values, named_by, tuple(_pressings(opened, parameters)) if parameters else ())


def told(explanation: Explanation) -> Iterator[str]:
    """Yield an explanation, line by line."""
    yield f"{explanation.kind}/{explanation.name}"
    if explanation.named_by:
        yield f"  named by {', '.join(explanation.named_by)}"
    yield from _most_of_the_doubt(explanation)
    for value in explanation.values:
        guess = ", a guess" if value.is_guess else ""
        yield f"  {value.field} = {value.value}  [{value.source}{guess}; {value.place}]"
        if value.parameter is not None:
            yield from (f"    {line}" for line in _effects(explanation, value.parameter))


def _most_of_the_doubt(explanation: Explanation) -> Iterator[str]:
    """Yield the guesses that matter most to a verdict, the first first."""
    doubts: dict[str, float] = {}
    for value in explanation.values:
        shares = [
            share
            for one in explanation.pressings
            if value.is_guess and value.parameter is not None and (effect := one.found.effects.get(value.parameter))
            for share in (effect.bond_share, effect.harm_share)
        ]
        doubts[field_of(value.field)] = max([doubts.get(field_of(value.field), 0.0), *shares])
    most = sorted(((share, field) for field, share in doubts.items() if share > _LEAST_DOUBT), reverse=True)
    if most:
        named = ", ".join(f"{field} ({100 * share:.0f} %)" for share, field in most[:_MOST_NAMED])
        yield f"  guesses that are most of the doubt of a verdict: {named}"


def parameters_of(kind: str, record: Any) -> Mapping[str, Parameter]:  # noqa: ANN401 - a record of any kind
    """Return the parameters of the evidence model that fields of a record are, by field."""
    match kind:
        case "materials":
            return {
                "conductivity_w_mk": ("conductivity", record.id),
                "heat_capacity_j_kgk": ("capacity", record.id),
                "density_kg_m3": ("capacity", record.id),
                "limit.peak_c": ("limit", record.id),
            }
        case "uppers" | "covers":
            return _thicknesses(kind.removesuffix("s"), record)
        case "films":
            return {
                **_thicknesses("film", record),
                "carrier.thickness_mm": ("thickness", "carrier", "carrier", record.carrier.material),
                "adhesive.onset_c": ("onset", record.id),
                "adhesive.activation_kj_mol": ("activation", record.layers[-1].material),
                "needed_share": ("needed-share", record.id),
            }
        case "pads":
            return {"thickness_mm": ("thickness", "pad", "pad", record.material)}
        case _:
            single: Mapping[str, Mapping[str, Parameter]] = {
                "presses": {"platen_spread_k": ("platen", record.id)},
                "contacts": {"conductance_w_m2k": ("contact", record.id)},
            }
            return single.get(kind, {})


def _thicknesses(role: str, record: Any) -> dict[str, Parameter]:  # noqa: ANN401 - with layers
    return {
        f"layers[{index}].thickness_mm": ("thickness", role, layer.name, layer.material)
        for index, layer in enumerate(record.layers)
    }


def _values(opened: OpenedBook, kind: str, entry: Entry) -> Iterator[Value]:
    parameters = parameters_of(kind, entry.record)
    sources = opened.book.sources
    cites = getattr(entry.record, "cites", ())
    for key, value in walk(entry.record):
        first = key.partition(".")[0].partition("[")[0]
        if first in _NO_VALUES or not key or isinstance(value, (msgspec.Struct, tuple)) or value is None:
            continue
        field = field_of(key)
        source = next((cite.source for cite in cites if any(within(field, name) for name in cite.values)), "")
        is_guess = source in GUESSES or (source in sources and sources[source].kind in _UNKNOWABLE)
        parameter = next((found for name, found in parameters.items() if within(key, name)), None)
        yield Value(key, str(value), _place(entry, key), source or "the shop's own", is_guess, parameter)


def _place(entry: Entry, key: str) -> str:
    """Return the file and line that a value of a record is from, or that it is what records of its type have."""
    for number, part in reversed(list(enumerate(entry.parts))):
        if number < entry.defaults and field_of(key) not in entry.by_class:
            break
        line = line_of(part, key, {})
        if line is not None:
            return f"{part.file.parent.name}/{part.file.name}:{line}"
    return "by its class" if field_of(key) in entry.by_class else "where a record says nothing"


def _pressings(opened: OpenedBook, parameters: set[Parameter]) -> Iterator[Pressing]:
    """Yield pressings of the book that depend on some parameters: of each film on each upper one, up to six."""
    book, seen, count = opened.book, set[tuple[str, str]](), 0
    for shoe in book.shoes.values():
        for panel in shoe.panels:
            for film in book.films.values():
                if (film.id, panel.upper) in seen or count == _MOST_PRESSINGS or not _may_need(film, parameters):
                    continue
                seen.add((film.id, panel.upper))
                size = Size(system=shoe.sizes.system, value=middle_size(shoe.sizes))
                onto = ShoePanel(shoe=BookShoe(shoe=shoe.id, size=size), panel=panel.id)
                task, _ = read_task(book, RecipeRequest(film=film.id, onto=onto))
                jobs, settings = options_of(book, task)
                if not settings or settings[0].dwell_s is None:
                    continue
                best, dwell_s = settings[0], settings[0].dwell_s
                spread_k = book.presses[task.press].platen_spread_k
                found = sensitivities(book, jobs[0], best.cover, best.platen_c, dwell_s, spread_k)
                if parameters & found.effects.keys():
                    count += 1
                    yield Pressing(film.id, shoe.id, panel.id, found, dwell_s)


def _may_need(film: Film, parameters: set[Parameter]) -> bool:
    """Tell whether a film may depend on one of some parameters: not on those of another film."""
    own = {name[1] for name in parameters if name[0] in {"onset", "needed-share"}}
    return not own or film.id in own


def _effects(explanation: Explanation, parameter: Parameter) -> Iterator[str]:
    """Yield what a parameter does in the pressing in which it matters most to whether it bonds, and to harm."""
    having = [one for one in explanation.pressings if parameter in one.found.effects]
    if not having:
        return
    bond = max(having, key=lambda one: one.found.effects[parameter].bond_share)
    effect = bond.found.effects[parameter]
    if effect.bond_share:
        (low, high), more = band(effect), math.expm1(bond.found.bond_margin)
        yield (
            f"{bond.film} on {bond.shoe} {bond.panel}: over its band the shortest dwell that bonds changes by "
            f"{100 * low:+.0f} to {100 * high:+.0f} % ({100 * effect.bond_share:.0f} % of the doubt; "
            f"{bond.dwell_s:g} s is {100 * more:.0f} % more than is needed)"
        )
    harm = max(having, key=lambda one: one.found.effects[parameter].harm_share)
    effect = harm.found.effects[parameter]
    if effect.harm_share:
        yield (
            f"{harm.film} on {harm.shoe} {harm.panel}: over its band the {harm.found.nearest} comes "
            f"{1.96 * abs(effect.spare_k):.1f} K nearer to its limit or farther from it "
            f"({100 * effect.harm_share:.0f} % of the doubt; {harm.found.spare_k:.1f} K are to spare)"
        )
