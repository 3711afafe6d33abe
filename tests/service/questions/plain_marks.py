"""Orders read from the book, and their marks with fits and recipes written by hand, for tests that solve nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from msgspec.structs import replace

from featherline.wire import costs
from featherline.wire.artworks import PathArtwork
from featherline.wire.fits import Fit, Placed
from featherline.wire.recipes import Band, LayerPeak, PeelPlan, Recipe, Setting, Window
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.order.artwork_sizes import measures
from featherline_service.questions.order.orders import Order, read_order
from featherline_service.questions.order.placements import Placement
from featherline_service.questions.quote.marks import Mark, films_there, lower_marks
from featherline_service.questions.recipe.recipe_tasks import on_panel

BAR: Final = PathArtwork(d="M0 0H20V10H0Z", height="10 mm")
DECK: Final = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42"))
SETTING: Final = Setting(
    temperature_c=160.0, temperature_f=320.0, dwell_s=14.0, pressure="medium", pressure_kpa=276.0, cover="silicone-thin"
)
WINDOW: Final = Window(shortest_s=10.0, longest_s=30.0, worst_case=Band(shortest_s=13.0, longest_s=25.0), bound_by=())
LAYER: Final = LayerPeak(
    layer="grain",
    material="upper-leather",
    peak_c=150.0,
    worst_case_c=155.0,
    at_s=14.0,
    limit_c=168.0,
    margin_k=18.0,
    evidence="practice",
)
RECIPE: Final = Recipe(
    verdict="ready",
    reasons=(),
    film="smooth",
    press="swing",
    setting=SETTING,
    window=WINDOW,
    bond=None,
    layers=(LAYER,),
    peel=PeelPlan(when="hot", wait_s=4.0, at_c=90.0),
    alternatives=(),
    help=(),
    steps=(),
    cautions=(),
)


def asked(**changes: object) -> costs.Placement:
    """Return a placement of a bar on the outer quarter, some of it changed."""
    plain = costs.Placement(panel="outer-quarter", film="smooth", colour="gorse", artwork=BAR)
    return replace(plain, **changes)


def read(book: Book, *placements: costs.Placement, **changes: object) -> Order:
    """Return an order of placements on a deck shoe as it is understood."""
    checks = Checks()
    order = read_order(book, replace(costs.Order(shoe=DECK, placements=placements), **changes), checks)
    checks.settle()
    assert order is not None
    return order


def fit_of(placement: Placement) -> Fit:
    """Return a fit that says no more than where a placement is, and its measures."""
    return Fit(
        verdict="ready",
        reasons=(),
        panel=placement.panel.id,
        face=placement.panel.face,
        placed=Placed(x_mm=0.0, y_mm=0.0, rotation_deg=0.0, sentence=""),
        artwork=measures(placement.artwork),
        clearance_mm=5.0,
        clearance_needed_mm=3.0,
        bound_by="edge",
        largest=None,
        platens=("shoe-form",),
        contrast=None,
        size=None,
    )


def marks_of(book: Book, order: Order, recipes: Sequence[Recipe] = ()) -> tuple[Mark, ...]:
    """Return the marks of an order, each with its recipe, or with the plain one."""
    lower = lower_marks(order)
    marks = []
    for at, (index, placement) in enumerate(order.marks):
        films = films_there(order, lower, at)
        task = on_panel(book, placement.film, order.shoe, placement.panel, order.press, units="metric", marks=films)
        recipe = recipes[at] if recipes else replace(RECIPE, film=placement.film.id)
        fit = fit_of(placement)
        marks.append(Mark(index=index, placement=placement, task=task, fit=fit, recipe=recipe, lower=lower[at]))
    return tuple(marks)
