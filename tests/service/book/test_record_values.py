import pytest
from msgspec import structs

from featherline.wire.records import Carrier, Offcut, Platen, Record
from featherline_service.book.loader import load, read_layers
from featherline_service.book.record_values import at, field_of, fields_named, walk
from featherline_service.book.tables.assembly import assemble
from featherline_service.book.tables.layers import laid_over
from featherline_service.book.toml_records import TYPES


def test_walk_yields_the_record_itself_and_its_fields() -> None:
    """The record comes first, then every field under its name."""
    offcut = Offcut(id="one", film="smooth", colour="gorse", width_mm=3, height_mm=4)
    assert list(walk(offcut)) == [
        ("", offcut),
        ("id", "one"),
        ("film", "smooth"),
        ("colour", "gorse"),
        ("width_mm", 3),
        ("height_mm", 4),
        ("outline", None),
    ]


def test_walk_enters_tuples_and_records_within() -> None:
    """A key leads through tuples by index and through records by name."""
    platen = Platen(
        id="one", name="One", pad="felt", length_mm=1, width_mm=1, rim_mm=0, smallest_inside_length_mm=1,
        shoes_at_once=1, faces=("outer", "inner"), cites=(),
    )  # fmt: skip
    carrier = Carrier(material="paper", thickness_mm=1, sticky=True)
    assert dict(walk(platen))["faces[1]"] == "inner"
    assert dict(walk((carrier,), "carriers"))["carriers[0].material"] == "paper"


def test_field_of_a_key_has_no_indices() -> None:
    """Keys of all rows of a table have one field."""
    assert field_of("panels[11].keep_outs[0].d") == "panels.keep_outs.d"


def test_at_finds_a_field_wherever_it_is() -> None:
    """In every row of a table, and nowhere where what should hold it is left out."""
    deck = load().shoes["regatta-deck"]

    assert [(f"panels[{index}].upper", panel.upper) for index, panel in enumerate(deck.panels)] == list(
        at(deck, "panels.upper")
    )
    assert [("pair_value.currency", "EUR")] == list(at(deck, "pair_value.currency"))
    assert [] == list(at(structs.replace(deck, joins=()), "joins.panel"))
    assert [] == list(at(structs.replace(load().policies["counter"], ending=None), "ending.step.currency"))


@pytest.mark.parametrize("type_", TYPES.values(), ids=list(TYPES))
def test_fields_named_are_those_of_the_types(type_: type[Record]) -> None:
    """Every field of a demo record that ends with a name is found by the record's type alone."""
    entries = assemble(laid_over(read_layers(), None)).entries
    shelf = [entry.record for entry in entries.values() if type(entry.record) is type_]
    walked = {field_of(key) for record in shelf for key, _ in walk(record) if key.rpartition(".")[2] == "currency"}

    assert walked <= set(fields_named(type_, "currency"))
    assert walked == {
        field_of(key) for record in shelf for name in fields_named(type_, "currency") for key, _ in at(record, name)
    }
