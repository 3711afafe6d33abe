"""An order is read once: what its texts say is converted where they are read, and nowhere after."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace
from plain_marks import DECK, asked, read

from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import Backing, Order, OrderWork
from featherline.wire.rosters import Roster
from featherline_service import quantities
from featherline_service.book.shop_book import Book
from featherline_service.messages.told import told
from featherline_service.questions import costs
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.order.orders import places_of, read_order
from featherline_service.questions.quote import bench_cards, quotes
from featherline_service.questions.roster import rosters
from featherline_service.runtime import cache

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
CONVERTERS = ("millimetres", "seconds", "celsius", "kelvin_difference", "kilopascals", "radians")
WALK_IN: dict[str, Any] = {
    "shoe": {
        "kind": "measured",
        "label": "leather",
        "panels": [
            {
                "panel": "side",
                "shape": {"kind": "rectangle", "width": "91 mm", "height": "61 mm"},
                "curvature": "144 mm",
            },
            {"panel": "back", "face": "inner", "shape": {"kind": "ellipse", "width": "92 mm", "height": "62 mm"}},
        ],
        "inside_length": "271 mm",
        "width": "99 mm",
        "height": "13 cm",
    },
    "placements": [
        {
            "panel": panel,
            "film": "smooth",
            "colour": "gorse",
            "artwork": {"kind": "path", "d": "M0 0H40V10H0Z", "height": f"{9 + number} mm"},
            "pose": {"kind": "at", "x": f"{number} mm", "y": f"-{number} mm", "rotation": f"{number} deg"},
            "clearance": f"{number}.5 mm",
        }
        for number, panel in enumerate(("side", "side", "back"), 1)
    ],
    "offcuts": [
        {
            "id": "scrap",
            "film": "smooth",
            "colour": "gorse",
            "shape": {"kind": "rectangle", "width": "201 mm", "height": "81 mm"},
        }
    ],
}


@pytest.fixture
def converted(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Count the quantities that the questions convert from text, from now on; nothing is known from before."""
    cache.clear()
    texts: Counter[str] = Counter()

    def counted(convert: Callable[[str], float]) -> Callable[[str], float]:
        def count(text: str) -> float:
            texts[text] += 1
            return convert(text)

        return count

    modules = [module for name, module in sys.modules.items() if name.startswith("featherline_service.questions")]
    for name in CONVERTERS:
        for module in modules:
            if hasattr(module, name):
                monkeypatch.setattr(module, name, counted(getattr(quantities, name)))
    return texts


def quantities_in(value: Any) -> Iterator[str]:  # noqa: ANN401 - JSON
    """Yield the texts of a request that are quantities."""
    if isinstance(value, dict):
        for inside in value.values():
            yield from quantities_in(inside)
    elif isinstance(value, list | tuple):
        for inside in value:
            yield from quantities_in(inside)
    elif isinstance(value, str) and value[-1:].isalpha() and value.lstrip("-")[:1].isdigit() and " " in value:
        yield value


def given(request: Order) -> Counter[str]:
    """Return the quantities that a request holds, its defaults too."""
    return Counter(quantities_in(msgspec.to_builtins(request)))


def test_a_mark_lies_on_all_below_it_the_lowest_first(book: Book) -> None:
    """A placement's own backing is the nearest below it; a backing lies where its placement does."""
    backing = Backing(film="stretch", colour="chalk", border="1 mm")
    stacked, backed = (
        read(book, *placements, asked(panel="toe"))
        for placements in ((asked(), asked(onto=0), asked(onto=1)), (asked(backing=backing), asked(onto=0)))
    )
    lowest, middle, top, apart = stacked.placements

    assert () == stacked.under(lowest)
    assert (lowest,) == stacked.under(middle)
    assert (lowest, middle) == stacked.under(top)
    assert () == stacked.under(apart)
    below, above, _ = backed.placements
    assert (below.backing,) == backed.under(below)
    assert (below.backing, below) == backed.under(above)
    own = read(book, asked(), asked(onto=0, backing=backing))
    assert (own.placements[0], own.placements[1].backing) == own.under(own.placements[1])


def test_marks_are_placements_each_after_its_backing(book: Book) -> None:
    """With the index of the placement."""
    backing = Backing(film="stretch", colour="chalk", border="1 mm")
    order = read(book, asked(), asked(panel="toe", backing=backing))

    assert [(0, False), (1, True), (1, False)] == [(index, mark.is_backing) for index, mark in order.marks]
    assert [order.placements[0], order.placements[1].backing, order.placements[1]] == [mark for _, mark in order.marks]


def test_the_colour_behind_a_mark_is_that_of_what_it_lies_on(book: Book) -> None:
    """The mark below, or its own backing, whose own is the mark below; on the panel the panel's."""
    backing = Backing(film="stretch", colour="chalk", border="1 mm")
    order = read(book, asked(), asked(onto=0, colour="chalk"), asked(onto=0, backing=backing))
    below, above, backed = order.placements
    colours = {colour.id: colour.hex for colour in book.films["smooth"].colours}
    chalk = next(colour.hex for colour in book.films["stretch"].colours if colour.id == "chalk")
    assert backed.backing is not None

    assert (below.panel.colour, colours["gorse"]) == (below.behind, above.behind)
    assert (chalk, colours["gorse"]) == (backed.behind, backed.backing.behind)


def test_an_order_with_a_fault_is_none(book: Book) -> None:
    """Whether of a placement, of the stack, of the shoe or the press; parts of placements are at their places."""
    for placements, changes, pointer in (
        ((asked(), asked(film="velvet")), {}, "/placements/1/film"),
        ((asked(onto=0),), {}, "/placements/0/onto"),
        ((asked(),), {"press": "mangle"}, "/press"),
        ((asked(),), {"shoe": replace(DECK, shoe="barge")}, "/shoe/shoe"),
        ((asked(),), {"shoe": replace(DECK, size=replace(DECK.size, value="60"))}, "/shoe/size"),
    ):
        checks = Checks()
        order = read_order(book, replace(Order(shoe=DECK, placements=placements), **changes), checks)

        assert order is None
        assert [pointer] == [fault.pointer for fault in checks.faults]


def test_an_order_of_texts_has_the_placements_of_the_one_before(book: Book) -> None:
    """Where its pairs or its reference differ; not where a placement, the shoe, the press, units or the book do."""
    text = asked(artwork=TextArtwork(text="7", font="plain", height="20 mm"))
    first = read(book, text)

    for changes in ({"pairs": 12}, {"reference": "cart-7"}, {"pairs": 1}):
        again = read(book, text, **changes)
        assert [*map(id, first.placements)] == [*map(id, again.placements)]
        assert [first.shoe, first.press] == [again.shoe, again.press]
        assert changes == {name: getattr(again.request, name) for name in changes}
    for other in (
        read(book, text, units="us"),
        read(book, replace(text, film="stretch", colour="chalk")),
        read(book, text, shoe=replace(DECK, size=replace(DECK.size, value="43"))),
        read(book, text, press="swing"),
        read(replace(book), text),
    ):
        assert first.placements[0] is not other.placements[0]
        first = other


def test_an_order_of_drawings_is_read_anew(book: Book) -> None:
    """What a drawing holds is not kept beside the cache, which is bounded."""
    assert read(book, asked()).placements[0] is not read(book, asked()).placements[0]


def test_faults_are_told_each_time(book: Book) -> None:
    """Of an order of texts as of any; one that is understood is none beside other faults."""
    text = asked(artwork=TextArtwork(text="7", font="plain", height="20 mm"))
    wrong = Order(shoe=DECK, placements=(replace(text, film="velvet"),))
    found = []
    for _ in range(2):
        checks = Checks()
        assert read_order(book, wrong, checks) is None
        found.append([fault.pointer for fault in checks.faults])
    assert [["/placements/0/film"]] * 2 == found

    checks = Checks()
    checks.note("/policy", told("refused", "unknown"))
    assert read_order(book, Order(shoe=DECK, placements=(text,)), checks) is None
    assert ["/policy"] == [fault.pointer for fault in checks.faults]


def test_parts_of_a_placements_questions_are_parts_of_the_order() -> None:
    """Shoe and press are the order's; what is pressed on is the placement itself."""
    places = places_of(3)
    parts = ("/film", "/shoe/size", "/press", "/onto/old_marks/0", "/onto/shoe/upper", "/onto", "lining")

    assert [
        "/placements/3/film",
        "/shoe/size",
        "/press",
        "/placements/3/old_marks/0",
        "/shoe/upper",
        "/placements/3",
        "/placements/3",
    ] == [places.pointer(part) for part in parts]


@pytest.mark.parametrize("name", ["quote-request", "walk-in", "clog", None])
@pytest.mark.parametrize("question", [quotes.compose, bench_cards.compose])
def test_every_quantity_of_an_order_is_converted_once(
    book: Book, converted: Counter[str], question: Callable[[Book, Order], object], name: str | None
) -> None:
    """By a quote, and by a bench card with its trials and drawings; and nothing is that the order does not hold."""
    text = msgspec.json.encode(WALK_IN) if name is None else (EXAMPLES / f"{name}.json").read_bytes()
    order = msgspec.json.decode(text, type=Order)
    question(book, order)

    assert given(order) == converted


def test_nothing_is_decoded_after_the_request(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """The parts of a quote are no requests of one another."""
    order = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
    cache.clear()

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("Something was decoded")

    monkeypatch.setattr(msgspec, "convert", refuse)
    monkeypatch.setattr(msgspec.json, "decode", refuse)

    assert "ready" == quotes.compose(book, order).verdict


def test_a_rosters_shoe_press_and_drawings_are_where_they_were(book: Book) -> None:
    """Faults of a row's own order lie in the row, those of the order in the order, each said once for all rows."""
    roster = msgspec.json.decode((EXAMPLES / "roster-request.json").read_bytes(), type=Roster)
    first, *others = roster.order.placements
    wrong = msgspec.structs.replace(first, colour="no-such")
    order = msgspec.structs.replace(roster.order, press="no-such", placements=(wrong, *others))
    with pytest.raises(RefusedError) as refused:
        rosters.compose(book, msgspec.structs.replace(roster, order=order))

    assert ["/order/placements/0/colour", "/order/press"] == [fault.pointer for fault in refused.value.faults]


def test_faults_of_a_costs_order_lie_below_it(book: Book) -> None:
    """What placements share is said once, where the first of them needs it."""
    order = msgspec.convert({**WALK_IN, "press": "no-such", "policy": "no-such"}, Order)
    shoe = msgspec.structs.replace(order.shoe, upper="canvas")
    with pytest.raises(RefusedError) as refused:
        costs.estimate(book, OrderWork(order=msgspec.structs.replace(order, shoe=shoe)))

    assert ["/order/policy", "/order/shoe/upper", "/order/press"] == [fault.pointer for fault in refused.value.faults]
