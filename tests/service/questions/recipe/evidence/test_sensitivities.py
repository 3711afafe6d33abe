from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from msgspec.structs import replace

from featherline.wire.recipes import Recipe, RecipeRequest, ShoePanel
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import Parameter
from featherline_service.heat.variation import SIGMAS_95
from featherline_service.questions.recipe.evidence.sensitivities import Sensitivities, band, sensitivities
from featherline_service.questions.recipe.recipe_tasks import read_task
from featherline_service.questions.recipe.recipes import options_of, resolve

Change = Callable[[Any, float], Any]

SHOE = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42"))
REQUEST = RecipeRequest(film="smooth", onto=ShoePanel(shoe=SHOE, panel="outer-quarter"))
STEP = 0.02


@pytest.fixture(scope="module")
def book() -> Book:
    """Return the demo book."""
    return load()


@pytest.fixture(scope="module")
def found(book: Book) -> Sensitivities:
    """Return what matters to smooth film on the deck shoe."""
    task, _ = read_task(book, REQUEST)
    (job,), (best, *_) = options_of(book, task)
    assert best.dwell_s is not None
    spread_k = book.presses[task.press].platen_spread_k
    return sensitivities(book, job, best.cover, best.platen_c, best.dwell_s, spread_k)


def answer(book: Book, shelf: str, name: str, changed: Any) -> Recipe:  # noqa: ANN401 - a record
    """Return the recipe by a book with a record changed."""
    records = {**getattr(book, shelf), name: changed}
    return resolve(replace(book, revision=f"{shelf}/{name}/{changed}", **{shelf: records}), REQUEST)


def conductivity(record: Any, times: float) -> Any:  # noqa: ANN401 - a record
    """Change what a material conducts."""
    return replace(record, conductivity_w_mk=record.conductivity_w_mk * times)


def capacity(record: Any, times: float) -> Any:  # noqa: ANN401 - a record
    """Change what heat a material holds."""
    return replace(record, heat_capacity_j_kgk=record.heat_capacity_j_kgk * times)


def conductance(record: Any, times: float) -> Any:  # noqa: ANN401 - a record
    """Change what a contact conducts."""
    return replace(record, conductance_w_m2k=record.conductance_w_m2k * times)


def outermost(record: Any, times: float) -> Any:  # noqa: ANN401 - a record
    """Change how thick the outermost layer is."""
    first, *rest = record.layers
    return replace(record, layers=(replace(first, thickness_mm=first.thickness_mm * times), *rest))


def share(record: Any, times: float) -> Any:  # noqa: ANN401 - a record
    """Change the dose that a film needs."""
    band_ = record.needed_share
    return replace(record, needed_share=replace(band_, low=band_.low * times, high=band_.high * times))


LEATHER = ("thickness", "upper", "grain leather", "upper-leather")


@pytest.mark.parametrize(
    ("shelf", "name", "parameter", "log_band", "change"),
    [
        ("materials", "upper-leather", ("conductivity", "upper-leather"), math.log(1.4), conductivity),
        ("materials", "polyester-fabric", ("conductivity", "polyester-fabric"), None, conductivity),
        ("materials", "silicone-sheet", ("conductivity", "silicone-sheet"), None, conductivity),
        ("materials", "cotton-fabric", ("conductivity", "cotton-fabric"), None, conductivity),
        ("materials", "hot-melt", ("capacity", "hot-melt"), None, capacity),
        ("contacts", "cover-carrier", ("contact", "cover-carrier"), None, conductance),
        ("contacts", "platen-cover", ("contact", "platen-cover"), None, conductance),
        ("contacts", "film-upper", ("contact", "film-upper"), None, conductance),
        ("uppers", "leather-lined", LEATHER, math.log(1.1), outermost),
        ("films", "smooth", ("needed-share", "smooth"), 0.5 * math.log(1.06 / 0.53), share),
    ],
)
def test_slopes_are_the_finite_differences_of_answers(  # noqa: PLR0917 - a value of a record
    book: Book,
    found: Sensitivities,
    shelf: str,
    name: str,
    parameter: Parameter,
    log_band: float | None,
    change: Change,
) -> None:
    """The shortest dwell of answers by the records alone, and a layer's margin, change as the slopes say."""
    record = getattr(book, shelf)[name]
    if log_band is None:
        spread = {"conductivity": "conductivity_spread", "capacity": "capacity_spread"}.get(parameter[0], "spread")
        log_band = math.log1p(getattr(record, spread))
    effect, per = found.effects[parameter], log_band / SIGMAS_95
    more, less = (answer(book, shelf, name, change(record, 1.0 + sign * STEP)) for sign in (1, -1))
    apart = math.log((1.0 + STEP) / (1.0 - STEP))
    assert more.evidence is not None
    assert less.evidence is not None
    dwells = [one.evidence.without.shortest_s for one in (more, less)]  # type: ignore[union-attr]
    assert all(dwells)
    by_slope = pytest.approx(effect.longer / per, rel=0.01, abs=2e-4)
    assert math.log(dwells[0] / dwells[1]) / apart == by_slope  # type: ignore[operator]
    margins = [next(layer.margin_k for layer in one.layers if layer.layer == found.nearest) for one in (more, less)]
    assert (margins[0] - margins[1]) / apart == pytest.approx(effect.spare_k / per, rel=0.03, abs=0.05)


def test_margins_are_those_of_the_answer(book: Book, found: Sensitivities) -> None:
    """Before anything changes, the dwell is as much over the shortest as the answer by the records alone says."""
    recipe = resolve(book, REQUEST)
    assert recipe.evidence is not None
    assert recipe.setting is not None
    shortest_s = recipe.evidence.without.shortest_s
    assert shortest_s is not None
    assert math.log(recipe.setting.dwell_s / shortest_s) == pytest.approx(found.bond_margin, rel=1e-9)
    nearest = next(layer for layer in recipe.layers if layer.layer == found.nearest)
    assert nearest.margin_k == pytest.approx(found.spare_k, abs=0.2)


def test_shares_of_the_doubt_are_a_whole(found: Sensitivities) -> None:
    """The shares of all properties add up to one, for bonding and for harm."""
    assert 1.0 == pytest.approx(math.fsum(effect.bond_share for effect in found.effects.values()))
    assert 1.0 == pytest.approx(math.fsum(effect.harm_share for effect in found.effects.values()))
    assert 0.0 == found.effects["limit", "upper-leather"].longer
    low, high = band(found.effects["needed-share", "smooth"])
    assert low < 0.0 < high
