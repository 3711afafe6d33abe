import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from msgspec.structs import replace

from featherline.plugins import Installed, PluginError, Shelves, Supplied
from featherline.wire import Charge, Citation, Film, Platen, Plugin, Roll, Source
from featherline_service.book.faults import BookError, BookFault
from featherline_service.book.loader import demo_folder, load, load_timetable
from featherline_service.book.shop_book import Book
from featherline_service.plugins import Plugins

Shop = Callable[..., Path]
Faults = Callable[..., list[BookFault]]

OFFCUT = 'id = "{id}"\nfilm = "smooth"\ncolour = "gorse"\nwidth_mm = {width}\nheight_mm = 40'
NO_CORK = "There is no films/cork; add that record, or name one of flock, flake, smooth, stretch, reflective and 3 more"
FONT = 'id = "plain"\nname = "Ours"\nfile = "fonts/Own.ttf"\nlicence = "OFL-1.1"\n'


def copied(folder: Path) -> Path:
    """Return a copy of the demo book that replaces it."""
    shutil.copytree(demo_folder(), folder)
    (folder / "book.toml").write_text('mode = "replace"', "utf-8")
    return folder


def test_the_demo_book_holds_what_the_shop_has(demo: Book) -> None:
    """Every shelf of the demo book but that of observations has records, under their own ids."""
    others = ("revision", "since", "until", "bench", "plugins", "observations")
    shelves = {name: getattr(demo, name) for name in Book.__struct_fields__ if name not in others}
    assert [] == [name for name, shelf in shelves.items() if not shelf]
    del shelves["font_files"], shelves["practices"]
    assert all(name == record.id for shelf in shelves.values() for name, record in shelf.items())
    assert demo.bench.invented
    stated = [(film.id, statement) for film in demo.films.values() for statement in film.practices]
    assert stated == list(demo.practices.values())


def test_loading_twice_gives_the_same_revision(demo: Book) -> None:
    """The revision is of the content."""
    assert demo.revision == load().revision


def test_a_copy_of_the_demo_book_has_its_revision(demo: Book, tmp_path: Path) -> None:
    """A book that replaces the demo book with the same records, elsewhere, is the same book."""
    assert demo.revision == load([copied(tmp_path / "copy")]).revision


def test_comments_and_the_division_into_files_do_not_count(demo: Book, tmp_path: Path) -> None:
    """A record may move to another file, and be commented, without another revision."""
    folder = copied(tmp_path / "copy")
    several = folder / "offcuts" / "offcuts.toml"
    head, first, *others = several.read_text("utf-8").split("[[record]]\n")
    several.write_text("# Ours.\n" + head + "".join(f"[[record]]\n{other}" for other in reversed(others)), "utf-8")
    (folder / "offcuts" / "a-first.toml").write_text(first, "utf-8")
    assert demo.revision == load([folder]).revision


def test_an_overlay_adds_and_takes_the_place_of_records(demo: Book, shop: Shop) -> None:
    """A record with the id of a former one takes its place; every other stays; the revision changes."""
    files = {
        "offcuts/a.toml": OFFCUT.format(id="smooth-gorse-1", width=5),
        "offcuts/b.toml": OFFCUT.format(id="new", width=6),
    }
    book = load([shop(files)])
    assert book.offcuts["smooth-gorse-1"].width_mm == 5.0
    assert book.offcuts["new"].width_mm == 6.0
    assert {*demo.offcuts, "new"} == set(book.offcuts)
    assert dict(demo.films) == dict(book.films)
    assert demo.revision != book.revision


def test_later_folders_lie_over_earlier_ones(shop: Shop) -> None:
    """Folders are laid over one another in the given order."""
    first = shop({"offcuts/a.toml": OFFCUT.format(id="new", width=5)}, name="first")
    second = shop({"offcuts/a.toml": OFFCUT.format(id="new", width=6)}, name="second")
    assert load([first, second]).offcuts["new"].width_mm == 6.0
    assert load([second, first]).offcuts["new"].width_mm == 5.0


def test_a_replacing_folder_starts_anew(demo: Book, shop: Shop, tmp_path: Path) -> None:
    """A replacing folder leaves nothing of the books before it, nor their faults."""
    folder = copied(tmp_path / "copy")
    (folder / "offcuts" / "offcuts.toml").unlink()
    before = shop({"offcuts/a.toml": OFFCUT.format(id="new", width=-5)})
    book = load([before, folder])
    assert dict(book.offcuts) == {}
    assert dict(demo.shoes) == dict(book.shoes)


def test_an_overlay_of_a_replacing_folder_is_not_of_the_demo_book(shop: Shop, tmp_path: Path) -> None:
    """An overlay applies to the book before it."""
    folder = copied(tmp_path / "copy")
    (folder / "offcuts" / "offcuts.toml").unlink()
    assert set(load([folder, shop({"offcuts/a.toml": OFFCUT.format(id="new", width=5)})]).offcuts) == {"new"}


def test_a_folder_must_say_what_it_does(shop: Shop, faults: Faults) -> None:
    """A folder without a mode is refused, and its other faults are reported as well."""
    folder = shop({"offcuts/a.toml": OFFCUT.format(id="new", width=-5)}, preface=None)
    assert [fault.key for fault in faults(folder)] == ["", "width_mm"]
    assert faults(folder)[0].file == str(folder / "book.toml")


def test_all_faults_are_told_together(shop: Shop) -> None:
    """Faults of reading, of references, of the whole book and of fonts are in one message, a line each."""
    files = {
        "offcuts/a.toml": OFFCUT.format(id="a", width=-5),
        "offcuts/b.toml": OFFCUT.format(id="b", width=5).replace("smooth", "cork"),
        "fonts/own.toml": FONT,
    }
    folder = shop(files)
    with pytest.raises(BookError) as caught:
        load([folder])
    expected = [
        f"{folder}/offcuts/a.toml:4: a: width_mm: Too small; give more than 0",
        f"{folder}/offcuts/b.toml:2: b: film: {NO_CORK}",
        f"{folder}/fonts/own.toml:3: plain: file: There is no file {folder}/fonts/Own.ttf; add it, or name another",
    ]
    assert sorted(expected) == sorted(str(caught.value).splitlines())


def test_a_fault_of_a_book_to_come_says_from_when_on(shop: Shop, faults: Faults) -> None:
    """Every book is checked: what is wrong from an instant on is told once, with the instant."""
    files = {
        "offcuts/a.toml": OFFCUT.format(id="a", width=5).replace("smooth", "cork")
        + "\nvalid_from = 2027-01-01T00:00:00Z",
        "offcuts/b.toml": OFFCUT.format(id="b", width=5) + "\nvalid_from = 2027-02-01T00:00:00Z",
    }
    folder = shop(files)
    expected = BookFault(
        str(folder / "offcuts" / "a.toml"),
        "a",
        "film",
        f"{NO_CORK} (from 2027-01-01T00:00:00Z on)",
        2,
    )
    assert [expected] == faults(folder)


def test_a_revision_that_says_the_same_is_none_of_its_own(shop: Shop) -> None:
    """An instant at which nothing changes begins no book; one at which the old prices come back does."""
    texts = [
        f"[[record]]\n{OFFCUT.format(id='new', width=width)}\nvalid_from = 2027-0{month}-01T00:00:00Z"
        for month, width in ((1, 5), (2, 5), (3, 6), (4, 5))
    ]
    books = load_timetable([shop({"offcuts/new.toml": "\n".join(texts)})]).books
    assert [None, 1, 3, 4] == [book.since and book.since.month for book in books]
    assert [1, 3, 4, None] == [book.until and book.until.month for book in books]
    assert books[1].revision == books[3].revision


def test_books_that_ended_long_ago_are_left_out(demo: Book, shop: Shop) -> None:
    """A book that ended at the instant asked for, or before, is not loaded; the first one left begins where it does."""
    start = datetime(2027, 1, 1, tzinfo=UTC)
    folder = shop({"offcuts/new.toml": OFFCUT.format(id="new", width=5) + "\nvalid_from = 2027-01-01T00:00:00Z"})
    assert [None, start] == [book.since for book in load_timetable([folder], not_before=start - SECOND).books]
    assert [start] == [book.since for book in load_timetable([folder], not_before=start).books]
    assert demo.revision == load([folder], at=start - SECOND).revision
    assert "new" in load([folder], at=start).offcuts


SECOND = timedelta(seconds=1)


def test_a_font_comes_from_the_folder_of_its_record(demo: Book, shop: Shop) -> None:
    """A font without a package is found in the folder that its record is in, and what is in it counts."""
    one = shop({"fonts/own.toml": FONT, "fonts/Own.ttf": "outlines"})
    two = shop({"fonts/own.toml": FONT, "fonts/Own.ttf": "other outlines"}, name="second")
    assert one / "fonts" / "Own.ttf" == load([one]).font_files["plain"]
    assert demo.font_files["bold"] == load([one]).font_files["bold"]
    assert load([one]).revision != load([two]).revision


def test_a_font_that_is_not_there_is_named(shop: Shop, faults: Faults) -> None:
    """A font whose file is missing is reported under its key."""
    folder = shop({"fonts/own.toml": f'package = "font_of_ours"\n{FONT}'})
    expected = BookFault(
        str(folder / "fonts" / "own.toml"),
        "plain",
        "file",
        "The package font_of_ours is not installed; install it, or name another",
        4,
    )
    assert [expected] == faults(folder)


def test_shelves_cannot_be_changed(demo: Book) -> None:
    """A book is read-only."""
    with pytest.raises(TypeError):
        demo.films["smooth"] = demo.films["flock"]  # type: ignore[index]
    with pytest.raises(AttributeError):
        demo.revision = ""  # type: ignore[misc]
    assert isinstance(hash(demo), int)


LIST = Source(id="list-7", name="Price list 7", kind="invented", reference="Invented for a test.")


class Dearer:
    """A record source that gives a film another price."""

    def __init__(self, source: Source = LIST, *, film: str = "smooth", width_mm: float = 500.0) -> None:
        self._source = source
        self._film = film
        self._width_mm = width_mm

    def supply(self, book: Shelves) -> Supplied:
        """Return the film at its new price, cited."""
        film = book["films"][self._film]
        assert isinstance(film, Film)
        roll = Roll(width_mm=self._width_mm, length_m=25.0, price=Charge(amount="360.00", currency="EUR"))
        cites = [cite for cite in film.cites if cite.values != ("roll.price",)]
        cites.append(Citation(values=("roll.price",), source=self._source.id))
        return Supplied(source=self._source, records=(replace(film, roll=roll, cites=tuple(cites)),))


def supplied_by(*sources: object) -> Plugins:
    """Return plug-ins in force that supply records."""
    own = [
        Installed(Plugin(name=f"list-{place}", kind="record-source", distribution="quay-lists", version="1.0"), source)
        for place, source in enumerate(sources)
    ]
    return Plugins(record_sources=tuple(own), listed=tuple(each.plugin for each in own))


def test_a_record_source_is_laid_over_the_book(demo: Book) -> None:
    """Supplied records and their source are in the book and in its revision."""
    book = load((), supplied_by(Dearer()))
    assert ("360.00", "180.00") == (book.films["smooth"].roll.price.amount, demo.films["smooth"].roll.price.amount)
    assert LIST == book.sources["list-7"]
    assert demo.revision != book.revision
    assert book.revision == load((), supplied_by(Dearer())).revision
    assert book.films["flock"] == demo.films["flock"]


def test_the_revision_has_the_plugins(demo: Book) -> None:
    """A plug-in, or another version of it, changes the revision, whatever the records are."""
    plugin = Plugin(name="own", kind="check", distribution="quay-rules", version="1.0")
    one, other = (load((), Plugins(listed=(each,))).revision for each in (plugin, replace(plugin, version="1.1")))
    assert 3 == len({demo.revision, one, other})


def test_what_a_record_source_supplies_is_checked_with_the_book() -> None:
    """A fault of a plug-in's record names the plug-in in place of a file."""
    with pytest.raises(BookError) as told:
        load((), supplied_by(Dearer(replace(LIST, id="list-8")), NoReference()))
    (fault,) = told.value.faults
    assert "The record source 'list-1' of quay-lists 1.0" == fault.file
    assert ("no-pad", "pad") == (fault.record, fault.key)


class NoReference:
    """A record source that gives a platen whose pad the book lacks."""

    def supply(self, book: Shelves) -> Supplied:
        """Return the platen."""
        platen = next(iter(book["platens"].values()))
        assert isinstance(platen, Platen)
        cites = tuple(replace(cite, source=LIST.id) for cite in platen.cites)
        return Supplied(source=LIST, records=(replace(platen, id="no-pad", pad="no-such-pad", cites=cites),))


@pytest.mark.parametrize(
    ("source", "said"),
    [
        (Dearer(film="no-such-film"), "'list-0' of quay-lists 1.0 failed: KeyError: 'no-such-film'. Mend it"),
        (Dearer(width_mm=-1.0), "cannot be used: Film smooth: Expected `float` > 0.0"),
        (Dearer(replace(LIST, id="invented")), "names its source 'invented', as .*sources.toml does"),
    ],
)
def test_a_record_source_that_fails_stops_the_start(source: Dearer, said: str) -> None:
    """No book is loaded, and the message names the plug-in and the fault."""
    with pytest.raises(PluginError, match=said):
        load((), supplied_by(source))


def test_a_price_policy_has_a_name_of_its_own() -> None:
    """A policy of the book and a plug-in's must have different names, because requests could mean either."""
    policy = Installed(Plugin(name="counter", kind="price-policy", distribution="quay-rules", version="1.0"), None)
    with pytest.raises(BookError, match=r"counter: id: The price policy 'counter' of quay-rules 1.0 has this name"):
        load((), Plugins(price_policies={"counter": policy}))


def test_a_bench_may_name_a_price_policy_by_a_plugin(tmp_path: Path) -> None:
    """The bench's policy can be a plug-in's."""
    bench = (demo_folder() / "benches" / "bench.toml").read_text("utf-8")
    (tmp_path / "benches").mkdir()
    (tmp_path / "benches" / "bench.toml").write_text(bench.replace('policy = "counter"', 'policy = "own"'), "utf-8")
    (tmp_path / "book.toml").write_text('mode = "overlay"', "utf-8")
    policy = Installed(Plugin(name="own", kind="price-policy", distribution="quay-rules", version="1.0"), None)
    assert "own" == load([tmp_path], Plugins(price_policies={"own": policy})).bench.policy
    with pytest.raises(BookError, match="There is no policies/own"):
        load([tmp_path])
