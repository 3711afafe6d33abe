"""What is usual for a class of film, a kind of shoe, a way of opening a press: what a record is laid over.

A record of `defaults/films.toml` has the id of a film's `family`; of `defaults/presses.toml`, of how a press opens; of
`defaults/shoes.toml`, of the `kind` that a shoe of the book names; of any other kind, `any`. A film's peel has defaults
of its own, such as `peel-cold`. `defaults/layers.toml` are layers of uppers, by name.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final, cast

from featherline_service.book.tables.merging import merged, spread_where_unsaid
from featherline_service.book.toml_records import DEFAULTS, Chain, Key, Table
from featherline_service.identifiers import listed

CLASS_DEFAULT: Final = "class-default"
"""The source that values by class are cited from."""
SHOE_KIND: Final = "kind"
_ANY: Final = "any"
_PEEL: Final = "peel-"
_CLASSED: Final = frozenset({"films", "presses", "shoes"})
"""The kinds whose records name their class."""
_FROM_SHOE: Final = ("upper", "colour")
"""What the panels of a shoe take from the shoe, where they say nothing else."""
_OF_UPPER: Final = ("labels", "surface")
"""What an upper takes from its outermost layer."""

_BONDS_BELOW: Final = "bonds_below"
"""Whether what lies under a layer is bonded to it."""

Advice = tuple[str, str]
"""Key and advice of a fault."""


def defaults_of(kind: str, table: Table, chains: Mapping[Key, Chain]) -> Chain:
    """Return what is usual for a record's class."""
    return tuple(part for name in _classes(kind, table) for part in chains.get((f"{DEFAULTS}/{kind}", name), ()))


def unclassed(kind: str, table: Table, chains: Mapping[Key, Chain]) -> frozenset[str]:
    """Return the fields that a class would give a record; none where the record's class is known."""
    shelf = f"{DEFAULTS}/{kind}"
    if kind not in _CLASSED or (shelf, next(_classes(kind, table))) in chains:
        return frozenset()
    classes = (chain for (kind_, name), chain in chains.items() if kind_ == shelf and not name.startswith(_PEEL))
    return frozenset(field for chain in classes for part in chain for field in part.table)


def _classes(kind: str, table: Table) -> Iterator[str]:
    match kind:
        case "films":
            yield str(table.get("family"))
            if isinstance(peel := table.get("peel"), dict):
                yield f"{_PEEL}{peel.get('when')}"
        case "presses":
            yield str(table.get("opening"))
        case "shoes":
            yield str(table.get(SHOE_KIND))
        case _:
            yield _ANY


def single_setting(film: dict[str, object]) -> None:
    """Take a film's setting of one temperature or one dwell for a range that begins and ends there."""
    if isinstance(setting := film.get("setting"), dict):
        for one, other in (("coolest_c", "hottest_c"), ("shortest_s", "longest_s")):
            if one in setting and other not in setting:
                film["setting"] = setting = {**setting, other: setting[one]}


class Expanded(dict[str, object]):
    """A table whose names of layers, or panels by face, are written out; `by_class` are the fields that came so."""

    def __init__(self, table: Mapping[str, object], by_class: frozenset[str] = frozenset()) -> None:
        super().__init__(table)
        self.by_class = by_class


def panels_by_face(shoe: Table, kind: Table) -> Expanded:
    """Return a shoe whose panels have what is usual for their face on its kind, and the shoe's upper and colour.

    Args:
        shoe: The shoe as it is written, over what is usual for its kind.
        kind: What is usual for its kind: its `panels` are by face.
    """
    usual = _by_face(kind.get("panels"))
    plain = {name: value for name, value in shoe.items() if name not in {*_FROM_SHOE, SHOE_KIND}}
    panels = shoe.get("panels")
    if not isinstance(panels, list) or panels is kind.get("panels"):
        plain.pop("panels", None)
        return Expanded(plain)
    common = {name: shoe[name] for name in _FROM_SHOE if isinstance(shoe.get(name), str)}
    by_class: set[str] = set()
    rows: list[object] = []
    for panel in panels:
        face = usual.get(str(panel.get("face")), {}) if isinstance(panel, dict) else {}
        rows.append(merged([face, common, panel]) if isinstance(panel, dict) else panel)
        if isinstance(panel, dict):
            by_class |= {f"panels.{field}" for field in face.keys() - panel.keys() - common.keys()}
    return Expanded({**plain, "panels": rows}, frozenset(by_class - {"panels.face"}))


def upper_of_shoe(shoe: Table, name: str) -> dict[str, object] | None:
    """Return the upper of a shoe that names its layers; None where it names an upper, or none."""
    layers = shoe.get("upper")
    if not isinstance(layers, list):
        return None
    return {"id": name, "name": f"Upper of {shoe.get('name', name)}", "layers": layers}


def layers_by_name(upper: Table, chains: Mapping[Key, Chain]) -> tuple[Expanded, list[Advice]]:
    """Return an upper whose layers by name are written out, and the faults of names that are unknown.

    A layer is a name (``"grain-leather"``), a table with a name and what differs (``{ layer = "grain-leather",
    thickness_mm = 1.2 }``), or a table of all that a layer has.
    """
    layers = upper.get("layers")
    if not isinstance(layers, list):
        return Expanded(upper), []
    known = {name: chain for (kind, name), chain in chains.items() if kind == f"{DEFAULTS}/layers"}
    rows: list[object] = []
    faults: list[Advice] = []
    usual: dict[str, object] = {}
    by_class: set[str] = set()
    below = False
    for index, layer in enumerate(layers):
        named = {"layer": layer} if isinstance(layer, str) else layer
        if not isinstance(named, dict) or "layer" not in named:
            rows.append(layer)
            continue
        name = str(named["layer"])
        if name not in known:
            faults.append((f"layers[{index}]", f"There is no layer {name}; name one of {listed(name, known)}"))
            continue
        row = merged([part.table for part in known[name]])
        if index == 0:
            usual = {field: row[field] for field in _OF_UPPER if field in row}
        own = {field: value for field, value in named.items() if field != "layer"}
        written = {field: value for field, value in row.items() if field not in {"id", *_OF_UPPER}}
        if below:
            written["bonded"] = True
        below = written.pop(_BONDS_BELOW, False) is True
        written = spread_where_unsaid(written, own)
        rows.append({**written, **own})
        by_class |= {f"layers.{field}" for field in written.keys() - own.keys()}
    return Expanded({**usual, **upper, "layers": rows}, frozenset(by_class | usual.keys() - upper.keys())), faults


def unknown_kind(shoe: Table, chains: Mapping[Key, Chain]) -> Iterator[Advice]:
    """Yield key and advice for a shoe of a kind that there is not."""
    shelf = f"{DEFAULTS}/shoes"
    if SHOE_KIND in shoe and (shelf, shoe[SHOE_KIND]) not in chains:
        wanted = str(shoe[SHOE_KIND])
        yield SHOE_KIND, f"There is no kind of shoe {wanted}; name one of {listed(wanted, kinds_of_shoe(chains))}"


def kinds_of_shoe(chains: Mapping[Key, Chain]) -> list[str]:
    """Return the kinds of shoe that there are."""
    return [name for kind, name in chains if kind == f"{DEFAULTS}/shoes"]


def _by_face(panels: object) -> Mapping[str, Table]:
    rows = cast("list[Table]", panels) if isinstance(panels, list) else []
    return {str(row.get("face")): row for row in rows if isinstance(row, dict)}
