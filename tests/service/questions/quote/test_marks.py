"""Marks on marks, and backings: geometry, the order of the pressings, recipes, film and cards."""

from __future__ import annotations

import plain_marks
import pytest
from msgspec.structs import replace

from featherline.wire.artworks import Artwork, At, PathArtwork, TextArtwork
from featherline.wire.costs import Backing, Order, Placement
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import OldMark
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.quote import bench_cards, quotes
from featherline_service.questions.quote.marks import (
    films_below,
    films_there,
    height,
    is_below,
    lower_marks,
    places_of_mark,
    values_of,
)

SHIELD = PathArtwork(d="M0 0H30V30H0Z", height="24 mm")
NUMBER = TextArtwork(text="7", font="plain", height="12 mm")
BACKING = Backing(film="smooth", colour="chalk", border="2 mm")


def mark(artwork: Artwork = NUMBER, **more: object) -> Placement:
    """Return a placement low on the outer quarter."""
    pose = At(x="0 mm", y="-3 mm")
    return replace(Placement(panel="outer-quarter", film="smooth", colour="gorse", artwork=artwork, pose=pose), **more)


def order(*placements: Placement) -> Order:
    """Return an order of placements."""
    return Order(shoe=BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42")), placements=placements)


def codes(answer: QuoteAnswer) -> set[str]:
    """Return the codes of an answer's reasons."""
    return {reason.code for reason in answer.reasons}


def test_a_mark_is_pointed_at_and_named_by_its_placement(book: Book) -> None:
    """A backing by its own part of it; what a mark lies on is said at `onto`, or by its backing."""
    order = plain_marks.read(book, mark(SHIELD), mark(onto=0, backing=BACKING), mark(panel="inner-quarter"))
    marks = plain_marks.marks_of(book, order)

    assert ["/placements/0", "/placements/1/backing", "/placements/1", "/placements/2"] == [it.pointer for it in marks]
    assert ["/placements/0/onto", "/placements/1/onto", "/placements/1/backing", "/placements/2/onto"] == [
        it.onto_pointer for it in marks
    ]
    assert [(1, "drawing", None), (2, "backing-of-text", "7"), (2, "text", "7"), (3, "text", "7")] == [
        tuple(values_of("mark", it).values()) for it in marks
    ]


def test_a_mark_lies_on_its_backing_and_that_on_the_mark_below(book: Book) -> None:
    """The places are those among all marks, backings counted; heights count every mark below."""
    order = plain_marks.read(book, mark(onto=1, backing=BACKING), mark(SHIELD), mark(panel="inner-quarter"))
    marks = plain_marks.marks_of(book, order)

    assert [2, 0, None, None] == lower_marks(order)
    assert [1, 2, 0, 0] == [height(marks, it) for it in marks]
    assert [1, 2, 0, 0] == [films_below(lower_marks(order), at) for at in range(4)]
    below = [[at for at in range(4) if is_below(marks, upper, at)] for upper in range(4)]
    assert [[2], [0, 2], [], []] == below


def test_films_below_and_beside_a_mark_are_those_on_the_panel(book: Book) -> None:
    """Old ones without their outlines, each once; of the order those below, the lowest first, the nearest under it."""
    old = OldMark(film="glow", outline="M0 0H5V5H0Z")
    twin = OldMark(film="glow", outline="M20 0H25V5H20Z")
    order = plain_marks.read(
        book,
        mark(SHIELD, film="stretch", colour="chalk", old_marks=(old, twin)),
        mark(
            onto=0,
            backing=replace(BACKING, film="flake", colour=book.films["flake"].colours[0].id),
            old_marks=(twin, OldMark(film="metallic")),
        ),
    )
    lower = lower_marks(order)
    beside, metallic, stretch, flake = (
        OldMark(film="glow"),
        OldMark(film="metallic"),
        OldMark(film="stretch", under=True),
        OldMark(film="flake", under=True),
    )

    assert (beside, beside) == films_there(order, lower, 0)
    assert (beside, metallic, stretch) == films_there(order, lower, 1)
    assert (beside, metallic, stretch, flake) == films_there(order, lower, 2)


def test_parts_of_a_marks_questions_are_parts_of_its_order(book: Book) -> None:
    """Shoe and press are the order's; film, colour and artwork of a backing are at the backing."""
    order = plain_marks.read(book, mark(SHIELD), mark(onto=0, backing=BACKING))
    lowest, backing, number = (places_of_mark(it) for it in plain_marks.marks_of(book, order))
    parts = ("/shoe/size", "/press", "/film", "/colour", "/artwork/d", "/onto/old_marks/0", "/onto/shoe/size", "/pose")

    assert [
        "/shoe/size",
        "/press",
        "/placements/0/film",
        "/placements/0/colour",
        "/placements/0/artwork/d",
        "/placements/0/old_marks/0",
        "/shoe/size",
        "/placements/0/pose",
    ] == [lowest.pointer(part) for part in parts]
    assert [
        "/shoe/size",
        "/press",
        "/placements/1/backing/film",
        "/placements/1/backing/colour",
        "/placements/1/backing",
        "/placements/1/onto",
        "/shoe/size",
        "/placements/1/pose",
    ] == [backing.pointer(part) for part in parts]
    assert ["/placements/1/film", "/placements/1/artwork/d", "/placements/1/backing"] == [
        number.pointer(part) for part in ("/film", "/artwork/d", "/onto/old_marks/0")
    ]


@pytest.mark.parametrize("films", [("smooth", "stretch"), ("stretch", "smooth")])
def test_what_lies_below_is_pressed_first(book: Book, films: tuple[str, str]) -> None:
    """Whatever is hotter, and wherever it stands in the order; the recipe above has the film below as layers."""
    lower, upper = films
    shield = mark(SHIELD, film=lower, colour="chalk")
    for first, answer in (
        (0, quotes.compose(book, order(shield, mark(film=upper, colour="chalk", onto=0)))),
        (1, quotes.compose(book, order(mark(film=upper, colour="chalk", onto=1), shield))),
    ):
        assert [(first,), (1 - first,)] == [pressing.placements for pressing in answer.pressings]
        assert [1, 1] == [pressing.loading for pressing in answer.pressings]
        layers = {layer.layer for layer in answer.pressings[1].recipe.layers}
        assert any(name.endswith(f" of the {book.films[lower].family} film pressed before") for name in layers)
        assert "fit.overlap" not in codes(answer)


def test_a_number_on_a_shield_of_the_same_film_takes_two_pressings(book: Book) -> None:
    """The shield's carrier would lie between: nothing says that one pressing takes both."""
    answer = quotes.compose(book, order(mark(SHIELD), mark(onto=0, colour="chalk")))
    assert answer.verdict == "ready"
    assert [(0,), (1,)] == [pressing.placements for pressing in answer.pressings]
    steps = [step for pressing in answer.pressings for step in pressing.recipe.steps]
    assert "second-placement" not in {step.do for step in steps}
    (onto,) = [step.sentence for step in steps if step.do == "onto"]
    assert "the carrier of its film (Smooth polyurethane film)" in onto
    assert ["/placements/1/onto"] == [it.subject for it in answer.reasons if it.code == "heat.pressed-onto"]


def test_two_marks_on_one_lower_mark_share_a_pressing(book: Book) -> None:
    """They lie beside each other, so one pressing takes both; they keep their clearance."""
    small = TextArtwork(text="7", font="plain", height="9 mm")
    left, right = (
        mark(small, onto=0, colour="chalk", pose=At(x=x, y="-3 mm"), clearance="1 mm") for x in ("-7 mm", "7 mm")
    )
    answer = quotes.compose(book, order(mark(SHIELD), left, right))
    assert [(0,), (1, 2)] == [pressing.placements for pressing in answer.pressings]
    assert "second-placement" in {step.do for step in answer.pressings[1].recipe.steps}
    assert "fit.overlap" in codes(quotes.compose(book, order(mark(SHIELD), left, left)))


def test_what_reaches_beyond_the_film_below_is_declined(book: Book) -> None:
    """A number must lie wholly on the shield's film: over its edge, or its hole, it would meet the panel."""
    off = quotes.compose(book, order(mark(SHIELD), mark(onto=0, pose=At(x="11 mm", y="-3 mm"))))
    (reason,) = [reason for reason in off.reasons if reason.code == "fit.off-mark"]
    assert ("decline", "/placements/1/onto", 0.0) == (reason.verdict, reason.subject, reason.limit)
    assert reason.measure is not None
    assert reason.measure < 0.0
    ring = PathArtwork(d="M0 0H30V30H0ZM13 13V17H17V13Z", height="24 mm")
    assert "fit.off-mark" in codes(quotes.compose(book, order(mark(ring), mark(onto=0))))


def test_a_film_that_takes_none_is_declined(book: Book) -> None:
    """No film holds on flock."""
    answer = quotes.compose(book, order(mark(SHIELD, film="flock", colour="chalk"), mark(onto=0)))
    (reason,) = [reason for reason in answer.reasons if reason.code == "surface.unsuited"]
    assert ("decline", "/placements/1/onto") == (reason.verdict, reason.subject)
    assert "take another film for the lower mark" in reason.sentence
    assert "old mark" not in reason.sentence


@pytest.mark.parametrize(
    ("placements", "pointers"),
    [
        ((mark(onto=0),), ["/placements/0/onto"]),
        ((mark(onto=1), mark(onto=0)), ["/placements/0/onto", "/placements/1/onto"]),
        ((mark(SHIELD), mark(onto=2)), ["/placements/1/onto"]),
        ((mark(SHIELD, panel="inner-quarter"), mark(onto=0)), ["/placements/1/onto"]),
        ((mark(SHIELD, sides="left"), mark(onto=0)), ["/placements/1/onto"]),
        ((mark(SHIELD), mark(onto=0, old_marks=(OldMark(film="smooth", under=True),))), ["/placements/1/old_marks"]),
        ((mark(SHIELD, backing=BACKING), mark(onto=0, backing=BACKING)), ["/placements/1/onto"]),
        ((mark(backing=replace(BACKING, film="velvet")),), ["/placements/0/backing/film"]),
        ((mark(backing=replace(BACKING, colour="puce")),), ["/placements/0/backing/colour"]),
        ((mark(backing=replace(BACKING, border="600 mm")),), ["/placements/0/backing/border"]),
    ],
)
def test_what_cannot_be_is_refused(book: Book, placements: tuple[Placement, ...], pointers: list[str]) -> None:
    """Circles, placements that are not there or elsewhere, too many films, and backings that cannot be."""
    with pytest.raises(RefusedError) as refused:
        quotes.compose(book, order(*placements))
    assert pointers == [fault.pointer for fault in refused.value.faults]


def test_a_backing_is_the_artwork_grown(book: Book) -> None:
    """Its box is larger by the border on every side, it lies where the artwork does, and is pressed and cut first."""
    answer = quotes.compose(book, order(mark(backing=BACKING)))
    (quoted,) = answer.placements
    assert quoted.backing is not None
    own, backing = quoted.fit.artwork, quoted.backing.fit.artwork
    assert backing.width_mm == pytest.approx(own.width_mm + 4.0, abs=0.02)
    assert backing.height_mm == pytest.approx(own.height_mm + 4.0, abs=0.02)
    assert (0, 1) == (quoted.backing.pressing, quoted.pressing)
    assert [((), (0,)), ((0,), ())] == [(it.placements, it.backings) for it in answer.pressings]
    assert answer.cost is not None
    assert {"chalk": 2, "gorse": 2} == {film.colour: film.pieces for film in answer.cost.film}


def test_a_backing_has_to_fit(book: Book) -> None:
    """It is held against the panel's edges and against other marks; the artwork itself would fit."""
    wide = replace(BACKING, border="12 mm")
    answer = quotes.compose(book, order(mark(backing=wide)))
    assert ["/placements/0/backing"] == [it.subject for it in answer.reasons if it.code == "fit.outside"]
    beside = mark(pose=At(x="9 mm", y="-3 mm"))
    assert "fit.overlap" not in codes(quotes.compose(book, order(mark(), beside)))
    near = quotes.compose(book, order(mark(backing=BACKING), beside))
    assert ["/placements/1"] == [it.subject for it in near.reasons if it.code == "fit.overlap"]


def test_contrast_is_that_with_what_lies_below(book: Book) -> None:
    """Letters of one colour on a backing of the same are not seen, whatever the upper's colour."""
    alike = quotes.compose(book, order(mark(backing=replace(BACKING, colour="gorse"))))
    fit = alike.placements[0].fit
    assert fit.contrast is not None
    assert fit.contrast.ratio == 1.0


def test_a_card_draws_and_names_the_backing(book: Book) -> None:
    """It lies under the artwork in the drawing; facts and pressings name it."""
    card = bench_cards.compose(book, order(mark(backing=BACKING)))
    for drawing in card.drawings:
        (under,) = drawing.marks
        assert under.backing
        assert under.artwork.buffer(1e-6).covers(drawing.artwork)
    assert "on a backing in Smooth polyurethane film, Chalk" in dict(card.facts)["Placement"]
    assert "; the backing of placement 1" in card.pressings[0].where


def test_a_film_of_the_order_is_not_called_old(book: Book) -> None:
    """An old mark beside is; the film pressed a minute before is told apart from it."""
    old = OldMark(film="smooth", outline="M-40 0H-35V5H-40Z")
    answer = quotes.compose(book, order(mark(SHIELD, colour="chalk", old_marks=(old,)), mark(onto=0)))
    first, second = (
        [layer.layer for layer in pressing.recipe.layers if "adhesive" in layer.layer] for pressing in answer.pressings
    )

    assert "old smooth adhesive" in first
    assert "adhesive of the smooth film pressed before" not in first
    assert {"old smooth adhesive", "adhesive of the smooth film pressed before"} <= set(second)
    assert ["The adhesive of the smooth film pressed before gets to"] == [
        one.sentence[:54]
        for one in answer.reasons
        if one.code == "heat.softens-old-mark" and "pressed before" in one.sentence
    ]


def test_what_a_mark_and_its_backing_stand_out_from_is_named(book: Book) -> None:
    """A mark from its backing, that from the shoe or the mark below it."""

    def said(*placements: Placement) -> list[str]:
        answer = quotes.compose(book, order(*placements))
        fits = [one for each in answer.placements for one in (each.fit, each.backing and each.backing.fit) if one]
        return [one.contrast.sentence.partition(":")[0] for one in fits if one.contrast is not None]

    dark, light = replace(BACKING, colour="pitch"), replace(BACKING, colour="chalk")

    assert ["The mark stands out from its backing", "The backing is tone on tone with the shoe"] == said(
        mark(colour="chalk", backing=dark)
    )
    assert ["The mark is tone on tone with its backing", "The backing stands out from the shoe"] == said(
        mark(colour="chalk", backing=light)
    )
    assert (
        "The backing is tone on tone with the mark below it"
        == said(mark(SHIELD, colour="chalk"), mark(onto=0, colour="pitch", backing=light))[-1]
    )
