from __future__ import annotations

import math
from fractions import Fraction
from pathlib import Path
from statistics import NormalDist
from typing import Any, Final, Literal

import msgspec
import pytest
from msgspec.structs import replace
from single_questions import fit_request, recipe_request

from featherline.wire.artworks import At, PathArtwork, TextArtwork
from featherline.wire.costs import Order, Placement
from featherline.wire.fits import Fit
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.shoes import BookShoe, MeasuredPanel, MeasuredShoe, Rectangle, Size
from featherline.wire.trials import TrialRequest
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.cost.nesting import outline_nesting
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.fit import fits
from featherline_service.questions.order.artwork_sizes import find_artwork
from featherline_service.questions.quote import bench_cards, quotes
from featherline_service.questions.quote.quotes import compose
from featherline_service.questions.quote.work import shoe_chance
from featherline_service.questions.recipe import recipes
from featherline_service.questions.recipe.recipe_tasks import read_task
from featherline_service.questions.trial import trials
from featherline_service.runtime import cache

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
SMALL = PathArtwork(d="M0 0H10V10H0Z", height="6 mm")
LEFT_HALF: Final[dict[str, object]] = {"artwork": SMALL, "pose": At(x="-12 mm", y="0 mm")}
RIGHT_HALF: Final[dict[str, object]] = {"artwork": SMALL, "pose": At(x="12 mm", y="0 mm")}
SQUARE_INCH_MM2 = 25.4**2


@pytest.fixture(scope="module")
def order() -> Order:
    """MARLOW over 7 on a deck shoe's outer quarters, one pair that a customer brought."""
    return msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)


@pytest.fixture(scope="module")
def quote(book: Book, order: Order) -> QuoteAnswer:
    """The quote for it."""
    return compose(book, order)


def on(order: Order, **changes: object) -> Placement:
    """Return the order's placement, changed."""
    return replace(order.placements[0], **changes)


def faults(book: Book, order: Order) -> list[str]:
    """Return the pointers of an order's faults."""
    with pytest.raises(RefusedError) as caught:
        compose(book, order)
    return [fault.pointer for fault in caught.value.faults]


def test_a_leather_deck_shoe_is_ready_and_priced(quote: QuoteAnswer) -> None:
    """The shop's commonest order: one pressing of both shoes at once, and the counter's floor as its price."""
    pressing = quote.pressings[0]

    assert ("ready", 1) == (quote.verdict, len(quote.pressings))
    assert (1, "outer", (0,), ("left", "right"), 2) == (
        pressing.loading,
        pressing.face,
        pressing.placements,
        pressing.shoes,
        pressing.shoes_at_once,
    )
    assert quote.price is not None
    assert ("9.90", "9.90") == (quote.price.each.amount, quote.price.total.amount)


def test_the_parts_are_those_of_their_own_questions(book: Book, order: Order, quote: QuoteAnswer) -> None:
    """Fit and recipe in the quote are what the questions for them alone answer, but for the steps of this order."""
    request = recipe_request(order, order.placements[0])

    assert fits.check(book, fit_request(order, order.placements[0])) == quote.placements[0].fit
    recipe = quote.pressings[0].recipe
    assert recipes.resolve(book, request) == replace(recipe, steps=recipes.resolve(book, request).steps)


def test_film_and_material_are_as_common_practice_has_them(quote: QuoteAnswer) -> None:
    """About five square inches of film a shoe or less, and material for about ten cents a pair.

    Common practice, no source: cut film costs about a cent a square inch, a small shoe graphic about five cents.
    """
    assert quote.cost is not None
    film = quote.cost.film[0]

    assert film.pieces == 2
    assert 0.5 < film.film_mm2 / 2 / SQUARE_INCH_MM2 <= 5
    assert Fraction("0.02") <= Fraction(quote.cost.material.amount) <= Fraction("0.12")


def test_the_lines_add_up(quote: QuoteAnswer) -> None:
    """The total is the sum of the lines, and the first step of the price."""
    assert quote.cost is not None
    assert quote.price is not None
    amounts = [Fraction(line.amount.amount) for line in quote.cost.lines]

    assert Fraction(quote.cost.total.amount) == sum(amounts)
    assert quote.price.why[0].amount == quote.cost.total


def test_every_origin_is_a_record_of_the_book(book: Book, quote: QuoteAnswer) -> None:
    """A reader finds each rate where its line says it is from."""
    assert quote.cost is not None
    for line in quote.cost.lines:
        kind, _, record = line.origin.partition("/")
        assert record in getattr(book, kind)


def test_an_order_has_the_marks_of_the_one_before_where_only_the_pairs_differ(
    book: Book, order: Order, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fits are computed once for both, and the quote is the one that is computed with nothing known."""
    cache.clear()
    computed = []

    def counted(*args: Any, **kwargs: Any) -> Fit:  # noqa: ANN401 - as `fit_of` takes them
        computed.append(args)
        return fits.fit_of(*args, **kwargs)

    monkeypatch.setattr(quotes, "fit_of", counted)
    found = [compose(book, replace(order, pairs=pairs)) for pairs in (1, 12)]
    assert len(order.placements) == len(computed)

    cache.clear()
    assert found[1] == compose(book, replace(order, pairs=12))
    assert 2 * len(order.placements) == len(computed)


def test_one_shoe_takes_half_the_pieces(book: Book, order: Order, quote: QuoteAnswer) -> None:
    """A name on the left shoe alone is one piece, one shoe laid, and half the chance to spoil a pair."""
    left = compose(book, replace(order, placements=(on(order, sides="left"),)))
    assert left.cost is not None
    assert quote.cost is not None

    assert (("left",), 1) == (left.pressings[0].shoes, left.pressings[0].shoes_at_once)
    assert left.cost.film[0].pieces == 1
    assert 1 - (1 - left.cost.spoil_chance) ** 2 == pytest.approx(quote.cost.spoil_chance)


def test_single_shoes_of_two_pairs_lie_on_the_platen_of_a_pair(book: Book, order: Order) -> None:
    """Twelve left shoes take six closings on a platen for two shoes, and wear the cover sheet six times."""
    left = compose(book, replace(order, pairs=12, placements=(on(order, sides="left"),)))
    assert left.cost is not None
    (cover,) = [line for line in left.cost.lines if line.what == "cover"]
    card = bench_cards.compose(book, replace(order, pairs=12, placements=(on(order, sides="left"),)))

    assert 2 == left.pressings[0].shoes_at_once
    assert "6" == cover.quantity
    assert card.pressings[0].where.endswith("the left shoe of 2 pairs at once")


def test_a_platen_for_four_shoes_takes_two_pairs(book: Book, order: Order) -> None:
    """Of three pairs, two lie on it together and one alone; an order of one pair lies on it as a pair."""
    double = replace(book.platens["shoe-form"], shoes_at_once=4)
    wide = replace(book, platens={**book.platens, "shoe-form": double})
    three, one = (compose(wide, replace(order, pairs=pairs)) for pairs in (3, 1))
    assert three.cost is not None
    (cover,) = [line for line in three.cost.lines if line.what == "cover"]

    assert (4, 2) == (three.pressings[0].shoes_at_once, one.pressings[0].shoes_at_once)
    assert "2" == cover.quantity
    assert "Load both shoes of 2 pairs," in " ".join(step.sentence for step in three.pressings[0].recipe.steps)


def test_a_mark_on_one_shoe_must_fit_that_shoe_alone(book: Book, order: Order) -> None:
    """The sides of a placement are the sides that its fit is asked for."""
    left = replace(order, placements=(on(order, sides="left"),))
    quote = quotes.compose(book, left)
    assert fit_request(left, left.placements[0]).sides == "left"
    assert fits.check(book, fit_request(left, left.placements[0])) == quote.placements[0].fit


def test_placements_of_one_film_on_one_face_share_a_pressing(book: Book, order: Order) -> None:
    """Two marks on the same quarter are bonded by one closing of the press. Common practice, no source."""
    small = PathArtwork(d="M0 0H10V10H0Z", height="6 mm")
    answer = compose(book, replace(order, placements=(on(order), on(order, artwork=small))))

    assert [(0, 1)] == [pressing.placements for pressing in answer.pressings]
    assert [0, 0] == [placement.pressing for placement in answer.placements]


def test_films_that_differ_follow_on_one_loading_the_hottest_first(book: Book, order: Order) -> None:
    """A film pressed cooler comes last, so that no film is pressed again hotter than its own setting."""
    placements = (
        on(order, film="stretch", colour="pitch", **LEFT_HALF),
        on(order, film="smooth", colour="gorse", **RIGHT_HALF),
    )
    answer = compose(book, replace(order, placements=placements))
    temperatures = [one.recipe.setting.temperature_c for one in answer.pressings if one.recipe.setting is not None]

    assert [1, 1] == [pressing.loading for pressing in answer.pressings]
    assert [(1,), (0,)] == [pressing.placements for pressing in answer.pressings]
    assert temperatures == sorted(temperatures, reverse=True)
    assert temperatures[0] > temperatures[1]
    assert [1, 0] == [placement.pressing for placement in answer.placements]


def test_another_face_is_another_loading(book: Book, order: Order) -> None:
    """Outer and inner quarters cannot lie under the platen together."""
    answer = compose(book, replace(order, placements=(on(order), on(order, panel="inner-quarter"))))

    assert [(1, "outer"), (2, "inner")] == [(one.loading, one.face) for one in answer.pressings]


def test_film_whose_carrier_does_not_stick_is_taped(book: Book, order: Order) -> None:
    """Reflective film is taped on both shoes, and the tape is charged. Common practice, no source."""
    plain = PathArtwork(d="M0 0H10V10H0Z", height="12 mm")
    answer = compose(book, replace(order, placements=(on(order, film="reflective", colour="beacon", artwork=plain),)))
    assert answer.cost is not None

    assert ["2"] == [line.quantity for line in answer.cost.lines if line.what == "tape"]


def test_a_declined_order_has_no_cost_and_no_price(book: Book) -> None:
    """A clog of EVA foam is declined, and nothing is charged for what is not done."""
    answer = compose(book, msgspec.json.decode((EXAMPLES / "clog.json").read_bytes(), type=Order))

    assert ("decline", None, None) == (answer.verdict, answer.cost, answer.price)
    assert any(reason.verdict == "decline" for reason in answer.reasons)


def test_a_measured_shoe_is_never_better_than_a_trial(book: Book, order: Order) -> None:
    """What is known by label and ruler alone is tried first, at best."""
    panel = MeasuredPanel(panel="side", shape=Rectangle(width="60 mm", height="40 mm"), curvature="flat")
    for label in ("leather", "coated-leather", "textile", "other"):
        shoe = MeasuredShoe(label=label, panels=(panel,), inside_length="265 mm")  # type: ignore[arg-type]
        answer = compose(book, replace(order, shoe=shoe, placements=(on(order, panel="side"),)))

        assert answer.verdict in {"trial", "decline"}
        assert any(reason.code == "shoe.measured" for reason in answer.reasons)


def test_reasons_point_into_the_order(book: Book, order: Order) -> None:
    """What is wrong with the second placement says so by its pointer."""
    huge = on(order, artwork=TextArtwork(text="MARLOW", font="plain", height="60 mm"))
    answer = compose(book, replace(order, placements=(on(order), huge)))
    outside = [reason.subject for reason in answer.reasons if reason.code == "fit.outside"]

    assert ["/placements/1/artwork"] == outside


def test_no_reason_is_given_twice(book: Book, order: Order) -> None:
    """What two placements say of one shoe is said once."""
    panel = MeasuredPanel(panel="side", shape=Rectangle(width="60 mm", height="40 mm"), curvature="flat")
    shoe = MeasuredShoe(label="leather", panels=(panel,), inside_length="265 mm")
    placements = (on(order, panel="side"), on(order, panel="side"))
    answer = compose(book, replace(order, shoe=shoe, placements=placements))

    assert len(answer.reasons) == len(set(answer.reasons))


def test_faults_of_all_parts_come_together(book: Book, order: Order) -> None:
    """Each fault has its pointer into the order, and the order's own have theirs once."""
    asked = replace(
        order,
        policy="no-such",
        press="no-such",
        placements=(
            on(order, film="no-such"),
            on(order, panel="no-such"),
            on(order, artwork=TextArtwork(text="MARLOW", font="no-such", height="22 mm")),
            on(order, colour="no-such"),
        ),
    )
    found = faults(book, asked)

    assert sorted(found) == sorted(set(found))
    assert {
        "/policy",
        "/press",
        "/placements/0/film",
        "/placements/1/panel",
        "/placements/2/artwork/font",
        "/placements/3/colour",
    } == set(found)


def test_a_shoe_that_the_book_has_not_is_one_fault(book: Book, order: Order) -> None:
    """However many placements ask for it."""
    shoe = BookShoe(shoe="no-such", size=Size(system="EU", value="42"))

    assert ["/shoe/shoe"] == faults(book, replace(order, shoe=shoe, placements=(on(order), on(order))))


def test_a_size_that_the_shoe_is_not_made_in_is_refused(book: Book, order: Order) -> None:
    """The fault is at the size, not at a placement."""
    found = faults(book, replace(order, shoe=BookShoe(shoe="regatta-deck", size=Size(system="EU", value="99"))))

    assert all(pointer.startswith("/shoe/size") for pointer in found)


def test_a_small_shoe_goes_on_the_small_form(book: Book, order: Order) -> None:
    """A child's trainer too short for the shoe form goes on the small one, as a pair."""
    shoe = BookShoe(shoe="minnow-trainer", size=Size(system="EU", value="28"))
    mark = on(order, film="stretch", colour="pitch", artwork=PathArtwork(d="M0 0H10V10H0Z", height="8 mm"))
    answer = compose(book, replace(order, shoe=shoe, placements=(mark,)))

    assert answer.pressings[0].shoes_at_once == 2


def test_a_platen_for_one_shoe_takes_two_closings_for_a_pair(book: Book, order: Order, quote: QuoteAnswer) -> None:
    """Where only one shoe goes on at once, every pair closes the press twice: twice the cover's wear."""
    single = replace(book.platens["shoe-form"], shoes_at_once=1)
    answer = compose(replace(book, platens={**book.platens, "shoe-form": single}), order)
    assert answer.cost is not None
    assert quote.cost is not None

    assert answer.pressings[0].shoes_at_once == 1
    assert [("1", "2")] == [
        (ours.quantity, theirs.quantity)
        for ours in quote.cost.lines
        for theirs in answer.cost.lines
        if ours.what == theirs.what == "cover"
    ]


def test_the_shops_own_pair_is_dearer_to_spoil_by_its_value_and_done_again(book: Book, order: Order) -> None:
    """A pair of the shop's is replaced at its value, and marked again at what one pair costs."""
    answer = compose(book, replace(order, owner="shop"))
    assert answer.cost is not None
    value, again, weak = (line for line in answer.cost.lines if line.what == "spoilage")
    before = sum(
        Fraction(line.amount.amount) for line in answer.cost.lines if line.what not in {"spoilage", "overhead"}
    )

    assert ("shoes/regatta-deck", Fraction(book.shoes["regatta-deck"].pair_value.amount)) == (
        value.origin,
        Fraction(value.rate),
    )
    assert [before, before] == [Fraction(again.rate), Fraction(weak.rate)]
    assert Fraction(weak.quantity) == pytest.approx(Fraction(answer.cost.redo_chance), abs=1e-6)


def test_a_policy_in_another_currency_is_refused(book: Book, order: Order) -> None:
    """Euros and dollars are not added."""
    dollars = replace(book.policies["counter"], id="dollars", currency="USD")
    other = replace(book, policies={**book.policies, "dollars": dollars})

    assert ["/policy"] == faults(other, replace(order, policy="dollars"))


def test_artwork_wider_than_the_roll_is_refused(book: Book, order: Order) -> None:
    """Film that is too narrow for the art is told at the artwork."""
    smooth = book.films["smooth"]
    narrow = replace(smooth, roll=replace(smooth.roll, width_mm=20.0))
    other = replace(book, films={**book.films, "smooth": narrow}, offcuts={})

    assert ["/placements/0/artwork"] == faults(other, order)


def with_upper(book: Book, panel: str, upper: str, face: str) -> Book:
    """Return the book with a panel of the deck shoe of another upper, on a face."""
    shoe = book.shoes["regatta-deck"]
    panels = tuple(replace(one, upper=upper, face=face) if one.id == panel else one for one in shoe.panels)
    return replace(book, shoes={**book.shoes, shoe.id: replace(shoe, panels=panels)})


def test_an_unmarked_panel_that_does_not_stand_the_setting_is_kept_out(book: Book, order: Order) -> None:
    """A toe of EVA foam on the face that is pressed: a reason names its layer and how long it stands, a step says so.

    The order goes ahead: it is the bench that keeps the toe out from under the platen.
    """
    answer = compose(with_upper(book, "toe", "eva-foam", "outer"), order)
    (reason,) = [reason for reason in answer.reasons if reason.code == "heat.beside"]
    recipe = answer.pressings[0].recipe
    assert recipe.setting is not None
    assert reason.measure is not None
    assert reason.limit is not None

    assert ("ready", "/placements/0", recipe.setting.dwell_s, "s") == (
        reason.verdict,
        reason.subject,
        reason.measure,
        reason.unit,
    )
    assert 0 <= reason.limit < reason.measure
    assert "foam" in reason.sentence
    assert ["keep-out"] == [step.do for step in recipe.steps if "Toe" in step.sentence or "toe" in step.sentence]


def test_an_unmarked_panel_of_the_marked_ones_upper_is_spoken_for(book: Book, order: Order) -> None:
    """What the recipe says of the marked panel holds for every panel of its upper, and other faces are not pressed."""
    same = compose(with_upper(book, "toe", book.shoes["regatta-deck"].panels[0].upper, "outer"), order)
    elsewhere = compose(with_upper(book, "toe", "eva-foam", "toe"), order)

    assert not [reason for answer in (same, elsewhere) for reason in answer.reasons if reason.code == "heat.beside"]


def test_a_panel_pressed_at_anothers_setting_is_spoilt_as_often_as_that_setting_makes_it(
    book: Book, order: Order
) -> None:
    """Grain and suede leather on one face share a dwell: the chance to spoil is that of the layers at the shared dwell.

    Held to the cover and temperature of the pressing, the second panel's own recipe has another dwell, and peaks that
    are not those of the pressing.
    """
    other = with_upper(book, "toe", "suede", "outer")
    answer = compose(other, replace(order, placements=(on(order), on(order, panel="toe", artwork=SMALL))))
    (pressing,) = answer.pressings
    setting = pressing.recipe.setting
    assert setting is not None
    assert answer.cost is not None
    request = replace(
        recipe_request(order, on(order, panel="toe")),
        cover=setting.cover,
        temperature=f"{setting.temperature_c:.9f} degC",
    )
    at_setting, _ = read_task(other, request)
    alone = recipes.recipe_of(other, at_setting)
    assert alone.setting is not None
    layers = recipes.layers_at(other, at_setting, setting.dwell_s)

    assert alone.setting.dwell_s != setting.dwell_s
    assert {layer.layer for layer in layers} == {layer.layer for layer in alone.layers}
    later = alone.setting.dwell_s > setting.dwell_s
    assert all(
        (one.peak_c <= own.peak_c if later else one.peak_c >= own.peak_c)
        for one, own in zip(layers, alone.layers, strict=True)
    )
    assert layers == recipes.layers_at(other, at_setting, setting.dwell_s)
    chances = [
        shoe_chance(other, replace(alone, layers=layers)),
        shoe_chance(other, pressing.recipe),
    ]
    assert answer.cost.spoil_chance == pytest.approx(1 - (1 - max(chances)) ** 2)


def test_layers_at_the_recipes_own_dwell_are_the_recipes(book: Book, order: Order) -> None:
    """Asked for the dwell that a recipe has, its layers come back."""
    task, _ = read_task(book, recipe_request(order, order.placements[0]))
    recipe = recipes.recipe_of(book, task)
    assert recipe.setting is not None

    assert recipe.layers == recipes.layers_at(book, task, recipe.setting.dwell_s)


def test_a_film_that_hardly_holds_is_done_again_at_its_cost(book: Book, order: Order) -> None:
    """A dwell at the sure end of its window fails one time in forty; the line is pairs times what one costs."""
    answer = compose(book, order)
    assert answer.cost is not None
    window, setting = answer.pressings[0].recipe.window, answer.pressings[0].recipe.setting
    assert window is not None
    assert setting is not None
    assert window.shortest_s is not None
    assert window.worst_case.shortest_s is not None
    beyond = math.log(setting.dwell_s / window.shortest_s) / math.log(window.worst_case.shortest_s / window.shortest_s)

    assert answer.cost.redo_chance == pytest.approx(NormalDist().cdf(-1.959964 * beyond), rel=1e-5)
    assert 0 < answer.cost.redo_chance < 0.05
    (line,) = [line for line in answer.cost.lines if "does not hold" in line.detail]
    assert Fraction(line.quantity) == pytest.approx(Fraction(answer.cost.redo_chance), abs=1e-6)


def does(answer: QuoteAnswer) -> list[list[str]]:
    """Return what the steps of every pressing do."""
    return [[step.do for step in pressing.recipe.steps] for pressing in answer.pressings]


def test_the_steps_are_those_of_the_order(book: Book, order: Order) -> None:
    """One artwork on one face needs neither a second artwork nor another face; two do, and say so."""
    (alone,) = does(compose(book, order))
    (two,) = does(compose(book, replace(order, placements=(on(order, **LEFT_HALF), on(order, **RIGHT_HALF)))))
    first, last = does(compose(book, replace(order, placements=(on(order), on(order, panel="inner-quarter")))))

    assert {"second-placement", "next-face"}.isdisjoint(alone)
    assert "second-placement" in two
    assert ("next-face", "once") == (first[-1], last[-1])
    assert ("platen" in first, "platen" in last) == (True, False)


def test_films_of_one_loading_leave_the_shoes_on(book: Book, order: Order) -> None:
    """The second film's shoes lie there already, and the first film's last step says so."""
    placements = (
        on(order, film="stretch", colour="pitch", **LEFT_HALF),
        on(order, film="smooth", colour="gorse", **RIGHT_HALF),
    )
    first, second = does(compose(book, replace(order, placements=placements)))

    assert ("next-film", "load" in first, "leave" in first) == (first[-1], True, False)
    assert ("load" in second, "leave" in second) == (False, True)


def test_marks_on_different_shoes_are_no_second_artwork(book: Book, order: Order) -> None:
    """A name on the left shoe and a number on the right are one artwork on each."""
    placements = (on(order, sides="left"), on(order, sides="right", artwork=SMALL))
    (steps,) = does(compose(book, replace(order, placements=placements)))

    assert "second-placement" not in steps


def test_one_shoe_is_named_when_it_is_loaded(book: Book, order: Order) -> None:
    """A mark on the left shoe alone loads the left shoe."""
    answer = compose(book, replace(order, placements=(on(order, sides="left"),)))
    (load_step,) = [step for step in answer.pressings[0].recipe.steps if step.do == "load"]

    assert load_step.sentence.startswith("Load the left shoe")


def test_letters_are_counted_on_every_shoe_that_bears_them(book: Book, order: Order) -> None:
    """MARLOW and a 7, on both shoes: 14 letters at 0.40 and two artworks at 2.50 are 10.60 by the list."""
    price = compose(book, replace(order, policy="letters")).price
    assert price is not None

    assert [("list", "0.00"), ("placements", "5.00"), ("characters", "10.60")] == [
        (step.what, step.amount.amount) for step in price.why[1:]
    ]


@pytest.mark.parametrize(
    ("text", "letters"), [("MARLOW\n7", 7), ("de la Cruz", 8), ("e\u0301", 1), ("\u00e9 ", 1), ("A\u200bB", 2)]
)
def test_spaces_and_marks_are_no_letters(book: Book, text: str, letters: int) -> None:
    """A letter with its accent is one, however it is written; what nobody sees is none."""
    artwork = find_artwork(book, TextArtwork(text="A", font="plain", height="22 mm"), "metric", Checks())
    assert artwork is not None

    assert letters == replace(artwork, text=text).characters


PENNANT = PathArtwork(d="M0 0H30L15 26Z", height="24 mm")


def test_pennants_in_a_run_take_less_film_by_their_outlines(book: Book, order: Order) -> None:
    """As opted for: less of the roll, cut along the outline; the pieces' area is theirs and not their boxes'."""
    run = replace(order, pairs=24, placements=(on(order, artwork=PENNANT),))
    bare = replace(book, offcuts={})
    boxes, pennants = (compose(bare, replace(run, outlines=budget)).cost for budget in (None, "2 s"))
    assert boxes is not None
    assert pennants is not None

    assert ("rectangles", "outlines") == (boxes.film[0].nested, pennants.film[0].nested)
    assert pennants.film[0].film_mm2 < boxes.film[0].film_mm2
    assert pennants.film[0].piece_area_mm2 < boxes.film[0].piece_area_mm2
    assert 0 < pennants.film[0].waste_mm2 < pennants.film[0].film_mm2
    assert "outlines" in next(line.detail for line in pennants.lines if line.what == "film")
    assert pennants.times.cutter_s != boxes.times.cutter_s


def test_outlines_are_never_worse_than_rectangles(book: Book, order: Order) -> None:
    """Where a search finds nothing better, the boxes are what is taken and charged."""
    bare = replace(book, offcuts={})
    boxes, searched = (compose(bare, replace(order, outlines=budget)).cost for budget in (None, "1 s"))
    assert boxes is not None
    assert searched is not None

    assert ("rectangles", boxes) == (searched.film[0].nested, searched)


def test_a_search_without_a_valid_nest_leaves_the_rectangles(
    book: Book, order: Order, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An answer all the same."""
    monkeypatch.setattr(outline_nesting, "search", lambda _: [])
    run = replace(order, pairs=23, placements=(on(order, artwork=PENNANT),), outlines="1 s")
    cost = compose(replace(book, offcuts={}), run).cost
    assert cost is not None

    assert "rectangles" == cost.film[0].nested


@pytest.mark.parametrize("budget", ["0.9 s", "10.1 s", "1 h"])
def test_a_search_has_a_time_that_others_can_wait(book: Book, order: Order, budget: str) -> None:
    """From one second to ten."""
    assert ["/outlines"] == faults(book, replace(order, outlines=budget))


def test_a_service_without_the_extra_says_so(book: Book, order: Order, monkeypatch: pytest.MonkeyPatch) -> None:
    """It does not quietly nest rectangles."""
    monkeypatch.setattr(outline_nesting, "available", lambda: False)

    assert ["/outlines"] == faults(book, replace(order, outlines="1 s"))


def test_reasons_are_reasons(quote: QuoteAnswer) -> None:
    """Whatever was composed can cross the wire and come back the same."""
    assert all(isinstance(reason, Reason) for reason in quote.reasons)
    assert quote == msgspec.json.decode(msgspec.json.encode(quote), type=QuoteAnswer)


def walked_in(owner: Literal["customer", "shop"]) -> Order:
    """Return an order for a bar on a leather walk-in shoe of an owner."""
    panel = MeasuredPanel(panel="side", shape=Rectangle(width="80 mm", height="40 mm"), curvature="flat")
    shoe = MeasuredShoe(label="leather", panels=(panel,), inside_length="265 mm")
    bar = PathArtwork(d="M0 0H40V10H0Z", height="10 mm")
    return Order(
        shoe=shoe,
        owner=owner,
        placements=(Placement(panel="side", film="smooth", colour="gorse", artwork=bar),),
    )


def test_a_customers_pair_is_charged_for_its_trial_and_not_for_its_ruin(book: Book) -> None:
    """Time, cover and film of the rungs are lines; spoilage is that of a slip of the hand, on either shoe."""
    order = walked_in("customer")
    quote = quotes.compose(book, order)
    plan = trials.plan(book, TrialRequest(shoe=order.shoe, panel="side", film="smooth"))
    assert quote.cost is not None
    lines = [line for line in quote.cost.lines if line.detail.startswith(f"Trial pressings: {len(plan.rungs)},")]
    handling = book.rates[book.bench.rates].handling
    rungs_s = sum(
        rung.setting.dwell_s
        + handling.change_setting_s
        + handling.load_shoe_s
        + rung.film * (handling.position_s + handling.peel_s)
        for rung in plan.rungs
    )
    slip = book.rates[book.bench.rates].spoilage.handling

    assert "trial" == quote.verdict
    assert ["labour", "press", "cover", "film"] == [line.what for line in lines]
    assert rungs_s / 3600.0 == pytest.approx(float(lines[0].quantity), abs=1e-4)
    assert float(sum(rung.film for rung in plan.rungs)) == float(lines[3].quantity)
    assert 1.0 - (1.0 - slip) ** 2 == pytest.approx(quote.cost.spoil_chance)
    assert 0.0 == quote.cost.redo_chance


def test_the_risk_that_a_trial_leaves_is_its_owners(book: Book) -> None:
    """A remark names the chance of ruin untried and who bears it; the shop's own pair still costs what it may cost."""
    owners: tuple[Literal["customer", "shop"], ...] = ("customer", "shop")
    of = {owner: quotes.compose(book, walked_in(owner)) for owner in owners}
    risks = {
        owner: next(reason for reason in quote.reasons if reason.code == "shoe.trial-risk")
        for owner, quote in of.items()
    }

    assert {"ready"} == {risk.verdict for risk in risks.values()}
    assert "the customer" in risks["customer"].sentence
    assert "the shop's own" in risks["shop"].sentence
    shop = of["shop"].cost
    assert shop is not None
    assert shop.spoil_chance == pytest.approx(risks["shop"].measure, abs=1e-6)


def test_the_first_step_of_an_order_to_be_tried_is_the_trial(book: Book) -> None:
    """No pressing of it is begun before the trial, whatever its own recipe's verdict."""
    quote = quotes.compose(book, walked_in("customer"))

    assert ["trial"] == [pressing.recipe.steps[0].do for pressing in quote.pressings]
    assert "Do not press the panel yet" in quote.pressings[0].recipe.steps[0].sentence
