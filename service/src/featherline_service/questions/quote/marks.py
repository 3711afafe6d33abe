"""Marks of an order: its placements and their backings, each with its fit, the task to press it, and its recipe."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.fits import Fit
from featherline.wire.recipes import OldMark, OldMarks, Recipe
from featherline_service.messages.values import Value
from featherline_service.questions.checks import Places
from featherline_service.questions.order.orders import Order, places_of
from featherline_service.questions.order.placements import Placement
from featherline_service.questions.recipe.recipe_tasks import RecipeTask


class Mark(Struct, frozen=True, kw_only=True):
    """A placement of the order, or its backing, with its fit, the task to press it, and the recipe for its own panel.

    `lower` is the place among the order's marks of the one that it lies on; None for the panel.
    """

    index: int
    placement: Placement
    task: RecipeTask
    fit: Fit
    recipe: Recipe
    lower: int | None = None

    @property
    def pointer(self) -> str:
        """Where it is in the order."""
        here = f"/placements/{self.index}"
        return f"{here}/backing" if self.placement.is_backing else here

    @property
    def onto_pointer(self) -> str:
        """Where the order says what it lies on."""
        return f"/placements/{self.index}/{'onto' if self.placement.backing is None else 'backing'}"


def values_of(name: str, mark: Mark) -> dict[str, Value]:
    """Return what messages call a mark, as the values of a parameter and of those that go with it."""
    text = mark.placement.artwork.text
    artwork = "drawing" if text is None else "text"
    return {
        name: mark.index + 1,
        f"{name}_part": f"backing-of-{artwork}" if mark.placement.is_backing else artwork,
        f"{name}_text": None if text is None else mark.placement.artwork.name,
    }


def lower_marks(order: Order) -> list[int | None]:
    """Return, for every mark of an order, the place of the one that it lies on."""
    places = {(index, placement.is_backing): at for at, (index, placement) in enumerate(order.marks)}

    def lower(index: int, placement: Placement) -> int | None:
        if placement.backing is not None:
            return places[index, True]
        return None if placement.onto is None else places[placement.onto, False]

    return [lower(index, placement) for index, placement in order.marks]


def films_below(lower: Sequence[int | None], at: int) -> int:
    """Return how many marks of an order lie below one, by the places of the marks that they lie on."""
    below = lower[at]
    return 0 if below is None else 1 + films_below(lower, below)


def films_there(order: Order, lower: Sequence[int | None], at: int) -> OldMarks:
    """Return the films that are on a panel when a mark is pressed: old ones, and below it those of the order.

    Those of the order are the last, the lowest first.
    """
    placement = order.marks[at][1]
    below = lower[at]
    if below is None:
        return tuple(replace(mark, outline=None) for mark in placement.old_marks)
    old_marks = () if placement.backing is not None else placement.old_marks
    there = (*old_marks, *films_there(order, lower, below))
    beside = tuple(dict.fromkeys(replace(mark, outline=None) for mark in there))
    return (*beside, OldMark(film=order.marks[below][1].film.id, under=True))


def is_below(marks: Sequence[Mark], upper: int, at: int) -> bool:
    """Return whether a mark lies below another, directly or not."""
    lower = marks[upper].lower
    while lower is not None and lower != at:
        lower = marks[lower].lower
    return lower is not None


def height(marks: Sequence[Mark], mark: Mark) -> int:
    """Return how many marks of an order lie below one."""
    return 0 if mark.lower is None else 1 + height(marks, marks[mark.lower])


def places_of_mark(mark: Mark) -> Places:
    """Return where in an order the parts of a mark are, by the pointers of requests for a fit and for a recipe."""
    places = places_of(mark.index)
    here = places.rest
    whole = {} if mark.lower is None else {"/onto/old_marks": mark.onto_pointer}
    if not mark.placement.is_backing:
        return Places(rest=here, parts=places.parts, whole=whole)
    backing_places = {"/film": f"{here}/backing/film", "/colour": f"{here}/backing/colour"}
    return Places(rest=here, parts={**places.parts, **backing_places}, whole={**whole, "/artwork": f"{here}/backing"})
