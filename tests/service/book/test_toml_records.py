from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import get_args

import pytest

from featherline.wire.records import Kind, Offcut, RecordedPressing
from featherline_service.book.faults import BookFault
from featherline_service.book.shop_book import Book
from featherline_service.book.tables.assembly import Assembled, assemble
from featherline_service.book.tables.layers import Layer, laid_over
from featherline_service.book.timetable import records_of
from featherline_service.book.toml_records import TYPES, Preface, read_folder, read_preface, shelf, text_of

Shop = Callable[..., Path]

OFFCUT = 'id = "one"\nfilm = "smooth"\ncolour = "gorse"\nwidth_mm = 30\nheight_mm = 40.5\n'
ONE = Offcut(id="one", film="smooth", colour="gorse", width_mm=30.0, height_mm=40.5)
HOW = (
    'write `mode = "own"` (a shop of its own: nothing of the demo shop, but the materials, contacts and defaults of '
    'the service), `mode = "overlay"` (add to the book before it) or `mode = "replace"` (start from nothing) in it'
)


def assembled(folder: Path, at: datetime | None = None) -> Assembled:
    """Return the records of a folder alone."""
    return assemble(laid_over([Layer(Preface(mode="replace"), read_folder(folder))], at))


def test_every_kind_has_its_type() -> None:
    """The kinds of the wire and the types that are read are the same, one type a kind."""
    assert get_args(Kind) == tuple(TYPES)
    assert len(TYPES) == len(set(TYPES.values()))


def test_a_file_is_one_record(shop: Shop) -> None:
    """A file of one record is read into its type, whole numbers into floats, and remembers where it was."""
    folder = shop({"offcuts/one.toml": OFFCUT})
    reading = assembled(folder)
    (entry,) = reading.entries.values()
    assert (ONE, folder / "offcuts" / "one.toml", folder) == (entry.record, entry.file, entry.folder)
    assert isinstance(reading.entries["offcuts", "one"].record, Offcut)
    assert isinstance(reading.entries["offcuts", "one"].record.width_mm, float)
    assert reading.faults == ()


def test_records_that_are_written_are_read_as_they_were(shop: Shop, demo: Book) -> None:
    """Every record of the demo book, and an observed pressing with its day, comes back from its text."""
    observed = RecordedPressing(
        id="one", name="One", date=date(2026, 11, 3), press="swing", temperature_c=160.0, dwell_s=30.0, bond="holds"
    )
    shelves = {kind: tuple(records_of(demo, kind).values()) for kind in TYPES} | {"observations": (observed,)}
    reading = assembled(shop({f"{kind}/all.toml": text_of(records) for kind, records in shelves.items()}))
    assert () == reading.faults
    assert {(kind, record.id): record for kind, records in shelves.items() for record in records} == {
        key: entry.record for key, entry in reading.entries.items()
    }


def test_a_file_has_record_tables(shop: Shop) -> None:
    """A file with [[record]] tables is as many records."""
    two = OFFCUT.replace('"one"', '"two"')
    reading = assembled(shop({"offcuts/all.toml": f"[[record]]\n{OFFCUT}\n[[record]]\n{two}"}))
    assert list(reading.entries) == [("offcuts", "one"), ("offcuts", "two")]


def test_hidden_files_and_other_suffixes_are_not_read(shop: Shop) -> None:
    """Only TOML files in the folders of kinds are records."""
    reading = assembled(shop({"offcuts/notes.md": "Notes.", ".git/config": "", "README.md": "Ours."}))
    assert reading.entries == {}
    assert reading.faults == ()


NUMBER = "write one without quotes or a unit, such as 12.5; the field's name ends in its unit"


@pytest.mark.parametrize(
    ("change", "key", "advice"),
    [
        (("width_mm = 30", 'width_mm = "30"'), "width_mm", f"Not a number; {NUMBER}"),
        (("width_mm = 30", "width_mm = 0"), "width_mm", "Too small; give more than 0"),
        (("width_mm = 30", "width_mm = true"), "width_mm", f"Not a number; {NUMBER}"),
        (("width_mm = 30\n", ""), "width_mm", "Missing; add it"),
        (
            ("width_mm", "wide_mm"), "wide_mm",
            "Unknown; take it out, or correct it to one of id, film, colour, width_mm, height_mm, outline",
        ),
    ],
)  # fmt: skip
def test_a_field_that_does_not_fit_is_named(shop: Shop, change: tuple[str, str], key: str, advice: str) -> None:
    """A field of the wrong type or range, a missing and an unknown field are reported with file, record and key."""
    folder = shop({"offcuts/one.toml": OFFCUT.replace(*change)})
    reading = assembled(folder)
    assert reading.faults[0] == BookFault(str(folder / "offcuts" / "one.toml"), "one", key, advice)
    assert reading.broken == {("offcuts", "one")}
    assert reading.entries == {}


def test_a_fault_deep_in_a_record_has_its_whole_key(shop: Shop) -> None:
    """The key leads to the value through tables and rows."""
    text = 'id = "one"\nname = "One"\nlabels = ["other", "none"]\nsurface = "foam"\ncites = []\nlayers = []'
    (fault,) = (f for f in assembled(shop({"uppers/one.toml": text})).faults if f.key != "layers")
    assert fault.key == "labels[1]"
    layers = 'id = "a"\nname = "A"\nlabels = ["other"]\nsurface = "foam"\ncites = []\n[[layers]]\nname = "B"\nthick = 1'
    (fault,) = assembled(shop({"uppers/a.toml": layers}, name="second")).faults
    advice = "correct it to one of bonded, material, name, thickness_mm, thickness_spread"
    assert (fault.key, fault.advice) == ("layers[0]", f"Unknown field `thick`; {advice}")


def test_all_faults_of_a_record_are_told_together(shop: Shop) -> None:
    """Every field that does not fit is named, not only the first."""
    reading = assembled(shop({"offcuts/one.toml": 'id = "one"\nfilm = 3\nwidth = 4'}))
    assert [fault.key for fault in reading.faults] == ["width", "film", "colour", "width_mm", "height_mm"]


def test_a_record_without_an_id_is_named_by_its_position(shop: Shop) -> None:
    """A record with no id cannot be named by it."""
    text = f"[[record]]\n{OFFCUT}\n[[record]]\n" + OFFCUT.replace('id = "one"\n', "")
    (fault,) = assembled(shop({"offcuts/all.toml": text})).faults
    assert (fault.record, fault.key, fault.advice) == ("record 1", "id", "Missing; add it")


@pytest.mark.parametrize("first", [OFFCUT, OFFCUT.replace("30", "-30")])
def test_an_id_is_given_once_in_a_folder(shop: Shop, first: str) -> None:
    """Two records of one kind with one id are refused, also when the first cannot be read."""
    folder = shop({"offcuts/a.toml": first, "offcuts/b.toml": OFFCUT})
    before = folder / "offcuts" / "a.toml"
    expected = BookFault(
        str(folder / "offcuts" / "b.toml"), "one", "id", f"The id is used in {before} already; give this record another"
    )
    assert expected == read_folder(folder).faults[-1]


@pytest.mark.parametrize("text", ["id = ", b"\xff".decode("latin-1")])
def test_a_file_that_is_not_toml_is_named(shop: Shop, text: str) -> None:
    """A file that cannot be parsed is reported with the parser's reason."""
    folder = shop()
    (folder / "offcuts").mkdir()
    (folder / "offcuts" / "one.toml").write_bytes(text.encode("latin-1"))
    (fault,) = read_folder(folder).faults
    assert fault.file == str(folder / "offcuts" / "one.toml")
    assert fault.advice.startswith("Cannot be read as TOML in UTF-8: ")


@pytest.mark.parametrize("text", ["record = 3", "record = [3]", f"name = 3\n[[record]]\n{OFFCUT}"])
def test_record_tables_stand_alone(shop: Shop, text: str) -> None:
    """A file with [[record]] tables must hold nothing else."""
    (fault,) = read_folder(shop({"offcuts/one.toml": text})).faults
    expected = ("record", "A file is either one record or [[record]] tables alone; split it")
    assert expected == (fault.key, fault.advice)


def test_an_unknown_kind_is_named(shop: Shop) -> None:
    """A folder that is no kind of record is reported, with the kinds."""
    folder = shop({"film/one.toml": OFFCUT})
    (fault,) = read_folder(folder).faults
    assert fault.file == str(folder / "film")
    assert fault.advice == f"Not a kind of record; the kinds are {', '.join(TYPES)}"


def test_a_record_outside_its_kind_is_named(shop: Shop) -> None:
    """A TOML file at the top level, which would not be read, is reported."""
    folder = shop({"one.toml": OFFCUT})
    (fault,) = read_folder(folder).faults
    expected = BookFault(
        str(folder / "one.toml"), "", "", "A record belongs in the folder of its kind; move the file there"
    )
    assert expected == fault


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    """A missing folder is reported."""
    (fault,) = read_folder(tmp_path / "nowhere").faults
    assert fault == BookFault(str(tmp_path / "nowhere"), "", "", "There is no such folder; correct the path")


@pytest.mark.parametrize("mode", ["overlay", "replace"])
def test_the_mode_is_read(shop: Shop, mode: str) -> None:
    """`book.toml` says whether a folder overlays or replaces."""
    assert Preface(mode=mode) == read_preface(shop(preface=f'mode = "{mode}"  # as we like it'))  # type: ignore[arg-type]


def test_a_folder_without_a_mode_is_refused(shop: Shop) -> None:
    """The fault of a folder without `book.toml` says how to write it."""
    folder = shop(preface=None)
    assert BookFault(str(folder / "book.toml"), "", "", f"There is no such file; {HOW}") == read_preface(folder)


@pytest.mark.parametrize(
    ("preface", "why"),
    [
        ("", "Object missing required field `mode`"),
        ('mode = "add"', "Invalid enum value 'add' - at `$.mode`"),
        ('mode = "overlay"\nname = "Ours"', "Object contains unknown field `name`"),
    ],
)
def test_a_mode_that_is_none_is_refused(shop: Shop, preface: str, why: str) -> None:
    """`book.toml` holds one of the two modes and nothing else."""
    folder = shop(preface=preface)
    expected = BookFault(
        str(folder / "book.toml"), "", "mode", f"{why}; {HOW}, and nothing else but `valid_from` and `currency`"
    )
    assert expected == read_preface(folder)


NO_INSTANT = "Not an instant; give date, time in whole seconds and offset, such as 2027-01-01T00:00:00+01:00"


def test_an_overlay_begins_at_an_instant(shop: Shop) -> None:
    """`valid_from` of a folder is read in UTC, whatever its offset."""
    folder = shop(preface='mode = "overlay"\nvalid_from = 2027-01-01T00:00:00+01:00')
    assert Preface(mode="overlay", valid_from=datetime(2026, 12, 31, 23, tzinfo=UTC)) == read_preface(folder)


@pytest.mark.parametrize(
    "start", ['"2027-01-01T00:00:00Z"', "2027-01-01", "2027-01-01T00:00:00", "2027-01-01T00:00:00.5Z", "7"]
)
def test_what_is_no_instant_is_refused(shop: Shop, start: str) -> None:
    """A text, a date, a time without an offset and parts of a second are refused, of a folder and of a record."""
    folder = shop(
        {"offcuts/one.toml": f"{OFFCUT}valid_from = {start}"}, preface=f'mode = "overlay"\nvalid_from = {start}'
    )
    assert BookFault(str(folder / "book.toml"), "", "valid_from", NO_INSTANT) == read_preface(folder)
    reading = read_folder(folder)
    assert (BookFault(str(folder / "offcuts" / "one.toml"), "one", "valid_from", NO_INSTANT),) == reading.faults
    assert {("offcuts", "one")} == reading.broken


def test_a_record_comes_again_with_another_instant(shop: Shop) -> None:
    """Records of one id follow one another by their instants, which are no part of them."""
    dated = "\n".join(
        f"[[record]]\n{OFFCUT.replace('30', str(width))}valid_from = {start}"
        for width, start in ((50, "2027-02-01T00:00:00Z"), (40, "2027-01-01T00:00:00Z"))
    )
    folder = shop({"offcuts/one.toml": OFFCUT, "offcuts/later.toml": dated})
    assert () == read_folder(folder).faults

    def width(*at: int) -> object:
        instant = datetime(*at, tzinfo=UTC) if at else None  # type: ignore[misc,arg-type]
        (entry,) = assembled(folder, instant).entries.values()
        return getattr(entry.record, "width_mm", None)

    widths = [width(), width(2026, 12, 31), width(2027, 1, 1), width(2027, 1, 31), width(2027, 2, 1)]
    assert [30.0, 30.0, 40.0, 40.0, 50.0] == widths


def test_an_instant_is_used_once(shop: Shop) -> None:
    """Two records of one id from the same instant on are reported, also in different offsets."""
    folder = shop(
        {
            "offcuts/a.toml": f"{OFFCUT}valid_from = 2027-01-01T00:00:00Z",
            "offcuts/b.toml": f"{OFFCUT}valid_from = 2027-01-01T01:00:00+01:00",
        }
    )
    (fault,) = read_folder(folder).faults
    advice = f"The id is used in {folder / 'offcuts' / 'a.toml'} already; give this record another"
    assert BookFault(str(folder / "offcuts" / "b.toml"), "one", "id", advice) == fault


def test_a_mode_that_is_not_toml_is_refused(shop: Shop) -> None:
    """A `book.toml` that cannot be parsed is reported."""
    fault = read_preface(shop(preface="mode"))
    assert isinstance(fault, BookFault)
    assert fault.advice.startswith("Cannot be read as TOML in UTF-8: ")


def test_a_shelf_has_the_records_of_one_type(shop: Shop) -> None:
    """A shelf holds one kind by id and cannot be changed."""
    entries = assembled(shop({"offcuts/one.toml": OFFCUT, "sources/one.toml": SOURCE})).entries
    offcuts = shelf(entries, Offcut)
    assert {"one": ONE} == offcuts
    with pytest.raises(TypeError):
        offcuts["two"] = ONE  # type: ignore[index]


SOURCE = 'id = "one"\nname = "One"\nkind = "memory"\nreference = "Recalled."'
