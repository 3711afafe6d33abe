from __future__ import annotations

import math
from collections.abc import Sequence

import pytest
from msgspec.structs import replace
from plain_marks import LAYER, RECIPE, SETTING, WINDOW, asked, marks_of, read

from featherline.wire.artworks import PathArtwork, TextArtwork
from featherline.wire.costs import Backing
from featherline.wire.quotes import Pressing
from featherline.wire.recipes import Band, Recipe
from featherline_service.book.shop_book import Book
from featherline_service.cost.spoilage import chance_of_any, heat_damage_chance, weak_bond_chance
from featherline_service.questions.pricing.cost_lines import Presswork
from featherline_service.questions.quote.marks import Mark
from featherline_service.questions.quote.pressings import BenchPressing, Plan
from featherline_service.questions.quote.work import Settings, part_of, presswork_of, shoe_chance

NUMBER = TextArtwork(text="7 A\u0301", font="plain", height="12 mm")
"""Two characters: a space and a combining mark are none."""


@pytest.fixture
def book(book: Book) -> Book:
    """Return the demo book with chances that tell themselves apart."""
    rates = book.rates[book.bench.rates]
    spoilage = replace(rates.spoilage, handling=0.01, weak_published=0.02, weak_practice=0.04, weak_guess=0.08)
    return replace(book, rates={rates.id: replace(rates, spoilage=spoilage)})


def pressing(
    marks: Sequence[Mark],
    *,
    recipe: Recipe = RECIPE,
    recipes: tuple[Recipe, ...] = (),
    shoes: Sequence[str] = ("left", "right"),
    at_once: int = 2,
    most_shoes: int = 2,
    loading: int = 1,
) -> BenchPressing:
    """Return a closing of the press on marks."""
    closing = Pressing(
        loading=loading,
        face="outer",
        placements=tuple(one.index for one in marks),
        shoes=tuple(shoes),  # type: ignore[arg-type]
        shoes_at_once=at_once,
        recipe=recipe,
    )
    return BenchPressing(pressing=closing, marks=tuple(marks), recipes=recipes or (recipe,), most_shoes=most_shoes)


def presswork(book: Book, *pressings: BenchPressing, owner: str = "customer", tried: Sequence[str] = ()) -> Presswork:
    """Return the last of some pressings as work."""
    order = read(book, asked(), owner=owner)
    plan = Plan(pressings=pressings, reasons=())
    return presswork_of(book, order, plan, tried=tried, settings={})[-1]


def test_an_order_is_its_pieces_pairs_and_characters(book: Book) -> None:
    """The pieces are those of one pair by their measures; characters count on every shoe, and not on a backing."""
    order = read(
        book,
        asked(artwork=NUMBER, sides="left", backing=Backing(film="smooth", colour="chalk", border="2 mm")),
        asked(panel="inner-quarter", artwork=NUMBER),
        pairs=3,
        owner="shop",
    )
    marks = marks_of(book, order)
    part = part_of(order, marks, (), (), outlined=False)
    pieces = [(piece.pointer, piece.film.id, piece.colour, piece.per_pair) for piece in part.pieces]

    assert [
        ("/placements/0/backing/border", "smooth", "chalk", 1),
        ("/placements/0/artwork", "smooth", "gorse", 1),
        ("/placements/1/artwork", "smooth", "gorse", 2),
    ] == pieces
    assert (2 + 2 * 2, 3, "shop", book.shoes["regatta-deck"]) == (part.characters, part.pairs, part.owner, part.shoe)
    assert [None, None, None] == [piece.outline for piece in part.pieces]
    backing, number = part.pieces[:2]
    assert pytest.approx(number.width_mm + 4.0, abs=0.02) == backing.width_mm
    assert pytest.approx(number.height_mm + 4.0, abs=0.02) == backing.height_mm


def test_a_piece_is_cut_along_every_outline_but_the_surrounds(book: Book) -> None:
    """Three pieces of which one has a hole: four outlines, two pieces of waste, and the measures of the fit."""
    artwork = PathArtwork(d="M0 0H10V10H0ZM3 3V7H7V3ZM20 0H30V10H20ZM40 0H50V10H40Z", height="10 mm")
    order = read(book, asked(artwork=artwork))
    marks = marks_of(book, order)
    (piece,) = part_of(order, marks, (), (), outlined=True).pieces

    assert (50.0, 10.0, 136.0, 16, 4, 2) == (
        piece.width_mm,
        piece.height_mm,
        piece.cut_length_mm,
        piece.corners,
        piece.outlines,
        piece.waste_pieces,
    )
    assert piece.outline is not None
    across, along = zip(*piece.outline, strict=True)
    border = book.films["smooth"].cutting
    assert border is not None
    assert pytest.approx((50.0 + 2.0 * border.border_mm, 10.0 + 2.0 * border.border_mm), abs=0.3) == (
        max(across) - min(across),
        max(along) - min(along),
    )


def test_a_print_has_no_outline_to_be_nested_by(book: Book) -> None:
    """A film that is not cut has no weed border."""
    order = read(book, asked(film="printed", colour=book.films["printed"].colours[0].id))
    (piece,) = part_of(order, marks_of(book, order), (), (), outlined=True).pieces

    assert piece.outline is None


@pytest.mark.parametrize(
    ("shoes", "at_once", "closings", "pairs_at_once"),
    [
        (("left", "right"), 1, 2, 1),
        (("left", "right"), 2, 1, 1),
        (("left", "right"), 3, 1, 1),
        (("left", "right"), 4, 1, 2),
        (("left",), 1, 1, 1),
        (("left",), 2, 1, 2),
    ],
)
def test_closings_of_a_pair_are_as_many_as_the_platen_takes(
    book: Book, shoes: tuple[str, ...], at_once: int, closings: int, pairs_at_once: int
) -> None:
    """A pair of which one shoe goes on takes two; where two pairs go on, one closing serves both."""
    marks = marks_of(book, read(book, asked()))
    closing = presswork(book, pressing(marks, shoes=shoes, at_once=at_once)).closing

    assert (closings, pairs_at_once, len(shoes)) == (closing.closings, closing.pairs_at_once, closing.shoes)


@pytest.mark.parametrize(("most", "pairs"), [(1, 1), (2, 1), (3, 1), (4, 2), (8, 4)])
def test_the_most_pairs_are_those_the_platen_takes(book: Book, most: int, pairs: int) -> None:
    """At least one, however small the platen."""
    marks = marks_of(book, read(book, asked()))

    assert pairs == presswork(book, pressing(marks, at_once=1, most_shoes=most)).most_pairs


def test_a_closing_is_its_setting_and_its_hands(book: Book) -> None:
    """Dwell, wait and temperature are the recipe's; every copy is positioned, and taped on a carrier without tack."""
    order = read(book, asked(), asked(panel="inner-quarter", sides="left"))
    marks = marks_of(book, order)
    sticky = presswork(book, pressing(marks, loading=3))
    reflective = presswork(book, pressing(marks, recipe=replace(RECIPE, film="reflective", peel=None)))
    bare = presswork(book, pressing(marks, recipe=replace(RECIPE, setting=replace(SETTING, cover=None))))

    closing = sticky.closing
    assert (3, 0, 14.0, 4.0, 160.0) == (
        closing.loading,
        closing.setting,
        closing.dwell_s,
        closing.wait_s,
        closing.temperature_c,
    )
    assert (3, 0, book.covers["silicone-thin"]) == (closing.placed, closing.taped, sticky.cover)
    assert (3, 3, 0.0) == (reflective.closing.placed, reflective.closing.taped, reflective.closing.wait_s)
    assert bare.cover is None


def test_equal_settings_have_one_number(book: Book) -> None:
    """Temperature, dwell and pressure make a setting; the cover sheet does not. Numbers go on over several orders."""
    order = read(book, asked())
    marks = marks_of(book, order)
    changes = (
        {},
        {"temperature_c": 150.0},
        {"dwell_s": 15.0},
        {"pressure": "firm"},
        {"cover": "paper"},
        {"temperature_c": 150.0, "temperature_f": 302.0},
    )
    pressings = [pressing(marks, recipe=replace(RECIPE, setting=replace(SETTING, **change))) for change in changes]
    settings: Settings = {(1.0, 2.0, "light"): 0}
    work = presswork_of(book, order, Plan(pressings=tuple(pressings), reasons=()), tried=(), settings=settings)

    assert [1, 2, 3, 4, 1, 2] == [one.closing.setting for one in work]
    assert {(1.0, 2.0, "light"): 0, (160.0, 14.0, "medium"): 1, (150.0, 14.0, "medium"): 2} == dict(
        [*settings.items()][:3]
    )


def test_a_recipe_without_a_setting_is_no_work(book: Book) -> None:
    """It had to be declined before."""
    marks = marks_of(book, read(book, asked()))

    with pytest.raises(AssertionError, match="must be declined"):
        presswork(book, pressing(marks, recipe=replace(RECIPE, setting=None)))


@pytest.mark.parametrize(
    ("owner", "tried", "slips_alone"),
    [
        ("customer", ("/placements/0", "/placements/1"), True),
        ("customer", ("/placements/0",), False),
        ("customer", (), False),
        ("shop", ("/placements/0", "/placements/1"), False),
    ],
)
def test_a_customers_pair_whose_marks_were_all_tried_is_spoilt_by_slips_alone(
    book: Book, owner: str, tried: tuple[str, ...], slips_alone: bool
) -> None:
    """Of the shop's own pair, or one with a mark untried, the recipe's chances remain."""
    marks = marks_of(book, read(book, asked(), asked(panel="inner-quarter")))
    work = presswork(book, pressing(marks), owner=owner, tried=tried)
    untried = shoe_chance(book, RECIPE), weak_bond_chance(dwell_s=14.0, shortest_s=10.0, sure_s=13.0)

    assert pytest.approx((0.01, 0.0) if slips_alone else untried) == (work.shoe_chance, work.weak_chance)
    assert untried[0] > 0.01
    assert untried[1] > 0.0


def test_the_worst_of_a_closings_recipes_counts(book: Book) -> None:
    """Both for harm by heat and for a weak bond."""
    marks = marks_of(book, read(book, asked()))
    hot = replace(RECIPE, layers=(replace(LAYER, peak_c=165.0, worst_case_c=170.0, margin_k=3.0),))
    weak = replace(RECIPE, setting=replace(SETTING, dwell_s=11.0))
    work = presswork(book, pressing(marks, recipes=(RECIPE, hot, weak)))

    assert pytest.approx(shoe_chance(book, hot)) == work.shoe_chance
    assert pytest.approx(weak_bond_chance(dwell_s=11.0, shortest_s=10.0, sure_s=13.0)) == work.weak_chance


@pytest.mark.parametrize(
    ("window", "chance"),
    [
        (None, 0.0),
        (replace(WINDOW, shortest_s=None), 0.0),
        (WINDOW, weak_bond_chance(dwell_s=14.0, shortest_s=10.0, sure_s=13.0)),
        # No dwell is sure: the spread is infinite, and half of all bonds are weak.
        (replace(WINDOW, worst_case=Band(shortest_s=None, longest_s=None)), 0.5),
        # Rounded, the sure dwell may be below the one needed; then nothing is uncertain.
        (replace(WINDOW, shortest_s=13.5, worst_case=Band(shortest_s=13.4, longest_s=None)), 0.0),
    ],
)
def test_a_weak_bond_is_as_likely_as_the_window_says(book: Book, window: object, chance: float) -> None:
    """Without a window, or one without a shortest dwell, nothing has to bond."""
    marks = marks_of(book, read(book, asked()))
    recipe = replace(RECIPE, window=window)

    assert pytest.approx(chance, abs=1e-12) == presswork(book, pressing(marks, recipe=recipe)).weak_chance


def test_a_recipe_without_layers_is_a_guess(book: Book) -> None:
    """A slip, and a limit of which nothing is known."""
    assert pytest.approx(0.09) == shoe_chance(book, replace(RECIPE, layers=()))


@pytest.mark.parametrize(("evidence", "weak"), [("published", 0.02), ("practice", 0.04), ("guess", 0.08)])
def test_a_shoe_is_spoilt_by_a_slip_a_weak_limit_or_heat(book: Book, evidence: str, weak: float) -> None:
    """The evidence is that of the layer with the smallest margin; every layer may be too hot, by its own material."""
    near = replace(LAYER, evidence=evidence, margin_k=18.0)
    far = replace(LAYER, material="polyester-fabric", limit_c=172.0, margin_k=22.0, evidence="published", peak_c=160.0)
    heat = [
        heat_damage_chance(
            peak_c=layer.peak_c,
            worst_case_c=155.0,
            limit_c=layer.limit_c,
            limit_spread_k=book.materials[layer.material].limit.spread_k,
        )
        for layer in (near, far)
    ]
    expected = chance_of_any([0.01 + weak, *heat])

    assert pytest.approx(expected) == shoe_chance(book, replace(RECIPE, layers=(near, far)))
    assert pytest.approx(expected) == shoe_chance(book, replace(RECIPE, layers=(far, near)))
    assert heat[0] != heat[1]
    assert min(heat) > 1e-6


def test_a_chance_is_at_most_one(book: Book) -> None:
    """Whatever a book adds up."""
    rates = book.rates[book.bench.rates]
    clumsy = replace(rates.spoilage, handling=0.7, weak_practice=0.6, weak_guess=0.6)
    own = replace(book, rates={rates.id: replace(rates, spoilage=clumsy)})
    marks = marks_of(own, read(own, asked()))

    assert 1.0 == shoe_chance(own, RECIPE)
    assert 1.0 == shoe_chance(own, replace(RECIPE, layers=()))
    assert 0.7 == presswork(own, pressing(marks), tried=("/placements/0",)).shoe_chance
    assert math.isclose(1.0, presswork(own, pressing(marks)).shoe_chance)
