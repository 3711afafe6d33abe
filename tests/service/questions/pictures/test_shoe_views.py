"""Pictures of orders: which there are, what they show, and what they weigh."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest
import shapely
from msgspec.structs import replace

from featherline.wire.artworks import PathArtwork, TextArtwork
from featherline.wire.costs import Backing, Order, Placement
from featherline.wire.pictures import PictureRequest
from featherline.wire.recipes import OldMark
from featherline.wire.records import LocalName
from featherline.wire.shoes import BookShoe, Face, MeasuredPanel, MeasuredShoe, Rectangle, Size
from featherline_service.book.shop_book import Book
from featherline_service.messages.catalogues import catalogues
from featherline_service.messages.texts import Texts, english
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.pictures import shoe_views
from featherline_service.questions.shoes.panels import panel_area

SVG = "{http://www.w3.org/2000/svg}"
NAME = TextArtwork(text="MARLOW\n7", font="plain", height="14 mm")
OUTER = Placement(panel="outer-quarter", film="smooth", colour="gorse", artwork=NAME)
INNER, TOE = replace(OUTER, panel="inner-quarter"), replace(OUTER, panel="toe")
DECK = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42"))
MEASURED = MeasuredShoe(
    label="leather",
    panels=(
        MeasuredPanel(panel="side", shape=Rectangle(width="80 mm", height="40 mm"), colour="#112233"),
        MeasuredPanel(panel="back", shape=Rectangle(width="60 mm", height="40 mm")),
    ),
)


def asked(*placements: Placement, shoe: BookShoe | MeasuredShoe = DECK, **other: object) -> PictureRequest:
    """Return a request for pictures."""
    return replace(PictureRequest(order=Order(shoe=shoe, placements=placements)), **other)


def shown(book: Book, request: PictureRequest) -> list[tuple[Face, str, tuple[int, ...]]]:
    """Return face, foot and placements of each picture."""
    pictures = shoe_views.compose(book, request).pictures
    return [(picture.face, picture.foot, picture.placements) for picture in pictures]


def test_a_face_has_one_picture(book: Book) -> None:
    """All its placements are in it; an inner face is the left shoe's, as its panel is drawn."""
    second = replace(OUTER, artwork=replace(NAME, text="7"))

    assert [("outer", "right", (0, 3)), ("inner", "left", (1,)), ("toe", "right", (2,))] == shown(
        book, asked(OUTER, INNER, TOE, second)
    )


def test_shoes_that_differ_have_a_picture_each(book: Book) -> None:
    """A mark on one shoe alone is shown on it; with another on the other shoe, both are."""
    right, left = replace(OUTER, sides="right"), replace(OUTER, sides="left")

    assert [("outer", "left", (0,))] == shown(book, asked(left))
    assert [("outer", "right", (0,)), ("outer", "left", (1,))] == shown(book, asked(right, left))
    assert [("outer", "right", (0, 1)), ("outer", "left", (0, 2))] == shown(book, asked(OUTER, right, left))


def test_one_picture_can_be_asked_for(book: Book) -> None:
    """By a placement that it shows, and by the foot."""
    request = asked(OUTER, replace(TOE, sides="left"), replace(TOE, sides="right"), placement=2)

    assert [("toe", "right", (2,))] == shown(book, request)
    assert [] == [
        picture
        for picture in shoe_views.compose(book, replace(request, placement=1)).pictures
        if picture.foot != "left"
    ]
    assert shoe_views.compose(book, replace(request, inline=True)).pictures[0].svg == shoe_views.draw(book, request)


@pytest.mark.parametrize(
    ("other", "pointer", "detail"),
    [
        ({"placement": 1}, "/placement", "The order has 1 placements, counted from 0"),
        ({"foot": "left"}, "/foot", "No picture shows that on the left shoe alone: leave it out"),
    ],
)
def test_a_picture_that_there_is_not_is_refused(
    book: Book, other: dict[str, object], pointer: str, detail: str
) -> None:
    """With the field that is at fault."""
    with pytest.raises(RefusedError) as refused:
        shoe_views.draw(book, asked(OUTER, **other))

    assert [(pointer, detail)] == [(fault.pointer, fault.detail) for fault in refused.value.faults]


def test_faults_of_the_order_are_told_where_they_are(book: Book) -> None:
    """Their pointers are into the request for pictures."""
    with pytest.raises(RefusedError) as refused:
        shoe_views.compose(book, asked(replace(OUTER, film="smoth")))

    assert ["/order/placements/0/film"] == [fault.pointer for fault in refused.value.faults]


def test_every_panel_of_the_demo_book_has_its_picture(book: Book) -> None:
    """Each weighs less than 20 kB for a name; a panel in place lies on its sheet, with all of its outline."""
    alone = []
    for shoe in book.shoes.values():
        size = Size(system=shoe.sizes.system, value=f"{shoe.sizes.smallest:g}")
        for panel in shoe.panels:
            name = replace(NAME, text="MARLOW", height="9 mm")
            placement = replace(OUTER, panel=panel.id, artwork=name, film="flake", colour="frost")
            request = asked(placement, shoe=BookShoe(shoe=shoe.id, size=size), inline=True)
            (picture,) = shoe_views.compose(book, request).pictures
            assert picture.svg is not None
            assert len(picture.svg.encode()) < 20_000
            assert panel.name in picture.alternative
            if not picture.in_place:
                alone.append((shoe.id, panel.id))
        for view in shoe.views:
            sheet = shapely.box(-1.0, -1.0, view.width_mm + 1.0, view.height_mm + 1.0)
            for place in view.places:
                outline, _, _ = panel_area(next(each for each in shoe.panels if each.id == place.panel), 1.0, 1.0)
                assert sheet.covers(shoe_views.shoe_pictures.placed(outline, place.matrix)), (shoe.id, place.panel)

    assert [("quay-sandal", "heel-strap"), ("ward-clog", "heel-strap")] == alone


def test_the_mark_lies_on_its_panel_in_the_picture(book: Book) -> None:
    """In every size, on both shoes: what fits the panel by the fit lies within its outline by the picture."""
    for value in ("36", "42", "47"):
        shoe = replace(DECK, size=Size(system="EU", value=value))
        for placement in (OUTER, INNER, replace(OUTER, sides="left")):
            request = asked(placement, shoe=shoe)
            order = shoe_views._order(book, request)
            drawn = shoe_views._drawn(request, order, shoe_views._wanted(request, order)[0], english())
            panel = next(panel for panel in drawn.panels if panel.outline.covers(drawn.marks[0].film))
            assert (placement.sides == "left") == drawn.mirrored
            assert panel.colour == "#1d2b44"


def test_letters_read_on_the_other_shoe(book: Book) -> None:
    """The film of the left shoe is the mirror image of the one that reads, as all of its picture is turned over."""
    request = asked(replace(OUTER, sides="left", artwork=replace(NAME, text="L")))
    order = shoe_views._order(book, request)
    drawn = shoe_views._drawn(request, order, shoe_views._wanted(request, order)[0], english())
    left, _, right, bottom = drawn.marks[0].film.bounds
    foot = shapely.intersection(drawn.marks[0].film, shapely.box(left, bottom - 1.0, right, bottom))
    stem = shapely.intersection(drawn.marks[0].film, shapely.box(left, bottom - 9.0, right, bottom - 8.0))

    # On the sheet, which is turned over as a whole, the stem of the L is at the right end of its foot.
    assert stem.centroid.x > foot.centroid.x


def test_a_measured_panel_is_shown_alone_and_upright(book: Book) -> None:
    """Each in a picture of its own; one of unknown colour is pale."""
    placements = (replace(OUTER, panel="side"), replace(OUTER, panel="back"))
    request = asked(*placements, shoe=MEASURED, inline=True)
    pictures = shoe_views.compose(book, request).pictures

    assert [False, False] == [picture.in_place for picture in pictures]
    assert [(0,), (1,)] == [picture.placements for picture in pictures]
    assert ["#112233" in (picture.svg or "") for picture in pictures] == [True, False]
    assert [(480, 280), (480, 354)] == [(picture.width_px, picture.height_px) for picture in pictures]


def test_a_tongue_is_read_by_whoever_stands_before_the_wearer(book: Book) -> None:
    """Without a view, a panel that is drawn with its toe to the right is shown with its toe down."""
    deck = book.shoes["regatta-deck"]
    own = replace(book, shoes={**book.shoes, deck.id: replace(deck, views=())})
    (picture,) = shoe_views.compose(own, asked(replace(OUTER, panel="tongue"))).pictures

    assert picture.height_px > picture.width_px
    assert not picture.in_place


def test_what_lies_on_what_is_painted_so(book: Book) -> None:
    """A backing lies under its artwork, and a mark over that on which it is pressed."""
    patch = replace(OUTER, artwork=PathArtwork(d="M0 0H60V30H0Z", height="20 mm"), colour="chalk")
    name = replace(OUTER, onto=0, artwork=replace(NAME, height="12 mm"), colour="pitch")
    backed = replace(name, backing=Backing(film="smooth", colour="deepwater", border="1 mm"), onto=None)
    colours = {colour.id: colour.hex for colour in book.films["smooth"].colours}

    def painted(*placements: Placement) -> list[str]:
        root = ET.fromstring(shoe_views.draw(book, asked(*placements)))  # noqa: S314 - our own
        groups = [group for group in root.iter(f"{SVG}g") if group.get("data-effect")]
        return [group.find(f"{SVG}path").get("fill", "") for group in groups]  # type: ignore[union-attr]

    assert [colours["chalk"], colours["pitch"]] == painted(patch, name)
    assert [colours["deepwater"], colours["pitch"]] == painted(backed)
    (picture,) = shoe_views.compose(book, asked(backed)).pictures
    assert "on a backing in Deepwater" in picture.alternative


def test_names_are_the_shops_in_the_readers_language(book: Book) -> None:
    """Of shoe, colour, panel and film's colour, where the shop has them in it."""
    deck, film = book.shoes["regatta-deck"], book.films["smooth"]
    own = replace(
        book,
        shoes={
            deck.id: replace(
                deck,
                names=(LocalName(language="de", name="Bootsschuh"),),
                colours=(replace(deck.colours[0], names=(LocalName(language="de", name="Marine"),)),),
                panels=(replace(deck.panels[0], names=(LocalName(language="de", name="Seite"),)), *deck.panels[1:]),
            )
        },
        films={
            film.id: replace(
                film,
                colours=tuple(
                    replace(colour, names=(LocalName(language="de", name="Ginster"),)) for colour in film.colours
                ),
            )
        },
    )
    texts = Texts("de", catalogues()["de"].messages, english())
    (picture,) = shoe_views.compose(own, asked(replace(OUTER, artwork=replace(NAME, text="7"))), texts).pictures

    assert "Bootsschuh in Marine, rechter Schuh, Außenseite: „7“ in Ginster, auf Seite." == picture.alternative


def test_equal_pictures_are_asked_alike(book: Book) -> None:
    """Pairs, owner, old marks and the rest of an order change nothing in its picture, and are left out."""
    request = asked(OUTER, width_px=320)
    order = replace(
        request.order, pairs=12, reference="K-2041", placements=(replace(OUTER, old_marks=(OldMark(film="smooth"),)),)
    )

    assert request == shoe_views.pictured(replace(request, order=order, inline=True))
    assert shoe_views.draw(book, request) == shoe_views.draw(book, replace(request, order=order))


def test_a_view_grows_with_its_shoe() -> None:
    """From the side along x, from above along y, and a heel around alone."""
    faces: tuple[Face, ...] = ("outer", "inner", "toe", "tongue", "heel")

    assert [(1.1, 1.2), (1.1, 1.2), (1.2, 1.1), (1.2, 1.1), (1.2, 1.2)] == [
        shoe_views.growth_of_view(face, (1.1, 1.2)) for face in faces
    ]
