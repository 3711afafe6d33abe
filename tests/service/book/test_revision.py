import re
from pathlib import Path

from msgspec import structs

from featherline.wire.records import Kind, Offcut, Record, Source
from featherline_service.book.revision import revision

OFFCUT = Offcut(id="one", film="smooth", colour="gorse", width_mm=30, height_mm=40)
SOURCE = Source(id="one", name="One", kind="memory", reference="Recalled.")
RECORDS: dict[tuple[Kind, str], Record] = {("offcuts", "one"): OFFCUT, ("sources", "one"): SOURCE}


def test_a_revision_is_a_digest() -> None:
    """A revision names its algorithm and has 64 hexadecimal digits."""
    assert re.fullmatch("sha256:[0-9a-f]{64}", revision(RECORDS, {}))


def test_a_revision_is_of_the_canonical_form() -> None:
    """The digest is of one JSON object with sorted keys and no white space, as `printf ... | sha256sum` gives it."""
    # printf '{"font_files":{},"records":{"offcuts":{"one":{"colour":"gorse","film":"smooth","height_mm":40.0,
    # "id":"one","outline":null,"width_mm":30.0}}}}' on one line | sha256sum
    offcut = structs.replace(OFFCUT, width_mm=30.0, height_mm=40.0)
    expected = "sha256:773fe8b4b50ac9d732a82e2296d3a04b520c49d4e4246a5dfa67442bf09f3017"
    assert expected == revision({("offcuts", "one"): offcut}, {})


def test_a_revision_does_not_depend_on_order() -> None:
    """The order in which records were read does not count."""
    assert revision(RECORDS, {}) == revision(dict(reversed(RECORDS.items())), {})


def test_a_revision_depends_on_every_value() -> None:
    """Another value, id, kind or record is another revision."""
    other = structs.replace(OFFCUT, width_mm=30.000001)
    books: list[dict[tuple[Kind, str], Record]] = [
        RECORDS,
        {**RECORDS, ("offcuts", "one"): other},
        {**RECORDS, ("offcuts", "two"): OFFCUT},
        {("sources", "one"): SOURCE},
        {("shoes", "one"): OFFCUT, ("sources", "one"): SOURCE},
    ]
    assert len(books) == len({revision(book, {}) for book in books})


def test_a_revision_depends_on_what_is_in_the_fonts(tmp_path: Path) -> None:
    """Another content of a font's file is another revision; another place of the same file is not."""
    here, there, other = tmp_path / "here", tmp_path / "there", tmp_path / "other"
    here.write_bytes(b"outlines")
    there.write_bytes(b"outlines")
    other.write_bytes(b"other outlines")
    assert revision(RECORDS, {"plain": here}) == revision(RECORDS, {"plain": there})
    assert revision(RECORDS, {"plain": here}) != revision(RECORDS, {"plain": other})
