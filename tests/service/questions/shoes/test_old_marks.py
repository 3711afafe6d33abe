"""Films that are on a shoe already, under a new film and beside it."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace
from shapely import MultiPolygon

from featherline.wire.artworks import At, PathArtwork
from featherline.wire.costs import Order
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import OldMark, Recipe, RecipeRequest, ShoePanel
from featherline.wire.shoes import BookShoe, MeasuredPanel, MeasuredShoe, Rectangle, Size
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.drawing.scene import Words
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.quote import quotes
from featherline_service.questions.quote.adjacent_panels import hazards
from featherline_service.questions.recipe import temperature_charts
from featherline_service.questions.recipe.recipes import resolve
from featherline_service.questions.shoes.old_marks import check_old_marks, marked_upper, old_name, read_outlines

EXAMPLE = Path(__file__).parents[4] / "openapi" / "examples" / "quote-request.json"
OVER, BESIDE = OldMark(film="smooth", under=True), OldMark(film="smooth")


@pytest.fixture(scope="module")
def order() -> Order:
    """The commonest order."""
    return msgspec.json.decode(EXAMPLE.read_bytes(), type=Order)


def question(*marks: OldMark, film: str = "smooth", units: str = "metric") -> RecipeRequest:
    """Return a question for a deck shoe's leather quarter with films on it."""
    shoe = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42"))
    onto = ShoePanel(shoe=shoe, panel="outer-quarter", old_marks=marks)
    return RecipeRequest(film=film, onto=onto, units=units)  # type: ignore[arg-type]


def with_limit(book: Book, material: str, peak_c: float, spread_k: float) -> Book:
    """Return a book in which a material stands less."""
    record = book.materials[material]
    lower = replace(record, limit=replace(record.limit, peak_c=peak_c, spread_k=spread_k))
    return replace(book, materials={**book.materials, material: lower})


def reasons(answer: Recipe | QuoteAnswer, code: str) -> list[Reason]:
    """Return an answer's reasons of one code."""
    return [reason for reason in answer.reasons if reason.code == code]


def test_the_film_is_layers_of_the_upper(book: Book) -> None:
    """From its face to its adhesive, which has wetted the upper's own face."""
    upper = marked_upper(book, book.uppers["leather-lined"], "smooth")
    names = [(layer.name, layer.bonded) for layer in upper.layers[:3]]
    assert [
        ("old smooth film face", False),
        ("old smooth adhesive", True),
        ("grain leather", True),
    ] == names


def test_a_film_on_a_film_bonds_later(book: Book) -> None:
    """The old film is one more resistance before the pad: the bond line warms slower than on the leather itself."""
    alone, over = resolve(book, question()), resolve(book, question(OVER))
    assert alone.window is not None
    assert over.window is not None
    assert alone.window.shortest_s is not None
    assert over.window.shortest_s is not None
    assert alone.window.shortest_s < over.window.shortest_s < 1.2 * alone.window.shortest_s


def test_old_layers_are_followed_under_and_beside(book: Book) -> None:
    """An old mark is heated as the shoe is; beside the film nothing but the cover sheet lies between."""
    beside = {layer.layer: layer.peak_c for layer in resolve(book, question(BESIDE)).layers}
    assert beside["film face"] < beside["old smooth film face"] < beside["siliconised sheet"]
    assert set(beside) == {layer.layer for layer in resolve(book, question(OVER)).layers}


def test_an_old_mark_that_does_not_stand_it_forbids_it(book: Book) -> None:
    """A film that would be harmed is a layer like any other, and named."""
    weak = with_limit(book, "flock-pile", 135.0, 3.0)
    recipe = resolve(weak, question(OldMark(film="flock")))
    assert "decline" == recipe.verdict
    assert ["old flock pile"] == [reason.subject for reason in reasons(recipe, "heat.no-window")]


def test_no_film_holds_on_a_structured_face(book: Book) -> None:
    """The answer is no, and says what could be done; another panel is free of the old mark."""
    recipe = resolve(book, question(OldMark(film="flock", under=True)))
    assert "decline" == recipe.verdict
    (reason,) = reasons(recipe, "surface.unsuited")
    assert "take the old mark off" in reason.sentence
    assert "Smooth polyurethane film" in reason.sentence
    assert {"panel"} == {each.change for each in recipe.help}


def test_what_softens_again_is_said(book: Book) -> None:
    """The old adhesive flows again from its onset on, in the caller's scale; one that stays cooler is not spoken of."""
    (softened,) = reasons(resolve(book, question(BESIDE, units="us")), "heat.softens-old-mark")
    assert ("/onto/old_marks/0", "degF") == (softened.subject, softened.unit)
    assert softened.measure is not None
    assert softened.limit is not None
    assert softened.limit < softened.measure
    hard = replace(book.films["smooth"], adhesive=replace(book.films["smooth"].adhesive, onset_c=180.0))
    stiff = replace(book, films={**book.films, "stretch-on-hard": hard})
    assert [] == reasons(resolve(stiff, question(OldMark(film="stretch-on-hard"))), "heat.softens-old-mark")


def test_the_chart_shows_the_old_mark(book: Book) -> None:
    """Its layers are drawn between the film and the upper."""
    scene = temperature_charts.draw(book, question(BESIDE))
    words = " ".join(item.text for item in scene.items if isinstance(item, Words))
    assert "old smooth adhesive" in words


def test_a_walk_in_may_have_one(book: Book) -> None:
    """Every upper that the label allows gets the film on it."""
    panel = MeasuredPanel(panel="side", shape=Rectangle(width="60 mm", height="30 mm"))
    onto = ShoePanel(shoe=MeasuredShoe(label="leather", panels=(panel,)), panel="side", old_marks=(BESIDE,))
    layers = [layer.layer for layer in resolve(book, RecipeRequest(film="stretch", onto=onto)).layers]
    assert layers.count("old smooth adhesive") == 1


def test_what_cannot_be_is_refused(book: Book) -> None:
    """Two films cannot both be what the new one meets, and a film must be the book's."""
    with pytest.raises(RefusedError) as refused:
        resolve(book, question(OVER, OldMark(film="stretch", under=True), OldMark(film="velvet")))
    assert ["/onto/old_marks/2/film", "/onto/old_marks"] == [fault.pointer for fault in refused.value.faults]


def test_an_order_may_be_a_repair(book: Book, order: Order) -> None:
    """A placement says what is on its panel; the pressing's recipe follows it."""
    repair = replace(order, placements=(replace(order.placements[0], old_marks=(OVER,)),))
    answer = quotes.compose(book, repair)
    assert "old smooth adhesive" in {layer.layer for layer in answer.pressings[0].recipe.layers}


@pytest.mark.parametrize(
    ("limit_c", "spread_k", "verdicts"), [(185.0, 5.0, []), (150.0, 1.0, ["trial"]), (146.0, 0.5, ["decline"])]
)
def test_a_second_film_presses_the_first_again(
    book: Book, order: Order, limit_c: float, spread_k: float, verdicts: list[str]
) -> None:
    """On one loading the first film lies under the cover sheet in the second pressing, and may not stand that."""
    weaker = with_limit(book, "polyurethane-film", limit_c, spread_k)
    badge = PathArtwork(d="M0 0H10V10H0Z", height="10 mm")
    smooth = replace(order.placements[0], artwork=badge, pose=At(x="-14 mm", y="0 mm"))
    flock = replace(smooth, film="flock", colour="chalk", pose=At(x="10 mm", y="0 mm"))
    both = replace(order, placements=(smooth, flock))
    answer = quotes.compose(weaker, both)
    assert ["smooth", "flock"] == [pressing.recipe.film for pressing in answer.pressings]
    assert verdicts == [reason.verdict for reason in reasons(answer, "heat.pressed-again")]


def test_without_a_cover_sheet_nothing_is_said_of_what_lies_beside(book: Book) -> None:
    """There the platen meets the upper itself."""
    setting = resolve(book, question()).setting
    assert setting is not None
    bare = replace(setting, cover=None)
    beside = [("the quarter", book.uppers["leather-lined"])]
    assert list(hazards(book, beside, bare, pad="silicone-foam", spread_k=3.0)) == []


def read(*marks: OldMark) -> tuple[tuple[MultiPolygon | None, ...], list[tuple[str, str]]]:
    """Return the regions of marks on a panel with its centre at (30, -20), and what is wrong with them."""
    checks = Checks()
    regions = read_outlines(marks, (30.0, -20.0), checks)
    return regions, [(fault.pointer, fault.detail) for fault in checks.faults]


def test_an_outline_is_from_the_panels_centre() -> None:
    """In millimetres, y downwards in the request and upwards on the panel, without holes of the same direction."""
    squares = "M0 0H10V10H0ZM2 2H8V8H2Z"
    (none, region), faults = read(OldMark(film="glow"), OldMark(film="glow", outline=squares))
    assert region is not None

    assert (None, []) == (none, faults)
    assert pytest.approx((30.0, -30.0, 40.0, -20.0)) == region.bounds
    assert pytest.approx(100.0) == region.area


@pytest.mark.parametrize(
    ("outline", "fault"),
    [
        ("M0 0H1000V10H0Z", None),
        ("M0 0H1000.1V10H0Z", "The mark is larger than 1000 mm: draw it in millimetres"),
        ("M0 0H10V1000.1H0Z", "The mark is larger than 1000 mm: draw it in millimetres"),
        ("M0 0L1", ""),
    ],
)
def test_an_outline_larger_than_a_panel_or_undrawn_is_a_fault(outline: str, fault: str | None) -> None:
    """At the mark's own outline; it has no region then."""
    regions, faults = read(OldMark(film="glow"), OldMark(film="glow", outline=outline))

    assert ([] if fault is None else ["/old_marks/1/outline"]) == [pointer for pointer, _ in faults]
    assert (fault is None) == (regions[1] is not None)
    assert all(detail == fault or not fault for _, detail in faults)


@pytest.mark.parametrize(
    ("marks", "pointers"),
    [
        ((BESIDE, BESIDE, OVER), []),
        ((OVER, OVER), ["/old_marks"]),
        ((BESIDE, OldMark(film="velvet")), ["/old_marks/1/film"]),
        ((OldMark(film="velvet", under=True), OVER), ["/old_marks/0/film", "/old_marks"]),
    ],
)
def test_one_known_mark_at_most_lies_under_the_film(
    book: Book, marks: tuple[OldMark, ...], pointers: list[str]
) -> None:
    """Any number may lie beside it."""
    checks = Checks()
    check_old_marks(book, marks, checks)

    assert pointers == [fault.pointer for fault in checks.faults]


def test_a_marked_upper_keeps_its_own_layers_below_its_face(book: Book) -> None:
    """Only the face is bonded to the film, whose layers have its name before theirs."""
    upper, film = book.uppers["leather-lined"], book.films["stretch"]
    marked = marked_upper(book, upper, "stretch")
    count = len(film.layers)

    assert [old_name(film, layer) for layer in film.layers] == [layer.name for layer in marked.layers[:count]]
    assert f"old {film.family} {film.layers[0].name}" == marked.layers[0].name
    assert replace(upper.layers[0], bonded=True) == marked.layers[count]
    assert upper.layers[1:] == marked.layers[count + 1 :]
    assert (upper.id, upper.surface) == (marked.id, marked.surface)
