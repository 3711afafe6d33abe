"""Colours of shoes: those of a model, and those of the web."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from featherline.wire.shoes import BookShoe, MeasuredPanel, MeasuredShoe, Rectangle, Size
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.shoes import shoe_colours
from featherline_service.questions.shoes.shoes import Shoe, find_shoe

DECK = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42"))
PANEL = MeasuredPanel(panel="side", shape=Rectangle(width="80 mm", height="40 mm"))
WALK_IN = MeasuredShoe(label="leather", panels=(PANEL, replace(PANEL, panel="tab", colour="#112233")))


def found(book: Book, shoe: BookShoe | MeasuredShoe) -> tuple[Shoe, list[tuple[str, str]]]:
    """Return a shoe, and its faults."""
    checks = Checks()
    read = find_shoe(book, shoe, checks)
    assert read is not None
    return read, [(fault.pointer, fault.detail) for fault in checks.faults]


def test_a_model_is_in_the_colour_asked_for(book: Book) -> None:
    """Its panels are, but for those of another colour; without being asked it is as it is drawn."""
    drawn, _ = found(book, DECK)
    tan, _ = found(book, replace(DECK, colour="tan"))

    assert ("Navy", "Tan") == (drawn.colour, tan.colour)
    assert {"#1d2b44", "#6b4a2f"} == {panel.colour for panel in drawn.panels}
    assert {"outer-quarter": "#a8713f", "tongue": "#6b4a2f"} == {
        panel.id: panel.colour for panel in tan.panels if panel.id in {"outer-quarter", "tongue"}
    }


@pytest.mark.parametrize(
    ("shoe", "advice"),
    [
        ("regatta-deck", "Regatta deck shoe (invented) is not made in 'tam'; it is in: navy, tan, ivory"),
        ("yard-boot", "Yard safety boot (invented) has one colour alone: leave it out"),
    ],
)
def test_a_colour_that_a_model_has_not_is_a_fault(book: Book, shoe: str, advice: str) -> None:
    """It names those that there are, so that one can be chosen."""
    _, faults = found(book, replace(DECK, shoe=shoe, colour="tam"))

    assert [("/shoe/colour", advice)] == faults


@pytest.mark.parametrize(
    ("words", "digits"), [("navy", "#000080"), ("#0a0b0c", "#0a0b0c"), ("rebeccapurple", "#663399")]
)
def test_a_measured_shoe_has_a_colour_of_the_web(book: Book, words: str, digits: str) -> None:
    """By digits or by name (CSS Color Module Level 4, W3C, section 6.1); a panel of another colour keeps its own."""
    shoe, faults = found(book, replace(WALK_IN, colour=words))

    assert ([digits, "#112233"], []) == ([panel.colour for panel in shoe.panels], faults)
    assert (None if words.startswith("#") else words) == shoe.colour


@pytest.mark.parametrize("words", ["transparent", "sea"])
def test_a_name_that_is_no_colour_is_a_fault(book: Book, words: str) -> None:
    """Nor is one that nothing is seen of."""
    _, faults = found(book, replace(WALK_IN, colour=words))

    assert [
        ("/shoe/colour", f"No colour is named {words!r}: give one of CSS Color 4, or digits such as '#1d2b44'")
    ] == faults


def test_a_model_whose_drawn_colour_has_no_name_has_none(book: Book) -> None:
    """Its panels keep their own colours."""
    model = replace(book.shoes["regatta-deck"], colours=())

    assert None is shoe_colours.of_model(model, None)
    assert ["#1d2b44", "#6b4a2f"] == [shoe_colours.of_panel(None, model.panels[at]) for at in (0, 3)]
