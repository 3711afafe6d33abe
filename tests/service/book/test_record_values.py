from featherline.wire.records import Carrier, Offcut, Platen
from featherline_service.book.record_values import field_of, walk


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
