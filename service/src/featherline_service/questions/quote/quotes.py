"""The question "can it be done, how, and for how much?": fits, recipes, cost and price of an order, composed."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Sequence
from typing import Final

from msgspec.structs import replace

from featherline.plugins import Findings
from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import Order, Placement
from featherline.wire.fits import FitRequest
from featherline.wire.problems import Fault
from featherline.wire.quotes import QuoteAnswer, QuotedPlacement
from featherline.wire.recipes import Recipe, Setting
from featherline.wire.shoes import BookShoe
from featherline.wire.verdicts import Reason
from featherline_service import plugins
from featherline_service.book.shop_book import Book
from featherline_service.cost.nesting import outline_nesting
from featherline_service.cost.spoilage import any_of, heat_chance, weak_chance
from featherline_service.cost.times import Closing
from featherline_service.quantities import seconds
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.fit import fits
from featherline_service.questions.pricing.cost_lines import Part, Pressed, Work
from featherline_service.questions.pricing.film_lots import FilmPieces
from featherline_service.questions.pricing.offcuts import offered
from featherline_service.questions.pricing.prices import find_policy, price_order
from featherline_service.questions.quote.pressings import Marked, Plan, PlannedPressing, plan, recipe_request, worst
from featherline_service.questions.recipe import recipes
from featherline_service.runtime.engine import ENGINE

LONGEST_SEARCH_S: Final = 10
"""Beyond it a search for a nest finds little, and others wait."""

_OF_THE_ORDER: Final = ("/shoe", "/press", "/policy", "/units")
"""What an order says once for all its placements."""


def compose(book: Book, order: Order) -> QuoteAnswer:
    """Return what becomes of an order: its fits, its pressings, what it costs and what to charge; not sealed yet.

    Raises:
        RefusedError: with the faults of all parts, their pointers into the order.
    """
    checks = Checks()
    policy = find_policy(book, order.policy, checks, rush=order.rush)
    offcuts = offered(book, order.offcuts, checks)
    outlines_s = outline_budget(order, checks)
    marked = mark(book, order, checks)
    checks.settle()
    assert policy is not None  # noqa: S101 - settle has raised where there is none

    planned = plan(book, order, marked)
    found = findings(book, order, marked, planned)
    cost = price = None
    if found.verdict != "decline":
        work = Work(
            parts=(part_of(book, order, marked, pressed_of(book, marked, planned)),),
            offcuts=offcuts,
            rush=order.rush,
            outlines_s=outlines_s,
            hours_a_day=order.hours_a_day,
            units=order.units,
        )
        cost, price = price_order(book, work, policy)
    return QuoteAnswer(
        verdict=found.verdict,
        reasons=found.reasons,
        placements=found.placements,
        pressings=found.pressings,
        cost=cost,
        price=price,
        book=book.revision,
        engine=ENGINE,
        seal=None,
    )


def findings(book: Book, order: Order, marked: Sequence[Marked], planned: Plan) -> Findings:
    """Return what is found of an order that was understood, with what the shop's own checks add.

    Raises:
        PluginFailedError: A check fails.
    """
    pressing_of = {index: number for number, one in enumerate(planned.pressings) for index in one.pressing.placements}
    found = Findings(
        verdict=worst([part.verdict for one in marked for part in (one.fit, one.recipe)]),
        reasons=tuple(dict.fromkeys(_reasons(marked, planned))),
        placements=tuple(
            QuotedPlacement(
                panel=one.placement.panel, sides=one.placement.sides, fit=one.fit, pressing=pressing_of[one.index]
            )
            for one in marked
        ),
        pressings=tuple(one.pressing for one in planned.pressings),
    )
    added = [reason for check in book.plugins.checks for reason in plugins.check(check, order, found)]
    return replace(
        found,
        verdict=worst([found.verdict, *(reason.verdict for reason in added)]),
        reasons=tuple(dict.fromkeys([*found.reasons, *added])),
    )


def outline_budget(order: Order, checks: Checks) -> int:
    """Return how long to search for a nest of outlines, in whole seconds, rounded up; 0 where none is asked."""
    if order.outlines is None:
        return 0
    budget_s = checks.value(seconds, order.outlines, "/outlines")
    if budget_s is not None and not 1 <= budget_s <= LONGEST_SEARCH_S:
        checks.note("/outlines", f"Give from 1 s to {LONGEST_SEARCH_S} s to search for a nest of outlines")
        return 0
    if not outline_nesting.available():
        checks.note(
            "/outlines",
            "This service nests rectangles only: leave it out, or install the extra featherline-service[outlines]",
        )
    return math.ceil(budget_s or 0)


def mark(book: Book, order: Order, checks: Checks, *, largest_too: bool = True) -> list[Marked]:
    """Return the placements of an order that can be understood, with their fits and recipes; note what is wrong.

    Without `largest_too`, what fits is not told how large it could be.
    """
    faults: list[Fault] = []
    marked: list[Marked] = []
    for index, placement in enumerate(order.placements):
        try:
            fit = fits.check(book, fit_request(order, placement), largest_too=largest_too)
            recipe = recipes.resolve(book, recipe_request(order, placement))
        except RefusedError as error:
            faults += [replace(fault, pointer=_in_order(fault.pointer, index)) for fault in error.faults]
        else:
            marked.append(Marked(index=index, placement=placement, fit=fit, recipe=recipe))
    for fault in dict.fromkeys(faults):
        checks.note(fault.pointer, fault.detail)
    return marked


def fit_request(order: Order, placement: Placement) -> FitRequest:
    """Return the question for the fit of a placement."""
    return FitRequest(
        shoe=order.shoe,
        panel=placement.panel,
        film=placement.film,
        colour=placement.colour,
        artwork=placement.artwork,
        pose=placement.pose,
        footprint=placement.footprint,
        sides=placement.sides,
        clearance=placement.clearance,
        press=order.press,
        units=order.units,
    )


def _in_order(pointer: str, index: int) -> str:
    """Return where in the order a part's pointer leads; a part's subject that is no pointer leads to its placement."""
    inner = pointer.removeprefix("/onto")
    if any(inner == top or inner.startswith(f"{top}/") for top in _OF_THE_ORDER):
        return inner
    return f"/placements/{index}{inner if inner.startswith('/') else ''}"


def _reasons(marked: Sequence[Marked], planned: Plan) -> Iterable[Reason]:
    """Yield the reasons of all parts of an order, their subjects as pointers into it."""
    for one in marked:
        for reason in (*one.fit.reasons, *one.recipe.reasons):
            yield replace(reason, subject=_in_order(reason.subject, one.index))
    yield from planned.reasons


def part_of(book: Book, order: Order, marked: Sequence[Marked], pressed: tuple[Pressed, ...]) -> Part:
    """Return an order that is not declined as work, its pressings as `pressed_of` has them."""
    return Part(
        pieces=tuple(_pieces(book, order, one) for one in marked),
        pressed=pressed,
        owner=order.owner,
        shoe=book.shoes[order.shoe.shoe] if isinstance(order.shoe, BookShoe) else None,
        pairs=order.pairs,
        characters=sum(_copies(one) * characters(one.placement) for one in marked),
    )


def pressed_of(book: Book, marked: Sequence[Marked], planned: Plan) -> tuple[Pressed, ...]:
    """Return the pressings of an order that is not declined as work."""
    settings: dict[tuple[float, float, str], int] = {}
    by_index = {one.index: one for one in marked}
    return tuple(
        _pressed(book, one, [by_index[index] for index in one.pressing.placements], settings)
        for one in planned.pressings
    )


def characters(placement: Placement) -> int:
    """Return how many letters and signs a text has; spaces and marks set on letters are none of their own."""
    if not isinstance(placement.artwork, TextArtwork):
        return 0
    return sum(
        not character.isspace() and not unicodedata.category(character).startswith(("M", "C"))
        for character in placement.artwork.text
    )


def _copies(one: Marked) -> int:
    """Return how many pieces a placement asks for on one pair."""
    return 2 if one.placement.sides == "both" else 1


def _pieces(book: Book, order: Order, one: Marked) -> FilmPieces:
    artwork, film = one.fit.artwork, book.films[one.placement.film]
    outline = None
    if order.outlines is not None and film.cutting is not None:
        outline = fits.outline(book, fit_request(order, one.placement), film.cutting.border_mm)
    return FilmPieces(
        film=film,
        colour=one.placement.colour,
        width_mm=artwork.width_mm,
        height_mm=artwork.height_mm,
        cut_length_mm=artwork.cut_length_mm,
        corners=artwork.corners,
        outlines=artwork.pieces + artwork.waste_pieces - 1,  # the surround is waste, and bounded by the pieces
        waste_pieces=artwork.waste_pieces,
        per_pair=_copies(one),
        pointer=f"/placements/{one.index}/artwork",
        outline=outline,
    )


def _pressed(
    book: Book, one: PlannedPressing, marked: Sequence[Marked], settings: dict[tuple[float, float, str], int]
) -> Pressed:
    """Return a pressing as work; `settings` numbers the settings met so far."""
    pressing = one.pressing
    recipe = pressing.recipe
    setting, peel = _usable(recipe)
    key = (setting.temperature_c, setting.dwell_s, setting.pressure)
    copies = sum(_copies(part) for part in marked)
    taped = 0 if book.films[recipe.film].carrier.sticky else copies
    return Pressed(
        closing=Closing(
            loading=pressing.loading,
            setting=settings.setdefault(key, len(settings)),
            dwell_s=setting.dwell_s,
            wait_s=peel,
            closings=-(-len(pressing.shoes) // pressing.shoes_at_once),
            pairs_at_once=max(1, pressing.shoes_at_once // len(pressing.shoes)),
            shoes=len(pressing.shoes),
            placed=copies,
            taped=taped,
        ),
        cover=None if setting.cover is None else book.covers[setting.cover],
        shoe_chance=max(shoe_chance(book, own) for own in one.recipes),
        weak_chance=max(_weak_chance(own) for own in one.recipes),
    )


def _usable(recipe: Recipe) -> tuple[Setting, float]:
    """Return the setting, and the wait before the peel, of a recipe that was not declined."""
    if recipe.setting is None:
        raise AssertionError("A recipe without a setting must be declined")
    return recipe.setting, 0.0 if recipe.peel is None else recipe.peel.wait_s


def shoe_chance(book: Book, recipe: Recipe) -> float:
    """Return the chance that a pressing spoils a shoe: a slip, a limit little known, or a layer too hot."""
    spoilage = book.rates[book.bench.rates].spoilage
    if not recipe.layers:
        return min(1.0, spoilage.handling + spoilage.weak_guess)
    binding = min(recipe.layers, key=lambda layer: layer.margin_k)
    weak = {
        "published": spoilage.weak_published,
        "practice": spoilage.weak_practice,
        "guess": spoilage.weak_guess,
    }[binding.evidence]
    heat = [
        heat_chance(
            peak_c=layer.peak_c,
            worst_case_c=layer.worst_case_c,
            limit_c=layer.limit_c,
            limit_spread_k=book.materials[layer.material].limit.spread_k,
        )
        for layer in recipe.layers
    ]
    return any_of([min(1.0, spoilage.handling + weak), *heat])


def _weak_chance(recipe: Recipe) -> float:
    """Return the chance that a pressing does not bond its film as it should."""
    setting, window = recipe.setting, recipe.window
    if setting is None or window is None or window.shortest_s is None:
        return 0.0
    sure_s = window.worst_case.shortest_s
    return weak_chance(
        dwell_s=setting.dwell_s,
        needed_s=window.shortest_s,
        sure_s=math.inf if sure_s is None else max(sure_s, window.shortest_s),
    )
