from __future__ import annotations

import math
import os
from pathlib import Path

import big_books
import pytest
from msgspec.structs import replace

from featherline.wire.records import KeepOut
from featherline_service.book.faults import BookError
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.questions.shoes import book_drawings
from featherline_service.questions.shoes.panels import panel_area
from featherline_service.runtime import cache
from featherline_service.shape.outlines.svg import paths


@pytest.fixture(scope="module")
def book() -> Book:
    """Return the demo book."""
    return load()


def test_the_demo_book_can_be_drawn(book: Book) -> None:
    """Nothing is wrong with any panel of it, nor with a platen that has an outline of its own."""
    round_pad = replace(book.platens["shoe-form"], outline="M0 0H90V40H0Z")

    book_drawings.check(replace(book, platens={**book.platens, "shoe-form": round_pad}))


def test_every_drawing_that_is_none_is_told(book: Book) -> None:
    """A line that encloses nothing or ends elsewhere, a half-written path and a platen of no area, each at its key."""
    clog, boot = book.shoes["ward-clog"], book.shoes["turf-boot"]
    line = replace(clog.panels[0], outline="M0 0H60")
    open_ = replace(clog.panels[1], outline="M0 0H60V30H0")
    half = replace(boot.panels[1], keep_outs=(KeepOut(what="seam", d="M0 0L9"), *boot.panels[1].keep_outs))
    shoes = {
        **book.shoes,
        "ward-clog": replace(clog, panels=(line, open_, *clog.panels[2:])),
        "turf-boot": replace(boot, panels=(boot.panels[0], half, *boot.panels[2:])),
    }
    flat = {**book.platens, "shoe-form": replace(book.platens["shoe-form"], outline="M0 0H60")}

    with pytest.raises(BookError) as told:
        book_drawings.check(replace(book, shoes=shoes, platens=flat))

    assert {
        ("shoes", "ward-clog", "panels[0].outline"),
        ("shoes", "ward-clog", "panels[1].outline"),
        ("shoes", "turf-boot", "panels[1].keep_outs[0].d"),
        ("platens", "shoe-form", "outline"),
    } == {(fault.file, fault.record, fault.key) for fault in told.value.faults}
    assert all(fault.advice for fault in told.value.faults)


def test_joined_panels_lie_beside_each_other(book: Book) -> None:
    """Ends off their outlines, edges of two lengths, and panels that would lie on one another are told."""
    deck = book.shoes["regatta-deck"]
    good, right = deck.joins[0], deck.joins[1]
    (top, bottom) = good.other_ends_mm
    off = replace(good, ends_mm=((49.0, 4.0), (30.0, 30.0)))
    short = replace(good, other_ends_mm=(top, (1.1, 31.0)))
    folded = replace(good, other_ends_mm=(bottom, top))
    shoe = replace(deck, joins=(off, short, folded, right))

    with pytest.raises(BookError) as told:
        book_drawings.check(replace(book, shoes={**book.shoes, "regatta-deck": shoe}))

    faults = {fault.key: fault.advice for fault in told.value.faults}
    assert ["joins[0].ends_mm", "joins[1].other_ends_mm", "joins[2].other_ends_mm"] == list(faults)
    assert "off the outline of heel" in faults["joins[0].ends_mm"]
    assert "mm long" in faults["joins[1].other_ends_mm"]
    assert "other order" in faults["joins[2].other_ends_mm"]


def test_a_book_of_plain_drawings_is_checked_without_drawing_them(book: Book, tmp_path: Path) -> None:
    """Of 40 more shoes nothing is drawn: what nobody asked for is not built, however many there are."""
    big = load([big_books.write(tmp_path / "book", shoes=40, films=5)])

    drawn = []
    for each in (book, big):
        cache.clear()
        book_drawings.check(each)
        drawn.append(cache.statistics_of(paths.region).computed)
        assert 0 == cache.statistics_of(panel_area).computed

    assert drawn[0] == drawn[1]


def test_a_fault_among_many_plain_drawings_is_told(tmp_path: Path) -> None:
    """A drawing and a join, in two of 40 shoes that are otherwise plain."""
    big = load([big_books.write(tmp_path / "book", shoes=40, films=0)])
    drawn, joined = (big.shoes[big_books.identifier(number)] for number in (17, 22))
    line = replace(drawn.panels[3], outline="M0 0 L60 0 Z")
    folded = replace(joined.joins[1], other_ends_mm=joined.joins[1].other_ends_mm[::-1])
    wrong = {
        drawn.id: replace(drawn, panels=(*drawn.panels[:3], line, *drawn.panels[4:])),
        joined.id: replace(joined, joins=(joined.joins[0], folded)),
    }

    with pytest.raises(BookError) as told:
        book_drawings.check(replace(big, shoes={**big.shoes, **wrong}))

    assert {(drawn.id, "panels[3].outline"), (joined.id, "joins[1].other_ends_mm")} == {
        (fault.record, fault.key) for fault in told.value.faults
    }


def test_many_shoes_are_checked_on_two_processors(book: Book, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The faults of both halves are told in their order, also where the copy of the process ends, or there is none."""
    big = load([big_books.write(tmp_path / "book", shoes=20, films=0)])
    shoes = {
        name: replace(shoe, panels=(replace(shoe.panels[0], outline="M0 0 L60 0 Z"), *shoe.panels[1:]), joins=())
        for name, shoe in big.shoes.items()
    }
    monkeypatch.setattr(book_drawings, "_MANY", 20)
    told = []
    for processors in (1, 2):
        with pytest.raises(BookError) as error:
            book_drawings.check(replace(book, shoes=shoes), processors=processors)
        told.append(error.value.faults)

    process, undrawable = os.getpid(), book_drawings._undrawable
    monkeypatch.setattr(
        book_drawings, "_undrawable", lambda some: undrawable(some) if os.getpid() == process else os._exit(1)
    )
    with pytest.raises(BookError) as error:
        book_drawings.check(replace(book, shoes=shoes), processors=2)
    told.append(error.value.faults)

    def no_process() -> int:
        raise BlockingIOError

    monkeypatch.setattr(os, "fork", no_process)
    with pytest.raises(BookError) as error:
        book_drawings.check(replace(book, shoes=shoes), processors=2)
    told.append(error.value.faults)

    assert list(shoes) == [fault.record for fault in told[0]]
    assert told[0] == told[1] == told[2] == told[3]
    book_drawings.check(big, processors=2)


def test_a_tangle_of_many_commands_is_refused(book: Book) -> None:
    """A drawing whose lines cross thousands of times is told, as it always was."""
    clog = book.shoes["ward-clog"]
    star = "".join(f"L{40 + 40 * math.cos(2.5 * k):.3f} {40 + 40 * math.sin(2.5 * k):.3f}" for k in range(1, 200))
    tangled = replace(clog.panels[0], outline=f"M80 40{star}Z")

    with pytest.raises(BookError, match="cross or crowd"):
        book_drawings.check(replace(book, shoes={"ward-clog": replace(clog, panels=(tangled,), joins=())}))


def test_a_view_that_cannot_be_read_is_told(book: Book) -> None:
    """With the part whose path data is at fault, also of a shoe whose panels are plain."""
    boot = book.shoes["yard-boot"]
    view = replace(boot.views[0], parts=(replace(boot.views[0].parts[0], d="M0 0Q9"),), over=(boot.views[0].over[0],))

    with pytest.raises(BookError) as told:
        book_drawings.check(replace(book, shoes={"yard-boot": replace(boot, views=(view,))}))

    assert ["views[0].parts[0].d"] == [fault.key for fault in told.value.faults]
