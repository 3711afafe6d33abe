"""Random orders of one to four placements: what is said of their spacing is confirmed by plain shapely."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import Final, NamedTuple

import pytest
import shapely
from draws import drawn
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from shapely import Polygon, affinity
from shapely.geometry.base import BaseGeometry

from featherline.wire.artworks import Anchored, At, Centred, Footprint, PathArtwork, Pose, Searched
from featherline.wire.costs import Backing, Order, Placement
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import OldMark
from featherline.wire.records import Join
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.quote import quotes
from featherline_service.questions.shoes.panels import panel_area
from featherline_service.shape import shoe_sizes

BOOK: Final = load()
ROUNDING: Final = 0.002
"""[mm] Answers' coordinates have four decimals, and a backing's corners are drawn to a hundredth of a millimetre."""
BORDERLINE: Final = 0.03
"""[mm] Nearer than this to the limit, two ways of drawing a round corner may disagree."""
SHAPES: Final = {
    "square": Polygon([(0, 0), (10, 0), (10, 10), (0, 10)]),
    "bar": Polygon([(0, 0), (40, 0), (40, 10), (0, 10)]),
    "corner": Polygon([(0, 0), (12, 0), (12, 3), (3, 3), (3, 10), (0, 10)]),
    "ring": Polygon([(0, 0), (14, 0), (14, 10), (0, 10)], [[(3, 3), (3, 7), (11, 7), (11, 3)]]),
    "wedge": Polygon([(0, 0), (20, 0), (0, 10)]),
}
"""Shapes 10 high, y upwards."""


def path(shape: Polygon) -> str:
    """Return a shape as path data, y downwards."""
    rings = [shape.exterior, *shape.interiors]
    return "".join("M" + "L".join(f"{x:g} {-y:g}" for x, y in list(ring.coords)[:-1]) + "Z" for ring in rings)


class Drawn(NamedTuple):
    """A mark by independent code: its film and what counts of it on a shoe, about the panel's centre [mm]."""

    film: BaseGeometry
    counted: BaseGeometry
    clearance: float
    lower: int | None


def poses() -> st.SearchStrategy[Pose]:
    """Return poses of every kind."""
    rotations = st.sampled_from([None, None, "0 deg", "30 deg", "-75 deg"])
    offsets = st.integers(-25, 25).map("{} mm".format)
    return st.one_of(
        st.builds(Centred, rotation=rotations),
        st.builds(At, x=offsets, y=st.integers(-12, 12).map("{} mm".format), rotation=rotations),
        st.builds(At, x=offsets, y=st.integers(-12, 12).map("{} mm".format), rotation=rotations),
        st.builds(Searched, rotation=rotations),
        st.builds(Anchored, side=st.just("above"), edge=st.just("panel"), distance=st.just("12 mm"), along=offsets),
    )


@st.composite
def placements(draw: st.DrawFn, panel: str, before: list[Placement]) -> Placement:
    """Draw a placement on a panel, which may lie on one of those before it."""
    lower = [at for at, mark in enumerate(before) if mark.panel == panel and mark.sides == "both"]
    onto = draw(st.sampled_from([*[None] * 4, *lower]))
    artwork = PathArtwork(
        d=path(SHAPES[draw(st.sampled_from(sorted(SHAPES)))]),
        height=f"{draw(st.integers(4, 16 if onto is None else 6))} mm",
        fill_rule="evenodd",
        directional=draw(st.booleans()),
    )
    backing = Backing(film="smooth", colour="gorse", border=draw(st.sampled_from(["0.5 mm", "2 mm"])))
    footprints: list[Footprint] = ["exact", "exact", "filled", "hull"]
    pose = draw(poses()) if onto is None or draw(st.booleans()) else before[onto].pose
    return Placement(
        panel=panel,
        sides=draw(st.sampled_from(["both", "both", "left", "right"])),
        film=draw(st.sampled_from(["smooth", "stretch"])),
        colour="chalk",
        artwork=artwork,
        pose=pose,
        footprint=draw(st.sampled_from(footprints)),
        clearance=draw(st.sampled_from([None, "0 mm", "1 mm", "2 mm"])),
        onto=onto,
        backing=draw(st.sampled_from([None, None, None, backing])),
    )


@st.composite
def orders(draw: st.DrawFn) -> Order:
    """Draw an order of one to four placements on one or two panels of a shoe of the book."""
    shoe = draw(st.sampled_from(sorted(BOOK.shoes)))
    made = BOOK.shoes[shoe].sizes
    panels = draw(st.lists(st.sampled_from([panel.id for panel in BOOK.shoes[shoe].panels]), min_size=1, max_size=2))
    size = Size(system="EU", value=f"{round((made.smallest + made.largest) / 2.0)}")
    marks: list[Placement] = []
    for _ in range(draw(st.sampled_from([1, 2, 2, 3, 4]))):
        marks.append(draw(placements(draw(st.sampled_from(panels)), marks)))
    return Order(shoe=BookShoe(shoe=shoe, size=size), placements=tuple(marks))


def on_foot(order: Order, answer: QuoteAnswer, foot: str) -> dict[tuple[int, bool], Drawn]:
    """Return the marks on one shoe of the pair, by placement and whether it is the backing."""
    drawn: dict[tuple[int, bool], Drawn] = {}
    for index, (placement, quoted) in enumerate(zip(order.placements, answer.placements, strict=True)):
        if placement.sides not in {"both", foot}:
            continue
        assert isinstance(placement.artwork, PathArtwork)
        shape = next(shape for shape in SHAPES.values() if path(shape) == placement.artwork.d)
        scale = float(placement.artwork.height.split()[0]) / 10.0
        left, low, right, high = shape.bounds
        film = affinity.translate(shape, -(left + right) / 2.0, -(low + high) / 2.0)
        film = affinity.scale(film, scale, scale, origin=(0, 0))
        shown = "left" if quoted.fit.face == "inner" else "right"
        if foot != shown and not placement.artwork.directional:
            film = affinity.scale(film, -1.0, 1.0, origin=(0, 0))
        there = quoted.fit.placed
        film = affinity.rotate(film, there.rotation_deg, origin=(0, 0))
        film = affinity.translate(film, there.x_mm, there.y_mm)
        clearance = 3.0 if placement.clearance is None else float(placement.clearance.split()[0])
        lower = None if placement.onto is None else placement.onto
        drawn[index, False] = Drawn(film, footprint(film, placement.footprint), clearance, lower)
        if placement.backing is not None:
            grown = film.buffer(float(placement.backing.border.split()[0]), quad_segs=64)
            drawn[index, True] = Drawn(grown, footprint(grown, placement.footprint), clearance, lower)
    return drawn


def footprint(film: BaseGeometry, kind: Footprint) -> BaseGeometry:
    """Return what counts of a film."""
    if kind == "hull":
        return film.convex_hull
    return Polygon(film.exterior) if kind == "filled" and isinstance(film, Polygon) else film


def below(order: Order, key: tuple[int, bool]) -> Iterator[tuple[int, bool]]:
    """Yield what lies below a mark, the nearest first."""
    index, is_backing = key
    if not is_backing and order.placements[index].backing is not None:
        yield index, True
    onto = order.placements[index].onto
    if onto is not None:
        yield onto, False
        yield from below(order, (onto, False))


def two_marks(first: str, second: str, x: str, y: str, panel: str = "outer-quarter") -> Order:
    """Return an order of two marks, one in the panel's middle."""

    def mark(name: str, x: str, y: str) -> Placement:
        artwork = PathArtwork(d=path(SHAPES[name]), height="10 mm", fill_rule="evenodd")
        return Placement(
            panel=panel, film="smooth", colour="chalk", artwork=artwork, pose=At(x=x, y=y), clearance="1 mm"
        )

    marks = (mark(first, "0 mm", "-3 mm"), mark(second, x, y))
    return Order(shoe=BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42")), placements=marks)


@pytest.mark.slow
@example(two_marks("square", "square", "0 mm", "-3 mm"))
@example(two_marks("square", "square", "12 mm", "-3 mm"))
@example(two_marks("wedge", "wedge", "16 mm", "4 mm"))
@example(two_marks("wedge", "wedge", "16 mm", "4 mm", "inner-quarter"))
@example(two_marks("corner", "square", "-11 mm", "2 mm"))
@given(orders())
@settings(max_examples=drawn(150), deadline=None, suppress_health_check=list(HealthCheck))
def test_marks_are_apart_or_stacked_on_purpose(order: Order) -> None:
    """Marks said to be apart are, grown by half their clearance; those said to be too near are; stacks hold."""
    try:
        answer = quotes.compose(BOOK, order)
    except RefusedError:
        return  # a stack that cannot be, an edge that the panel has not
    apart, on_others, certain = True, True, True
    for foot in ("left", "right"):
        drawn = on_foot(order, answer, foot)
        for first, second in combinations(sorted(drawn), 2):
            one, other = drawn[first], drawn[second]
            if order.placements[first[0]].panel != order.placements[second[0]].panel:
                continue
            if first in below(order, second) or second in below(order, first):
                continue
            half = max(one.clearance, other.clearance) / 2.0
            grown = [mark.counted.buffer(max(half - ROUNDING, 0.0), quad_segs=64) for mark in (one, other)]
            apart &= shapely.intersection(*grown).area < ROUNDING
            gap = shapely.distance(one.counted, other.counted)
            certain &= abs(gap - 2.0 * half) > BORDERLINE
        for key, mark in drawn.items():
            lower = next(below(order, key), None)
            if lower is not None:
                over = shapely.difference(mark.film, drawn[lower].film.buffer(ROUNDING))
                on_others &= over.is_empty
                certain &= over.is_empty or over.area > BORDERLINE
    codes = {reason.code for reason in answer.reasons}
    if answer.verdict != "decline":
        assert apart
        assert on_others
    if certain:
        assert (not apart) == ("fit.overlap" in codes)
        assert (not on_others) == ("fit.off-mark" in codes)


def sewn() -> Book:
    """Return a book whose deck shoe has a heel and quarters with straight edges, one drawn at a slant, sewn together.

    Each panel is centred on the origin of its drawing.
    """
    deck = BOOK.shoes["regatta-deck"]
    shapes = {
        "heel": "M-25 -25H25V25H-25Z",
        "outer-quarter": "M-50 -20 L40 -32.5 L50 15 L-35 30 Z",
        "inner-quarter": "M-40 -25H40V25H-40Z",
    }
    panels = tuple(
        replace(panel, outline=shapes[panel.id], keep_outs=(), centre_mm=(0.0, 0.0))
        for panel in deck.panels
        if panel.id in shapes
    )
    joins = (
        Join(panel="heel", ends_mm=((25, -25), (25, 25)), other="outer-quarter", other_ends_mm=((-50, -20), (-35, 30))),
        Join(
            panel="inner-quarter",
            ends_mm=((-40, -25), (-40, 25)),
            other="heel",
            other_ends_mm=((-25, -25), (-25, 25)),
        ),
    )
    return replace(BOOK, shoes={**BOOK.shoes, "regatta-deck": replace(deck, panels=panels, joins=joins)})


SEWN: Final = sewn()
FOOT: Final = 800.0 / 3.0
"""[mm] Of EU 42: two thirds of a centimetre a size, the last two sizes longer than the foot (from memory)."""


@st.composite
def sewn_orders(draw: st.DrawFn) -> Order:
    """Draw an order on the heel and one quarter of the sewn shoe, near their join, with an old mark on the heel."""
    quarter = draw(st.sampled_from(["outer-quarter", "inner-quarter"]))
    towards = 1 if quarter == "outer-quarter" else -1
    side, low = draw(st.integers(8, 40)), draw(st.integers(-20, 10))
    near, far = sorted((towards * side, towards * (side - draw(st.integers(6, 20)))))
    old = OldMark(film="smooth", outline=f"M{near} {low}H{far}V{low + 8}H{near}Z")
    marks = []
    for panel, x in (("heel", towards * draw(st.integers(0, 22))), (quarter, draw(st.integers(-62, -20)))):
        artwork = PathArtwork(d=path(SHAPES[draw(st.sampled_from(["square", "corner"]))]), height="6 mm")
        marks.append(
            Placement(
                panel=panel,
                sides=draw(st.sampled_from(["both", "left", "right"])),
                film="smooth",
                colour="chalk",
                artwork=artwork,
                pose=At(x=f"{x} mm", y=f"{draw(st.integers(-18, 18))} mm"),
                clearance=draw(st.sampled_from(["0 mm", "1 mm", "3 mm"])),
                old_marks=(old,) if panel == "heel" else (),
            )
        )
    return Order(shoe=BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42")), placements=tuple(marks))


def laid_beside_the_heel(book: Book, region: BaseGeometry, quarter: str) -> BaseGeometry:
    """Return a region about a quarter's centre as one about the heel's: by complex numbers a turn is a product.

    An inner quarter is drawn of the left shoe: mirrored beside the heel of the right one.
    """
    deck = book.shoes["regatta-deck"]
    along, around = shoe_sizes.growth(FOOT, deck.reference_foot_mm, deck.reference_girth_mm)
    (join,) = [join for join in deck.joins if {join.panel, join.other} == {"heel", quarter}]
    ends = {join.panel: join.ends_mm, join.other: join.other_ends_mm}
    centres = {panel.id: panel_area(panel, around if panel.id == "heel" else along, around)[2] for panel in deck.panels}
    heel = [complex(x * around, -y * around) - complex(*centres["heel"]) for x, y in ends["heel"]]
    edge = [complex(x * along, -y * around) - complex(*centres[quarter]) for x, y in ends[quarter]]
    if quarter == "inner-quarter":
        region = affinity.scale(region, -1.0, 1.0, origin=(0, 0))
        edge = [-end.conjugate() for end in edge]
    turn = (heel[1] - heel[0]) / (edge[1] - edge[0])
    turn /= abs(turn)
    shift = (heel[0] + heel[1]) / 2.0 - turn * (edge[0] + edge[1]) / 2.0
    return affinity.affine_transform(region, (turn.real, -turn.imag, turn.imag, turn.real, shift.real, shift.imag))


@pytest.mark.slow
@pytest.mark.parametrize("book", [BOOK, SEWN], ids=["demo", "straight"])
@given(order=sewn_orders())
@settings(max_examples=drawn(100), deadline=None, suppress_health_check=list(HealthCheck))
def test_marks_on_joined_panels_are_apart(book: Book, order: Order) -> None:
    """Across a join, marks that fit are a clearance apart, and what is said of an old mark over it is so."""
    answer = quotes.compose(book, order)
    heel, quarter = order.placements
    (old,) = heel.old_marks
    assert old.outline is not None
    x0, y0, x1, y1 = (float(number) for number in old.outline[1:-1].replace("H", " ").replace("V", " ").split()[:4])
    film = shapely.box(min(x0, x1), -max(y0, y1), max(x0, x1), -min(y0, y1))
    near, certain = False, True
    for foot in ("left", "right"):
        drawn = on_foot(order, answer, foot)
        if (1, False) not in drawn:
            continue
        beside = laid_beside_the_heel(book, drawn[1, False].counted, quarter.panel)
        clearance = drawn[1, False].clearance
        if answer.verdict != "decline" and (0, False) in drawn:
            first = drawn[0, False]
            assert shapely.distance(first.counted, beside) > max(first.clearance, clearance) - ROUNDING
            assert shapely.intersection(first.counted, beside).area < ROUNDING
        if heel.sides in {"both", foot}:
            gap = shapely.distance(film, beside)
            near |= gap < clearance or shapely.intersection(film, beside).area > 0.0
            certain &= abs(gap - clearance) > BORDERLINE
    said = [it for it in answer.reasons if it.code == "fit.overlap" and it.subject == "/placements/1"]
    if certain:
        assert near == bool(said)
