"""Records of the book that an answer uses outside the range that they are good for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final, Literal, NamedTuple, get_args

from msgspec.structs import replace

from featherline.wire.costs import Order
from featherline.wire.fits import FitAnswer, FitRequest
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import Recipe, RecipeAnswer, RecipeRequest, ShoePanel
from featherline.wire.rosters import Roster, RosterAnswer
from featherline.wire.shoes import BookShoe, Shoe
from featherline_service.book.shop_book import Book
from featherline_service.shape import shoe_sizes

LONGEST_S: Final = 60.0
"""[s] Limits of materials are peaks in a pressing of about half a minute; those with an exposure hold for longer ones.
We read twice that as too long."""


RangedProperty = Literal["temperature", "limit", "sizes"]
PROPERTIES: Final = get_args(RangedProperty)
ADVICE: Final[Mapping[RangedProperty, str]] = {
    "temperature": "The press does not reach what the film needs: offer another press, or correct the press's range.",
    "limit": "The limit holds for pressings of about half a minute, and this one is longer: give it an `exposure`.",
    "sizes": "The size was taken for the nearest one: correct the shoe's `sizes` if it is made in that size, too.",
}
"""What the owner of the book can do about a property that is used outside its range."""


class Outside(NamedTuple):
    """A record that is used outside its range: the record, its property, the value, the range, and their unit."""

    record: str
    what: RangedProperty
    value: float
    lowest: float
    highest: float
    unit: str

    @property
    def beyond(self) -> float:
        """How far the value is outside the range."""
        return max(self.lowest - self.value, self.value - self.highest)


def outside(book: Book, request: Any, answer: Any) -> tuple[Outside, ...]:  # noqa: ANN401 - of any question
    """Return the records that an answer uses outside their range, each once."""
    uses = [use for shoe in _shoes(request, answer) for use in _of_size(book, shoe)]
    uses += [use for recipe in _recipes(answer) for use in _of_recipe(book, recipe)]
    return tuple(dict.fromkeys(uses))


def _shoes(request: Any, answer: Any) -> Iterator[Shoe]:  # noqa: ANN401 - of any question
    match request, answer:
        case RecipeRequest(onto=ShoePanel(shoe=shoe)), _:
            yield shoe
        case (FitRequest(), FitAnswer()) | (Order(), QuoteAnswer()):
            yield request.shoe
        case Roster(), RosterAnswer():
            # A row without a verdict has faults, and no shoe that is used.
            yield from (_shoe(request, row.row) for row in answer.rows if row.verdict is not None)


def _recipes(answer: Any) -> Iterator[Recipe]:  # noqa: ANN401 - of any question
    match answer:
        case RecipeAnswer():
            yield answer.recipe
        case QuoteAnswer():
            yield from (pressing.recipe for pressing in answer.pressings)
        case RosterAnswer():
            yield from (pressing.recipe for plan in answer.plans for pressing in plan.pressings)


def _shoe(roster: Roster, row: int) -> Shoe:
    asked = roster.rows[row]
    shoe = asked.shoe or roster.order.shoe
    return shoe if asked.size is None or not isinstance(shoe, BookShoe) else replace(shoe, size=asked.size)


def _of_recipe(book: Book, recipe: Recipe) -> Iterator[Outside]:
    film, press, setting = book.films[recipe.film].setting, book.presses[recipe.press], recipe.setting
    if setting is None:
        if any(reason.code == "heat.press-range" for reason in recipe.reasons):
            near_c = film.coolest_c if press.hottest_c < film.coolest_c else film.hottest_c
            yield Outside(f"presses/{recipe.press}", "temperature", near_c, press.coolest_c, press.hottest_c, "degC")
        return
    if setting.dwell_s <= LONGEST_S:
        return
    for layer in recipe.layers:
        if book.materials[layer.material].limit.exposure is None:
            yield Outside(f"materials/{layer.material}", "limit", setting.dwell_s, 0.0, LONGEST_S, "s")


def _of_size(book: Book, shoe: Shoe) -> Iterator[Outside]:
    if not isinstance(shoe, BookShoe):
        return
    made = book.shoes[shoe.shoe].sizes
    if shoe.size.system == made.system:
        return
    there = shoe_sizes.exact_size(
        made.system, shoe_sizes.foot_length(shoe.size.system, shoe_sizes.number(shoe.size.value))
    )
    if not made.smallest <= there <= made.largest:
        yield Outside(f"shoes/{shoe.shoe}", "sizes", round(there, 2), made.smallest, made.largest, made.system)
