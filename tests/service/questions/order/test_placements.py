from __future__ import annotations

from types import SimpleNamespace
from typing import Any, Final

import pytest
from msgspec.structs import replace
from plain_marks import BAR, DECK, asked, read

from featherline.wire import costs
from featherline.wire.artworks import At, Centred, PathArtwork, Searched, TextArtwork
from featherline.wire.costs import Backing
from featherline.wire.fits import FitRequest
from featherline.wire.recipes import OldMark
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.order import placements
from featherline_service.questions.order.placements import Placement, Reader, of_fit
from featherline_service.shape.outlines import figures

ARROW: Final = PathArtwork(d="M0 0L20 5L0 10Z", height="10 mm", directional=True)
WEDGE: Final = PathArtwork(d="M0 0L20 10H0Z", height="10 mm")
"""A triangle whose right angle is at the left and low: its mirror image is another."""
BACKING: Final = Backing(film="stretch", colour="chalk", border="2 mm")


def only(book: Book, **changes: Any) -> Placement:  # noqa: ANN401
    """Return a placement as it is understood."""
    (placement,) = read(book, asked(**changes)).placements
    return placement


def faults(book: Book, placement: costs.Placement, **changes: Any) -> list[tuple[str, str]]:  # noqa: ANN401
    """Return what is wrong with a placement that cannot be read."""
    request, checks = replace(costs.Order(shoe=DECK, placements=(placement,)), **changes), Checks()
    there = Reader(book, request, checks).read(placement, checks)
    assert (there is None) == (not placement.old_marks)
    return [(fault.pointer, fault.detail) for fault in checks.faults]


@pytest.mark.parametrize(("sides", "feet"), [("both", ("left", "right")), ("left", ("left",)), ("right", ("right",))])
def test_a_placement_marks_the_shoes_of_its_sides(book: Book, sides: str, feet: tuple[str, ...]) -> None:
    """Of the pair, the left one first."""
    assert feet == only(book, sides=sides).feet


def test_a_placement_is_what_the_request_and_the_book_say(book: Book) -> None:
    """Records by their ids, the bench's clearance and press without others, and the panel's colour behind it."""
    plain = only(book)
    own = only(book, clearance="1.5 mm", footprint="hull", onto=None, old_marks=(OldMark(film="glow"),))

    assert (book.films["smooth"], "gorse", book.presses["swing"]) == (
        plain.film,
        plain.colour and plain.colour.id,
        plain.press,
    )
    assert ("outer-quarter", plain.panel.colour, 3.0, "exact", "both") == (
        plain.panel.id,
        plain.behind,
        plain.clearance,
        plain.footprint,
        plain.sides,
    )
    assert (None, None, False, (), ()) == (
        plain.onto,
        plain.backing,
        plain.is_backing,
        plain.old_marks,
        plain.old_outlines,
    )
    assert (1.5, "hull", (OldMark(film="glow"),), (None,)) == (
        own.clearance,
        own.footprint,
        own.old_marks,
        own.old_outlines,
    )
    (clam,) = read(book, asked(), press="clam").placements
    assert book.presses["clam"] is clam.press


def test_an_artwork_is_placed_in_its_panels_millimetres(book: Book) -> None:
    """Its box around the pose, and turned with it; what counts may be its hull."""
    at = only(book, pose=At(x="5 mm", y="-3 mm", rotation="0 deg"))
    x, y = at.shape.centre

    assert pytest.approx((x - 5.0, y - 8.0, x + 15.0, y + 2.0)) == at.placed().bounds
    assert pytest.approx((20.0, 10.0)) == at.extent
    turned = only(book, pose=At(x="0 mm", y="0 mm", rotation="90 deg"))
    assert pytest.approx((10.0, 20.0)) == turned.extent
    ring = PathArtwork(d="M0 0H20V20H0ZM5 5V15H15V5Z", height="10 mm")
    exact, filled = only(book, artwork=ring), only(book, artwork=ring, footprint="filled")
    assert pytest.approx((75.0, 75.0)) == (exact.counted().area, filled.placed().area)
    assert pytest.approx(100.0) == filled.counted().area
    assert pytest.approx((75.0, 100.0)) == (filled.film_on("left").area, filled.counted_on("left").area)


def leans(placement: Placement, foot: Any) -> str:  # noqa: ANN401
    """Return to which side of its box the middle of a mark leans on a shoe, in the panel's drawing."""
    film = placement.film_on(foot)
    return "left" if film.centroid.x < (film.bounds[0] + film.bounds[2]) / 2.0 else "right"


def test_the_other_shoe_is_a_mirror_image_of_the_drawing(book: Book) -> None:
    """An outer panel is drawn of the right shoe, an inner one of the left; an artwork is no mirror image on either."""
    outer, inner = only(book, artwork=WEDGE), only(book, artwork=WEDGE, panel="inner-quarter")
    arrow = only(book, artwork=ARROW)

    assert ("left", "right") == (leans(outer, "right"), leans(outer, "left"))
    assert ("right", "left") == (leans(inner, "right"), leans(inner, "left"))
    assert ("left", "left") == (leans(arrow, "right"), leans(arrow, "left"))
    both = outer.seen.region.area
    assert pytest.approx(both) == only(book, artwork=WEDGE, panel="inner-quarter").seen.region.area
    for sides, panel in (("right", "outer-quarter"), ("left", "inner-quarter")):
        drawn = only(book, artwork=WEDGE, sides=sides, panel=panel)
        seen = figures.FittedRegion(drawn.artwork.figure, drawn.artwork.fineness, "right", "exact")
        assert seen.content_key == drawn.seen.content_key
        other = only(book, artwork=WEDGE, sides=sides, panel="toe" if sides == "left" else "inner-quarter")
        seen = figures.FittedRegion(other.artwork.figure, other.artwork.fineness, "left", "exact")
        assert seen.content_key == other.seen.content_key
    assert both > drawn.seen.region.area


def test_lengths_are_said_so_that_they_hold(book: Book) -> None:
    """Rounded down, or up, in the order's units."""
    metric, us = only(book), read(book, asked(), units="us").placements[0]

    assert ("1.2 mm", "1.3 mm") == (metric.say(1.26), metric.say(1.24, upwards=True))
    assert ("0.04 in", "0.05 in") == (us.say(1.26), us.say(1.24, upwards=True))


def test_without_a_rotation_a_placement_is_turned_upright(book: Book) -> None:
    """And says so; with one it is as asked for."""
    assert only(book, pose=Centred()).position.turned_upright
    assert not only(book, pose=Centred(rotation="0 deg")).position.turned_upright


def test_a_backing_lies_where_its_artwork_does(book: Book) -> None:
    """Grown by its border, in its own film and colour, which is then behind the artwork; it has no backing itself."""
    placement = only(book, backing=BACKING, pose=At(x="4 mm", y="2 mm"))
    backing = placement.backing
    assert backing is not None
    assert backing.colour is not None

    assert ("stretch", "chalk", True, None) == (
        backing.film.id,
        backing.colour.id,
        backing.is_backing,
        backing.backing,
    )
    assert ("smooth", False, backing.colour.hex) == (placement.film.id, placement.is_backing, placement.behind)
    assert placement.panel.colour == backing.behind
    assert pytest.approx((24.0, 14.0), abs=0.02) == backing.extent
    assert pytest.approx((20.0, 10.0)) == placement.extent
    assert (placement.position.pose, placement.position.pose) == (backing.position.pose, backing.position.datum)
    assert backing.seen.region.area > placement.seen.region.area


def test_a_search_has_to_find_room_for_the_backing_too(book: Book) -> None:
    """The largest copy of the artwork with its border is smaller than that of the artwork alone."""
    plain, backed = only(book, pose=Searched()), only(book, pose=Searched(), backing=replace(BACKING, border="10 mm"))
    assert plain.position.largest is not None
    assert backed.position.largest is not None

    assert backed.position.largest < 0.8 * plain.position.largest


@pytest.mark.parametrize(
    ("changes", "pointers"),
    [
        ({"panel": "bow"}, ["/panel"]),
        ({"film": "velvet"}, ["/film"]),
        ({"colour": "puce"}, ["/colour"]),
        ({"clearance": "near"}, ["/clearance"]),
        ({"artwork": replace(BAR, height="high")}, ["/artwork/height"]),
        ({"pose": At(x="far", y="0 mm")}, ["/pose/x"]),
        ({"backing": replace(BACKING, film="velvet")}, ["/backing/film"]),
        ({"backing": replace(BACKING, colour="puce")}, ["/backing/colour"]),
        ({"backing": replace(BACKING, border="wide")}, ["/backing/border"]),
        ({"backing": replace(BACKING, border="500 mm")}, ["/backing/border"]),
        ({"old_marks": (OldMark(film="velvet"),)}, ["/old_marks/0/film"]),
        ({"old_marks": (OldMark(film="glow", outline="M0 0L1"),)}, ["/old_marks/0/outline"]),
        (
            {"panel": "bow", "film": "velvet", "clearance": "near", "artwork": replace(BAR, height="high")},
            ["/panel", "/film", "/artwork/height", "/clearance"],
        ),
    ],
)
def test_every_fault_of_a_placement_is_at_its_part(book: Book, changes: dict[str, Any], pointers: list[str]) -> None:
    """Several at once; a backing's below it."""
    assert pointers == [pointer for pointer, _ in faults(book, asked(**changes))]


def test_a_colour_that_a_film_lacks_is_told_with_those_it_has(book: Book) -> None:
    """By their ids, those most like it first."""
    has = "deepwater, pitch, samphire, gorse, chalk and 2 more"

    assert [("/colour", f"{book.films['smooth'].name} has no colour 'deapwater'; it has: {has}")] == faults(
        book, asked(colour="deapwater")
    )


def test_shoe_and_press_are_read_once_for_all_placements(book: Book) -> None:
    """Their faults are noted once, and no placement can be read without them."""
    request = costs.Order(shoe=replace(DECK, shoe="barge"), press="mangle", placements=(asked(), asked()))
    checks = Checks()
    reader = Reader(book, request, checks)

    assert [None, None] == [reader.read(one, checks.under(f"/{at}")) for at, one in enumerate(request.placements)]
    assert ["/shoe/shoe", "/press"] == [fault.pointer for fault in checks.faults]
    assert (None, None) == (reader.shoe, reader.press)
    press = Checks()
    unpressed = Reader(book, replace(request, shoe=DECK), press)
    assert [None, None] == [unpressed.read(asked(), press) for _ in range(2)]
    size = replace(DECK, size=replace(DECK.size, value="60"))
    sized = Checks()
    assert Reader(book, replace(request, shoe=size, press=None), sized).read(asked(), sized) is None
    assert ["/shoe/size"] == [fault.pointer for fault in sized.faults]


def test_a_fit_may_have_no_colour(book: Book) -> None:
    """Nor has it a backing, old marks or a mark below; its letters are spaced where that is allowed."""
    text = TextArtwork(text="II", font="plain", letter_height="8 mm", fit_letters="space", letter_spacing=-0.1)
    request = FitRequest(shoe=DECK, panel="outer-quarter", film="smooth", artwork=text)
    placement = of_fit(book, request)
    assert placement.artwork.lettering is not None

    assert (None, (), None, None) == (placement.colour, placement.old_marks, placement.onto, placement.backing)
    assert placement.artwork.lettering.setting.letter_spacing > -0.1
    with pytest.raises(RefusedError, match="/film: The book has no film 'velvet'"):
        of_fit(book, replace(request, film="velvet"))


def test_capitals_and_digits_are_drawn_beforehand(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every one that a font has, in a step each, so that a request to do something else waits for no more."""
    drawn: list[str] = []
    monkeypatch.setattr(figures, "of_text", lambda _face, character: drawn.append(character))
    steps = placements.prepare(book)
    next(steps)
    assert ["A"] == drawn
    assert 36 * len(book.font_files) - 1 == len(list(steps))

    assert [*"ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"] * len(book.font_files) == drawn
    drawn.clear()
    lacks_q = SimpleNamespace(font=SimpleNamespace(get_nominal_glyph=lambda sign: 0 if sign == ord("Q") else 7))
    monkeypatch.setattr(placements.text_outlines, "typeface", lambda _: lacks_q)
    assert 35 * len(book.font_files) == len(list(placements.prepare(book)))
    assert [*"ABCDEFGHIJKLMNOPRSTUVWXYZ0123456789"] * len(book.font_files) == drawn
