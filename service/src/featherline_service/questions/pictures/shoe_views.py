"""Pictures of an order for its customer: each face of the shoe with all marks on it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

import shapely
from msgspec import Struct
from msgspec.structs import replace

from featherline.wire import costs
from featherline.wire.pictures import Picture, PictureAnswer, PictureRequest
from featherline.wire.records import Finish, View, ViewPart
from featherline.wire.shoes import Face, MeasuredPanel
from featherline_service.book.shop_book import Book
from featherline_service.drawing import shoe_pictures
from featherline_service.drawing.shoe_pictures import Mark, Matrix, Part
from featherline_service.drawing.shoe_pictures import Panel as DrawnPanel
from featherline_service.drawing.shoe_pictures import Picture as Drawn
from featherline_service.messages.local_names import local_name
from featherline_service.messages.texts import Texts, english
from featherline_service.messages.told import told
from featherline_service.questions.checks import Checks
from featherline_service.questions.order.orders import Order, read_order
from featherline_service.questions.order.placements import Foot, Placement
from featherline_service.questions.pictures.alternative_texts import Alternative, MarkWords, say
from featherline_service.questions.shoes.panels import PanelShape, growth_of, panel_shape
from featherline_service.questions.shoes.shoes import Panel, Shoe
from featherline_service.runtime.engine import ENGINE

_UNKNOWN_UPPER: Final = "#d9d6d0"
_OPPOSITE: Final[dict[Face, Face]] = {"outer": "inner", "inner": "outer"}
"""Faces that the same view shows, on the other shoe: never both at once."""
_HOLES: Final = frozenset({"eyelets", "perforation"})
_Indices = tuple[int, ...]


class _Seen(Struct, frozen=True, eq=False):
    """What a picture shows: a face on one shoe, the view of it that the book has, and the order's placements on it."""

    face: Face
    foot: Foot
    view: View | None
    panels: tuple[str, ...]
    """The panels whose marks it shows: all of the view, or the one that is shown alone."""
    indices: _Indices


def compose(book: Book, request: PictureRequest, texts: Texts | None = None) -> PictureAnswer:
    """Return the pictures of an order, without their addresses; their words in a language, by default English.

    Raises:
        RefusedError: The order names what the book has not, or asks for what cannot be; with all its faults.
    """
    order = _order(book, request)
    return PictureAnswer(
        pictures=tuple(_picture(request, order, seen, texts or english()) for seen in _wanted(request, order)),
        book=book.revision,
        book_until=book.until,
        engine=ENGINE,
    )


def draw(book: Book, request: PictureRequest, texts: Texts | None = None) -> str:
    """Return the picture of the placement and foot that a request names, or else of the first placement, as SVG.

    Raises:
        RefusedError: As `compose`.
    """
    order = _order(book, request)
    seen = _wanted(request, order)[0]
    return shoe_pictures.write(_drawn(request, order, seen, texts or english()))


def pictured(request: PictureRequest) -> PictureRequest:
    """Return a request with all that does not change the picture left out, so that equal pictures are asked alike."""
    order = request.order
    return replace(
        request,
        inline=False,
        order=costs.Order(
            shoe=order.shoe,
            placements=tuple(replace(placement, old_marks=()) for placement in order.placements),
        ),
    )


def _order(book: Book, request: PictureRequest) -> Order:
    checks = Checks()
    under = checks.under("/order")
    order = read_order(book, request.order, under)
    checks.settle()
    assert order is not None  # noqa: S101 - settle has raised where there is none
    return order


def _wanted(request: PictureRequest, order: Order) -> Sequence[_Seen]:
    """Return what the pictures show that a request asks for."""
    all_seen = tuple(_seen(order))
    seen = [
        one
        for one in all_seen
        if (request.placement is None or request.placement in one.indices) and request.foot in {None, one.foot}
    ]
    if not seen:
        checks = Checks()
        if request.placement is not None and request.placement >= len(order.placements):
            checks.note(
                "/placement",
                told(
                    "picture.no-such-placement",
                    "The order has {placements} placements, counted from 0",
                    placements=len(order.placements),
                ),
            )
        else:
            checks.note(
                "/foot",
                told(
                    "picture.foot-not-shown",
                    "No picture shows that on the {foot} shoe alone: leave it out",
                    foot=request.foot,
                ),
            )
        checks.settle()
    return seen


def _seen(order: Order) -> Iterator[_Seen]:
    """Yield what the pictures of an order show, so that every placement is in one on each shoe that differs."""
    shown: set[tuple[int, Foot]] = set()
    for index, placement in enumerate(order.placements):
        alike = _alike(order, placement.panel)
        feet = _feet(order, alike)
        for foot in feet:
            if foot not in placement.feet or (index, foot) in shown:
                continue
            there = tuple(at for at in alike if foot in order.placements[at].feet)
            shown |= {(at, foot) for at in there}
            view = _view(order.shoe, placement.panel)
            yield _Seen(placement.panel.face, foot, view, _panels(order.shoe, placement.panel, view), there)


def _alike(order: Order, panel: Panel) -> _Indices:
    """Return the placements that are seen together with those on a panel."""
    panels = _panels(order.shoe, panel, _view(order.shoe, panel))
    return tuple(index for index, placement in enumerate(order.placements) if placement.panel.id in panels)


def _feet(order: Order, indices: _Indices) -> tuple[Foot, ...]:
    """Return the shoes to show: one where all is on it, that which the panel is drawn of first; else both."""
    faces = {order.placements[index].panel.face for index in indices}
    first: tuple[Foot, ...] = ("left", "right") if "inner" in faces else ("right", "left")
    for foot in first:
        if all(foot in order.placements[index].feet for index in indices):
            return (foot,)
    return first


def _view(shoe: Shoe, panel: Panel) -> View | None:
    if shoe.model is None:
        return None
    return next((view for view in shoe.model.views if any(place.panel == panel.id for place in view.places)), None)


def _panels(shoe: Shoe, panel: Panel, view: View | None) -> tuple[str, ...]:
    """Return the panels that a picture of a panel shows with it."""
    if view is None:
        return (panel.id,)
    hidden = _OPPOSITE.get(panel.face)
    faces = {each.id: each.face for each in shoe.panels}
    return tuple(place.panel for place in view.places if faces[place.panel] != hidden)


def _picture(request: PictureRequest, order: Order, seen: _Seen, texts: Texts) -> Picture:
    drawn = _drawn(request, order, seen, texts)
    return Picture(
        face=seen.face,
        foot=seen.foot,
        placements=seen.indices,
        in_place=seen.view is not None,
        alternative=drawn.alternative,
        width_px=drawn.width_px,
        height_px=shoe_pictures.height_px(drawn),
        svg=shoe_pictures.write(drawn) if request.inline else None,
        address=None,
    )


def _drawn(request: PictureRequest, order: Order, seen: _Seen, texts: Texts) -> Drawn:
    """Return a picture, named in a language."""
    words = say(_alternative(order, seen, texts.language), texts)
    # The panel is drawn of the right shoe, an inner one of the left; on the other shoe all is turned over.
    mirrored = seen.foot != ("left" if seen.face == "inner" else "right")
    first = order.placements[seen.indices[0]]
    if seen.view is None or order.shoe.growth is None:
        matrix = _upright(first.shape)
        outline = shoe_pictures.placed(first.shape.outline, matrix)
        left, top, width, height = shoe_pictures.alone(outline)
        moved: Matrix = (*matrix[:4], matrix[4] - left, matrix[5] - top)
        return Drawn(
            alternative=words,
            width=width,
            height=height,
            width_px=request.width_px,
            panels=(_panel(first.panel, first.shape, moved),),
            marks=tuple(_marks(order, seen, {first.panel.id: moved})),
            mirrored=mirrored,
        )
    view, growth = seen.view, order.shoe.growth
    along, around = growth_of_view(seen.face, growth)
    by_id = {panel.id: panel for panel in order.shoe.panels}
    matrices: dict[str, Matrix] = {}
    panels = []
    for place in view.places:
        if place.panel in seen.panels:
            panel = by_id[place.panel]
            shape = panel_shape(order.shoe, panel, Checks())
            assert shape is not None  # noqa: S101 - a model in a size that it is made in
            matrices[panel.id] = _grown(place.matrix, panel, growth, (along, around))
            panels.append(_panel(panel, shape, matrices[panel.id], place.finish))
    return Drawn(
        alternative=words,
        width=view.width_mm * along,
        height=view.height_mm * around,
        width_px=request.width_px,
        parts=tuple(_part(order.shoe, part) for part in view.parts),
        panels=tuple(panels),
        marks=tuple(_marks(order, seen, matrices)),
        over=tuple(_part(order.shoe, part) for part in view.over),
        growth=(along, around),
        mirrored=mirrored,
    )


def growth_of_view(face: Face, growth: tuple[float, float]) -> tuple[float, float]:
    """Return how a view grows in x and y on a shoe that grows along its length and around it.

    A view from the side grows as panels do; one from above, its toe down, the other way round, and a heel around alone.
    """
    along, around = growth
    if face == "heel":
        return around, around
    return (along, around) if face in _OPPOSITE else (around, along)


def _grown(matrix: Matrix, panel: Panel, growth: tuple[float, float], of_view: tuple[float, float]) -> Matrix:
    """Return the matrix from a grown panel to a grown view: back to the reference size, there, and out again."""
    assert not isinstance(panel.drawing, MeasuredPanel)  # noqa: S101 - a view is of a model
    along, around = growth_of(panel.drawing, *growth)
    a, b, c, d, e, f = matrix
    wide, high = of_view
    return (wide * a / along, high * b / along, wide * c / around, high * d / around, wide * e, high * f)


def _upright(shape: PanelShape) -> Matrix:
    """Return the matrix that turns a panel so that what is up on the worn shoe is up."""
    cosine, sine = math.cos(shape.upright), math.sin(shape.upright)
    return (cosine, sine, -sine, cosine, 0.0, 0.0)


def _panel(panel: Panel, shape: PanelShape, matrix: Matrix, finish: Finish = "matt") -> DrawnPanel:
    holes = [region for what, region in shape.area.barriers[1:] if what in _HOLES]
    return DrawnPanel(
        outline=shoe_pictures.placed(shape.outline, matrix),
        colour=panel.colour or _UNKNOWN_UPPER,
        holes=shoe_pictures.placed(shapely.union_all(holes), matrix) if holes else None,
        finish=finish,
    )


def _part(shoe: Shoe, part: ViewPart) -> Part:
    colour = part.colour
    if colour is None:
        colour = next(panel.colour for panel in shoe.panels if panel.id == part.panel) or _UNKNOWN_UPPER
    return Part(part.d, shoe_pictures.shade(colour, part.shade), part.line_mm, part.dash_mm, part.finish)


def _marks(order: Order, seen: _Seen, matrices: dict[str, Matrix]) -> Iterator[Mark]:
    """Yield the marks of a picture, from the bottom up."""
    placements = [order.placements[index] for index in seen.indices]
    for placement in sorted(placements, key=lambda placement: len(order.under(placement))):
        for mark in (placement.backing, placement):
            if mark is not None:
                film = shoe_pictures.placed(mark.film_on(seen.foot), matrices[placement.panel.id])
                colour = mark.colour
                assert colour is not None  # noqa: S101 - an order names the colour of every mark
                yield Mark(film, colour.hex, colour.effect)


def _alternative(order: Order, seen: _Seen, language: str) -> Alternative:
    """Return what the alternative text of a picture says, names in a language where the shop has them in it."""
    shoe = order.shoe
    return Alternative(
        shoe=None if shoe.model is None else local_name(shoe.model, language),
        colour=shoe.colour if shoe.made_in is None else local_name(shoe.made_in, language),
        face=seen.face,
        foot=seen.foot,
        in_place=seen.view is not None,
        marks=tuple(_words(order.placements[index], language) for index in seen.indices),
    )


def _words(placement: Placement, language: str) -> MarkWords:
    backing, panel = placement.backing, placement.panel
    assert placement.colour is not None  # noqa: S101 - an order names the colour of every mark
    return MarkWords(
        text=placement.artwork.text,
        colour=local_name(placement.colour, language),
        effect=placement.colour.effect,
        panel=panel.name if isinstance(panel.drawing, MeasuredPanel) else local_name(panel.drawing, language),
        backing=None if backing is None or backing.colour is None else local_name(backing.colour, language),
    )
