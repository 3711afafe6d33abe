from __future__ import annotations

import pytest
from msgspec.structs import replace

from featherline.wire.records import KeepOut
from featherline_service.book.faults import BookError
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.questions.shoes import book_drawings


@pytest.fixture(scope="module")
def book() -> Book:
    """Return the demo book."""
    return load()


def test_the_demo_book_can_be_drawn(book: Book) -> None:
    """Nothing is wrong with any panel of it, nor with a platen that has an outline of its own."""
    round_pad = replace(book.platens["shoe-form"], outline="M0 0H90V40H0Z")

    book_drawings.check(replace(book, platens={**book.platens, "shoe-form": round_pad}))


def test_every_drawing_that_is_none_is_told(book: Book) -> None:
    """A line that encloses nothing, a half-written path and a platen of no area are told together, each at its key."""
    clog, boot = book.shoes["ward-clog"], book.shoes["turf-boot"]
    line = replace(clog.panels[0], outline="M0 0H60")
    half = replace(boot.panels[1], keep_outs=(KeepOut(what="seam", d="M0 0L9"), *boot.panels[1].keep_outs))
    shoes = {
        **book.shoes,
        "ward-clog": replace(clog, panels=(line, *clog.panels[1:])),
        "turf-boot": replace(boot, panels=(boot.panels[0], half, *boot.panels[2:])),
    }
    flat = {**book.platens, "shoe-form": replace(book.platens["shoe-form"], outline="M0 0H60")}

    with pytest.raises(BookError) as told:
        book_drawings.check(replace(book, shoes=shoes, platens=flat))

    assert {
        ("shoes", "ward-clog", "panels[0].outline"),
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
