"""The reading that would tell most."""

from __future__ import annotations

import pytest
from calibration_requests import calibration, readings
from msgspec.structs import replace

from featherline.wire.calibrations import Calibration
from featherline_service.book.shop_book import Book
from featherline_service.questions.calibration.calibrations import compose


def found(book: Book, *series: dict[str, object]) -> Calibration:
    """Return the answer to readings."""
    return compose(book, calibration(series=list(series))).calibration


def test_the_best_reading_comes_first(book: Book) -> None:
    """Up to three, at different places or with different gauges, and each leaves less spread than there is."""
    best = found(book, readings(book, {}, above="pad")).next
    assert 3 == len(best) == len({(each.above, each.kind) for each in best})
    assert sorted(each.spread_after for each in best) == [each.spread_after for each in best]
    assert all(0.0 < each.spread_after < each.spread_before for each in best)
    assert 1 == len({each.spread_before for each in best})
    assert all(f"{each.spread_after:.0%}" in each.sentence for each in best)


def test_what_was_read_already_is_worth_less(book: Book) -> None:
    """The bond line tells most as long as nothing was read there."""
    pad, bond = readings(book, {}, above="pad"), readings(book, {})
    first, later = found(book, pad).next[0], found(book, pad, bond).next[0]
    assert later.spread_before < first.spread_before
    assert later.spread_before - later.spread_after < first.spread_before - first.spread_after


def test_the_promise_is_kept(book: Book) -> None:
    """Once the reading is taken, with the error that was assumed, the spread is nearly what was said."""
    told = found(book, readings(book, {}, above="pad")).next[0]
    taken = readings(book, {}, above=told.above)
    listed = {reading["at"]: reading for reading in taken["readings"]}
    at = min(listed, key=lambda time: abs(float(time.split()[0]) - told.at_s))
    after = found(book, readings(book, {}, above="pad"), {**taken, "kind": told.kind, "readings": [listed[at]]})
    assert pytest.approx(told.spread_after, rel=0.05) == after.next[0].spread_before


def test_without_windows_there_is_nothing_to_narrow(book: Book) -> None:
    """A film that bonds to no upper of the book's shoes."""
    none = replace(book, films={**book.films, "smooth": replace(book.films["smooth"], bonds_to=("rubber",))})
    found = compose(none, calibration(series=[readings(book, {})])).calibration
    assert ((), (), 0) == (found.windows, found.next, found.windows_left_out)
