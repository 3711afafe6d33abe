"""The uppers that a walk-in shoe may have: those of its label, less those of another surface, or the one named."""

from __future__ import annotations

from featherline.wire.records import Upper
from featherline.wire.shoes import MeasuredShoe
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks


def uppers_of(book: Book, shoe: MeasuredShoe, checks: Checks) -> tuple[Upper, ...]:
    """Return every upper of the book that a walk-in shoe may have; note contradictions."""
    label = checks.record(book.labels, "label", shoe.label, "/shoe/label")
    if label is None:
        return ()
    if shoe.upper is not None:
        return _known(book, shoe, shoe.upper, checks)
    allowed = tuple(book.uppers[each] for each in label.uppers)
    left = tuple(upper for upper in allowed if shoe.surface in {None, upper.surface})
    if not left:
        has = ", ".join(sorted({upper.surface for upper in allowed}))
        checks.note(
            "/shoe/surface",
            f"No upper that the label {label.name!r} may stand for has a {shoe.surface} surface; there are: {has}",
        )
    return left


def _known(book: Book, shoe: MeasuredShoe, wanted: str, checks: Checks) -> tuple[Upper, ...]:
    upper = checks.record(book.uppers, "upper", wanted, "/shoe/upper")
    if upper is None:
        return ()
    if upper.label != shoe.label:
        checks.note(
            "/shoe/upper",
            f"A shoe of {upper.name!r} is labelled {upper.label!r}, and this one {shoe.label!r}: look at both again",
        )
    if shoe.surface not in {None, upper.surface}:
        checks.note(
            "/shoe/surface", f"{upper.name!r} has a {upper.surface} surface, not {shoe.surface}: give one of both"
        )
    return (upper,)
