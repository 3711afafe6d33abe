"""The uppers that a walk-in shoe may have: those sold under its label that look as it does, or the one named."""

from __future__ import annotations

from featherline.wire.records import Upper
from featherline.wire.shoes import MeasuredShoe
from featherline_service.book.shop_book import Book
from featherline_service.messages.told import told
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
            told(
                "walk-in.surface-impossible",
                "No upper that the label {name!r} may stand for has a {surface} surface; there are: {has}",
                name=label.name,
                surface=shoe.surface,
                has=has,
            ),
        )
    elif not left:
        which = " and ".join(f"{observation.field} {observation.value!r}" for observation in made(seen))
        checks.note(
            "/shoe/tests",
            told(
                "walk-in.tests-impossible",
                "With {which} the shoe is none of the uppers that the label {name!r} may stand for: look again",
                which=which,
                name=label.name,
            ),
        )
    return left


def _known(book: Book, shoe: MeasuredShoe, wanted: str, checks: Checks) -> tuple[Upper, ...]:
    upper = checks.record(book.uppers, "upper", wanted, "/shoe/upper")
    if upper is None:
        return ()
    if shoe.label not in upper.labels:
        checks.note(
            "/shoe/upper",
            told(
                "walk-in.upper-against-label",
                "A shoe of {name!r} is labelled {map}, and this one {label!r}: check the label and the upper",
                name=upper.name,
                map=" or ".join(map(repr, upper.labels)),
                label=shoe.label,
            ),
        )
    if shoe.surface not in {None, upper.surface}:
        checks.note(
            "/shoe/surface",
            told(
                "walk-in.surface-against-upper",
                "{name!r} has a {surface} surface, not {surface_2}: give one of both",
                name=upper.name,
                surface=upper.surface,
                surface_2=shoe.surface,
            ),
        )
    for observation in made(seen_of(shoe)):
        if observation.rules_out(book, upper):
            checks.note(
                f"/shoe/tests/{observation.field}",
                told(
                    "walk-in.test-against-upper",
                    "{name!r} cannot be seen so, {value}: give one of both",
                    name=upper.name,
                    value=observation.value,
                ),
            )
    return (upper,)
