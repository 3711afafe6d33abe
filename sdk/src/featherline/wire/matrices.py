"""The question "which shoes take which films?", and its answer."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from featherline.wire.money import Money
from featherline.wire.quantities import Length
from featherline.wire.recipes import Setting
from featherline.wire.texts import BookUntil, Engine, Identifier, Name, Revision, Sentence
from featherline.wire.verdicts import Message, Reason, Verdict


class MatrixRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which of these shoes take which of these films, panel by panel, with a sample text?

    Without `shoes` or `films` it is asked of all that the book has; of more than 40 panels and films together, name
    fewer. Without `font`, the first of the book is used, without `policy` the bench's.
    """

    text: Annotated[str, Meta(min_length=1, max_length=40, description="The sample.")] = "AMY"
    height: Annotated[Length, Meta(description="How high its letters are wanted.")] = "12 mm"
    font: Identifier | None = None
    shoes: Annotated[tuple[Identifier, ...], Meta(max_length=40)] = ()
    films: Annotated[tuple[Identifier, ...], Meta(max_length=40)] = ()
    policy: Identifier | None = None


class MatrixCell(Struct, frozen=True, kw_only=True):
    """The sample on a panel in a film, on a pair of shoes of the middle size.

    `letters_mm` is how high the letters are that verdict, setting and price are for: as wanted or, where only that is
    done, as high as fits; null where the sample cannot be drawn, as `fault` says. `largest_mm` is the largest that
    fits. `price` is the total, with tax where the policy states it. The subject of a reason is a layer, or empty.
    """

    shoe: Identifier
    panel: Identifier
    film: Identifier
    verdict: Verdict
    letters_mm: float | None = None
    largest_mm: float | None = None
    price: Money | None = None
    setting: Setting | None = None
    reasons: tuple[Reason, ...] = ()
    fault: Sentence | None = None
    fault_message: Message | None = None


class MatrixAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a `MatrixRequest`: a cell for every panel of the shoes in every film, shoe by shoe."""

    name: Annotated[Name, Meta(description="The shop's.")]
    text: Annotated[str, Meta(description="The sample.")]
    height_mm: Annotated[float, Meta(description="How high its letters were wanted.")]
    cells: tuple[MatrixCell, ...]
    book: Revision
    book_until: BookUntil = None
    engine: Engine
