from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from featherline.wire import RecordedPressing, Shelf
from featherline_service.book.loader import load, load_timetable
from featherline_service.book.shop_book import Book
from featherline_service.book.timetable import Timetable, changed, changes

Shop = Callable[..., Path]
NEW_YEAR = datetime(2027, 1, 1, tzinfo=UTC)
OFFCUT = 'id = "{id}"\nfilm = "smooth"\ncolour = "gorse"\nwidth_mm = {width}\nheight_mm = 40\n'
DAY = timedelta(days=1)


def timetable_of(demo: Book, *days: int) -> Timetable:
    """Return a timetable whose book changes on some days of the new year."""
    starts = [None, *(NEW_YEAR + day * DAY for day in days)]
    ends = [*starts[1:], None]
    return Timetable(
        [
            replace(demo, revision=f"sha256:{number:064x}", since=since, until=until)
            for number, (since, until) in enumerate(zip(starts, ends, strict=True))
        ]
    )


@given(
    days=st.lists(st.integers(0, 400), max_size=6, unique=True).map(sorted),
    asked=st.lists(st.floats(-10, 410), min_size=1, max_size=20).map(sorted),
)
def test_one_book_is_in_force_at_an_instant_and_none_comes_back(
    demo: Book, days: list[int], asked: list[float]
) -> None:
    """At every instant exactly one book is in force; as time goes on its number never falls."""
    timetable = timetable_of(demo, *days)
    instants = [NEW_YEAR + day * DAY for day in asked]
    for instant in instants:
        in_force = [
            book
            for book in timetable.books
            if (book.since is None or book.since <= instant) and (book.until is None or instant < book.until)
        ]
        assert [timetable.at(instant)] == in_force
    numbers = [timetable.number_at(instant.timestamp()) for instant in instants]
    assert sorted(numbers) == numbers


def test_a_book_is_in_force_from_its_instant_on(demo: Book) -> None:
    """The new book answers at its instant, the old one until just before."""
    timetable = timetable_of(demo, 0)
    before, after = timetable.books
    assert [before, after] == [timetable.at(NEW_YEAR - timedelta(microseconds=1)), timetable.at(NEW_YEAR)]


@pytest.mark.parametrize("days", [(3, 2), (2, 2)])
def test_books_follow_one_another(demo: Book, days: tuple[int, ...]) -> None:
    """Books in another order than that of time, and two from the same instant on, make no timetable."""
    with pytest.raises(ValueError, match="later than that of the book before it"):
        timetable_of(demo, *days)


def test_a_later_book_has_an_instant(demo: Book) -> None:
    """Only the first book may have begun at no known instant."""
    with pytest.raises(ValueError, match="needs a `since`"):
        Timetable([demo, demo])


def test_what_a_revision_changes_is_told(demo: Book) -> None:
    """Records that are added, taken away or changed are named by kind and id."""
    bench = replace(demo.bench, name="Another bench")
    offcuts = dict(demo.offcuts)
    first, second, *_ = sorted(offcuts)
    offcuts["new"] = replace(offcuts.pop(first), id="new")
    offcuts[second] = replace(offcuts[second], width_mm=7.0)
    after = replace(demo, bench=bench, offcuts=offcuts)
    assert [
        Shelf(kind="offcuts", ids=("new", first, second)),
        Shelf(kind="benches", ids=(demo.bench.id,)),
    ] == list(changes(demo, after))
    assert [] == list(changes(demo, replace(demo)))


dated = st.tuples(st.sampled_from(["tide", "ebb"]), st.integers(1, 9), st.integers(0, 3) | st.none())


@settings(max_examples=5, deadline=None, phases=[Phase.generate])
@given(
    records=st.lists(dated, min_size=1, max_size=5, unique_by=lambda record: (record[0], record[2])),
    folder_day=st.integers(0, 3) | st.none(),
)
def test_the_book_of_an_instant_has_what_counts_then(
    demo: Book,
    tmp_path_factory: pytest.TempPathFactory,
    records: list[tuple[str, int, int | None]],
    folder_day: int | None,
) -> None:
    """The book in force has of each record the latest that counts, and none while the folder or record is to come."""
    folder = tmp_path_factory.mktemp("dated")
    write(folder, records, folder_day)
    timetable = load_timetable([folder])
    for day in range(-1, 5):
        counting = {
            id_: float(width)
            for id_, width, start in sorted(records, key=lambda record: -1 if record[2] is None else record[2])
            if (start is None or start <= day) and (folder_day is None or folder_day <= day)
        }
        book = timetable.at(NEW_YEAR + day * DAY)
        assert counting == {id_: book.offcuts[id_].width_mm for id_ in book.offcuts.keys() - demo.offcuts.keys()}
    assert len(timetable.books) <= 1 + len({start for *_, start in records} | {folder_day})


def test_a_book_has_the_revision_of_its_records_alone(shop: Shop) -> None:
    """The book from an instant on is the book, by its revision, that has the same records without instants."""
    dated = load_timetable([shop({"offcuts/new.toml": OFFCUT.format(id="new", width=5) + valid_from(0)})])
    plain = load([shop({"offcuts/new.toml": OFFCUT.format(id="new", width=5)}, name="plain")])
    assert [load().revision, plain.revision] == [book.revision for book in dated.books]


def write(folder: Path, records: list[tuple[str, int, int | None]], folder_day: int | None) -> None:
    """Write an overlay of offcuts, each from a day on or always, which counts from a day on or always."""
    tables = [f"[[record]]\n{OFFCUT.format(id=id_, width=width)}{valid_from(day)}" for id_, width, day in records]
    (folder / "offcuts").mkdir()
    (folder / "offcuts" / "offcuts.toml").write_text("\n".join(tables))
    (folder / "book.toml").write_text(f'mode = "overlay"\n{valid_from(folder_day)}')


def valid_from(day: int | None) -> str:
    """Return the line that says from which day on something counts."""
    return "" if day is None else f"valid_from = {NEW_YEAR + day * DAY:%Y-%m-%dT%H:%M:%SZ}"


def test_observations_that_a_revision_changes_are_told_apart(demo: Book) -> None:
    """They are no kind of a shelf, and are told by their ids."""
    observed = RecordedPressing(
        id="one", name="One", date=date(2026, 11, 3), press="swing", temperature_c=160.0, dwell_s=30.0, bond="holds"
    )
    after = replace(demo, observations={"one": observed})
    assert [] == list(changes(demo, after))
    assert ("one",) == changed(demo, after, "observations")
    assert () == changed(after, after, "observations")
