import re
from collections.abc import Iterator
from datetime import date

import pytest
from msgspec import inspect, structs

from featherline.wire.records import Citation, Layer, RecordedPressing
from featherline_service.book.references import REFERENCES, missing_references, references, wrong_colours
from featherline_service.book.shop_book import Book
from featherline_service.book.toml_records import TYPES

PRESSING = RecordedPressing(
    id="one", name="One", date=date(2026, 11, 3), press="swing", cover="silicone-thin", film="smooth", upper="canvas",
    layers=(Layer(name="scrap", material="upper-leather", thickness_mm=1.0),),
    temperature_c=160.0, dwell_s=30.0, bond="holds",
)  # fmt: skip
IDENTIFIER = "^[a-z0-9]+(-[a-z0-9]+)*$(?!\\n)"


def identifiers(type_: inspect.Type, field: str = "") -> Iterator[str]:
    """Yield the field of every identifier in a type."""
    match type_:
        case inspect.StrType(pattern=pattern) if pattern == IDENTIFIER:
            yield field
        case inspect.Metadata(type=described):
            yield from identifiers(described, field)
        case inspect.StructType(fields=fields):
            for one in fields:
                yield from identifiers(one.type, f"{field}.{one.name}" if field else one.name)
        case inspect.VarTupleType(item_type=item):
            yield from identifiers(item, field)
        case inspect.UnionType(types=types):
            for one_type in types:
                yield from identifiers(one_type, field)
        case _:
            pass


def test_every_identifier_of_every_type_is_followed() -> None:
    """An identifier in a record is its id, a citation's source, a known reference; or a colour, a panel or a gauge."""
    found = {
        (kind, field)
        for kind, type_ in TYPES.items()
        for field in identifiers(inspect.type_info(type_))
        if not re.search(r"(^|\.)id$", field) and field != "cites.source"
    }
    parts = {
        ("offcuts", "colour"),
        ("shoes", "joins.panel"),
        ("shoes", "joins.other"),
        ("observations", "readings.gauge"),
    }
    parts |= {("shoes", f"views.{part}.panel") for part in ("parts", "over", "places")}
    parts |= {("shoes", "colours.panels.panel")}
    assert set(REFERENCES) | parts == found


def test_references_have_key_kind_and_id(demo: Book) -> None:
    """Rows, single fields and citations are all followed."""
    found = list(references("covers", demo.covers["silicone-thin"]))
    assert ("layers[0].material", "materials", demo.covers["silicone-thin"].layers[0].material) in found
    assert ("cites[0].source", "sources", demo.covers["silicone-thin"].cites[0].source) in found
    platen = structs.replace(demo.platens["shoe-form"], cites=())
    assert [("pad", "pads", platen.pad)] == list(references("platens", platen))


def test_a_reference_to_nothing_is_dangling(demo: Book) -> None:
    """A record that names another which is not there is told what is missing."""
    platen = structs.replace(demo.platens["shoe-form"], pad="cork", cites=())
    expected = [("pad", "There is no pads/cork; add that record, or name one of felt")]
    assert expected == list(missing_references("platens", platen, {("pads", "felt"), ("films", "cork")}))
    assert list(missing_references("platens", platen, {("pads", "cork")})) == []


@pytest.mark.parametrize("kind", [kind for kind in TYPES if any(key[0] == kind for key in REFERENCES)])
def test_every_reference_of_a_kind_can_dangle(demo: Book, kind: str) -> None:
    """In an empty book, every reference of a kind is dangling under its own key."""
    shelf = [demo.bench] if kind == "benches" else getattr(demo, kind).values() or [PRESSING]
    fields = {re.sub(r"\[\d+\]", "", key) for record in shelf for key, _ in missing_references(kind, record, set())}  # type: ignore[arg-type]
    assert {key[1] for key in REFERENCES if key[0] == kind} == fields - {"cites.source"}


def test_a_citation_of_an_unknown_source_is_dangling(demo: Book) -> None:
    """A citation's source must be on its shelf."""
    cutter = structs.replace(demo.cutters["bench-cutter"], cites=(Citation(values=("speed_mm_s",), source="hearsay"),))
    expected = [("cites[0].source", "There is no sources/hearsay; add that record")]
    assert expected == list(missing_references("cutters", cutter, set()))


def test_an_offcut_has_a_colour_of_its_film(demo: Book) -> None:
    """An offcut in a colour that its film lacks is told the nearest colours; an unknown film is another fault."""
    offcut = structs.replace(demo.offcuts["smooth-gorse-1"], colour="chalky")
    colours = "chalk, buoy, shingle, deepwater, gorse and 2 more"
    assert [("colour", f"smooth does not come in chalky; name one of {colours}")] == list(
        wrong_colours(offcut, demo.films)
    )
    assert list(wrong_colours(demo.offcuts["smooth-gorse-1"], demo.films)) == []
    assert list(wrong_colours(offcut, {})) == []
