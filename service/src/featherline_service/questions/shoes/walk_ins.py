"""The uppers that a walk-in shoe may have: those sold under its label that look as it does, or the one named."""

from __future__ import annotations

from featherline.wire.records import Upper
from featherline.wire.shoes import MeasuredShoe
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.shoes.observations import Seen, consistent_uppers, made, sold_under


def seen_of(shoe: MeasuredShoe) -> Seen:
    """Return what is seen of a walk-in shoe."""
    return Seen(shoe.label, shoe.surface, shoe.tests)


def uppers_of(
    book: Book, shoe: MeasuredShoe, checks: Checks, *, over_lasting_margin: bool = False
) -> tuple[Upper, ...]:
    """Return every upper of the book that a walk-in shoe may have; note contradictions.

    Those of the lasting margin count only for a panel that lies over it.
    """
    label = checks.record(book.labels, "label", shoe.label, "/shoe/label")
    if label is None:
        return ()
    if shoe.upper is not None:
        return _known(book, shoe, shoe.upper, checks)
    seen = seen_of(shoe)
    allowed = tuple(upper for upper in sold_under(book, shoe.label) if over_lasting_margin or not upper.lasting_margin)
    faced = consistent_uppers(book, seen._replace(tests=None), allowed)
    left = consistent_uppers(book, seen, faced)
    if not faced:
        has = ", ".join(sorted({upper.surface for upper in allowed}))
        checks.note(
            "/shoe/surface",
            f"No upper that the label {label.name!r} may stand for has a {shoe.surface} surface; there are: {has}",
        )
    elif not left:
        which = " and ".join(f"{observation.field} {observation.value!r}" for observation in made(seen))
        checks.note(
            "/shoe/tests",
            f"With {which} the shoe is none of the uppers that the label {label.name!r} may stand for: look again",
        )
    return left


def _known(book: Book, shoe: MeasuredShoe, wanted: str, checks: Checks) -> tuple[Upper, ...]:
    upper = checks.record(book.uppers, "upper", wanted, "/shoe/upper")
    if upper is None:
        return ()
    if shoe.label not in upper.labels:
        checks.note(
            "/shoe/upper",
            f"A shoe of {upper.name!r} is labelled {' or '.join(map(repr, upper.labels))}, and this one "
            f"{shoe.label!r}: check the label and the upper",
        )
    if shoe.surface not in {None, upper.surface}:
        checks.note(
            "/shoe/surface", f"{upper.name!r} has a {upper.surface} surface, not {shoe.surface}: give one of both"
        )
    for observation in made(seen_of(shoe)):
        if observation.rules_out(book, upper):
            checks.note(
                f"/shoe/tests/{observation.field}",
                f"{upper.name!r} cannot be seen so, {observation.value}: give one of both",
            )
    return (upper,)
