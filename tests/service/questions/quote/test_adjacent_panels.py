from __future__ import annotations

import numpy as np
from msgspec.structs import replace
from plain_marks import SETTING

from featherline.wire.shoes import BookShoe, MeasuredPanel, MeasuredShoe, Rectangle, Size
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import prior
from featherline_service.heat.worst_case import Spread, layer_dwells
from featherline_service.questions.checks import Checks
from featherline_service.questions.quote.adjacent_panels import Hazard, hazards, unmarked
from featherline_service.questions.recipe.evidence.frames import heating_of
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.evidence.solved import beside
from featherline_service.questions.shoes.shoes import Shoe, find_shoe


def shoe_of(book: Book, shoe: BookShoe | MeasuredShoe) -> Shoe:
    """Return a shoe as it is understood."""
    there = find_shoe(book, shoe, Checks())
    assert there is not None
    return there


def harmed(
    book: Book, *uppers: str, dwell_s: float = 14.0, spread_k: float = 3.0, pad: str = "silicone-foam", **more: object
) -> list[Hazard]:
    """Return which uppers beside a film its setting may harm."""
    beside = [(f"the {name}", book.uppers[name]) for name in uppers]
    setting = replace(SETTING, dwell_s=dwell_s, **more)
    return list(hazards(book, beside, setting, pad=pad, spread_k=spread_k))


def names(book: Book, model: str, face: str, marked: set[str]) -> list[tuple[str, str]]:
    """Return the panels beside the marked ones of a model, and their uppers."""
    shoe = shoe_of(book, BookShoe(shoe=model, size=Size(system="EU", value="42")))
    return [(name, upper.id) for name, upper in unmarked(shoe, face, marked)]  # type: ignore[arg-type]


def with_quarter_of(book: Book, upper: str) -> Book:
    """Return a book whose deck shoe has its tongue on the outer face, of another upper."""
    deck = book.shoes["regatta-deck"]
    panels = tuple(
        replace(panel, face="outer", upper=upper) if panel.id == "tongue" else panel for panel in deck.panels
    )
    return replace(book, shoes={**book.shoes, deck.id: replace(deck, panels=panels)})


def test_panels_of_another_upper_on_the_face_lie_beside(book: Book) -> None:
    """Those of an upper that is marked have recipes of their own; other faces do not lie under the platen."""
    own = with_quarter_of(book, "glitter")
    tongue = next(panel.name for panel in book.shoes["regatta-deck"].panels if panel.id == "tongue")

    assert [(tongue, "glitter")] == names(own, "regatta-deck", "outer", {"outer-quarter"})
    assert [] == names(book, "regatta-deck", "outer", {"outer-quarter"})
    assert ["leather-lined"] == [upper for _, upper in names(own, "regatta-deck", "outer", {"tongue"})]
    assert [] == names(own, "regatta-deck", "outer", {"tongue", "outer-quarter"})
    assert [] == names(own, "regatta-deck", "heel", {"outer-quarter"})
    assert ["leather-lined"] == [upper for _, upper in names(own, "regatta-deck", "inner", {"tongue"})]


def test_nothing_is_known_beside_a_measured_panel(book: Book) -> None:
    """A walk-in shoe's other panels are not known."""
    panels = tuple(
        MeasuredPanel(panel=name, shape=Rectangle(width="50 mm", height="30 mm")) for name in ("side", "other")
    )
    shoe = shoe_of(book, MeasuredShoe(label="textile", panels=panels))

    assert [] == list(unmarked(shoe, "outer", {"side"}))


def test_an_upper_that_stands_the_setting_is_no_hazard(book: Book) -> None:
    """Cotton under a cover sheet stands 14 s at 160 degC; foam with a limit of 70 degC does not stand two."""
    assert [] == harmed(book, "cotton-woven")
    (foam,) = harmed(book, "cotton-woven", "eva-foam")

    assert ("the eva-foam", book.uppers["eva-foam"].layers[0].name) == (foam.name, foam.layer)
    assert 0.0 <= foam.sure_s <= foam.longest_s < 2.0


def test_a_hazard_is_one_only_where_the_dwell_is_longer_than_what_is_sure(book: Book) -> None:
    """The dwell that is sure itself is none, though the book's own values would stand longer."""
    (hazard,) = harmed(book, "suede", dwell_s=600.0)

    assert 0.0 < hazard.sure_s < hazard.longest_s
    assert [] == harmed(book, "suede", dwell_s=hazard.sure_s)
    assert [hazard] == harmed(book, "suede", dwell_s=1.01 * hazard.sure_s)


def test_what_an_upper_stands_depends_on_the_whole_setting(book: Book) -> None:
    """A hotter platen, a harder press and a wider spread shorten it, a thicker sheet lengthens it."""
    (plain,) = harmed(book, "suede", dwell_s=600.0)
    (hotter,) = harmed(book, "suede", dwell_s=600.0, temperature_c=165.0)
    (firmer,) = harmed(book, "suede", dwell_s=600.0, pressure_kpa=414.0)
    (looser,) = harmed(book, "suede", dwell_s=600.0, spread_k=6.0)
    (padded,) = harmed(book, "suede", dwell_s=600.0, cover="silicone-pad")

    assert hotter.sure_s < plain.sure_s < padded.sure_s
    assert firmer.sure_s != plain.sure_s
    assert looser.sure_s < plain.sure_s
    assert plain.longest_s == looser.longest_s


def test_nothing_is_kept_from_the_limits(book: Book) -> None:
    """What a panel stands is what its layers do, without a guard."""
    (hazard,) = harmed(book, "suede", dwell_s=600.0, spread_k=5.0)
    upper = book.uppers["suede"]
    place = beside(book, upper, Job("", upper, "silicone-foam", 276.0), "silicone-thin")
    parameters, stack, heating = heating_of(book, place, prior(()), press="", platen_spread_k=5.0)
    size = len(parameters)
    stood = layer_dwells([(heating, Spread(np.zeros(size), np.eye(size)))], np.array([160.0]), guard_k=0.0)[0]
    row = stack.names.index(hazard.layer)

    assert (stood.nominal_s[row, 0], stood.worst_s[row, 0]) == (hazard.longest_s, hazard.sure_s)
    assert stood.worst_s.min() == hazard.sure_s


def test_without_a_cover_sheet_nothing_can_be_said(book: Book) -> None:
    """The platen would meet the upper itself."""
    assert [] == harmed(book, "eva-foam", cover=None)


def test_the_layer_is_the_first_to_be_harmed_at_worst(book: Book) -> None:
    """Of two layers the one whose worst case ends sooner, though by the book's values the other ends sooner."""
    upper = book.uppers["suede"]
    face, lining = (layer.material for layer in upper.layers[:2])
    plain = book.materials[face].limit
    limits = {face: (plain.peak_c, 0.1), lining: (plain.peak_c - 10.0, 60.0)}
    materials = {
        name: replace(book.materials[name], limit=replace(plain, peak_c=peak_c, spread_k=spread_k, exposure=None))
        for name, (peak_c, spread_k) in limits.items()
    }
    own = replace(book, materials={**book.materials, **materials})
    (hazard,) = harmed(own, "suede", dwell_s=600.0)

    assert upper.layers[1].name == hazard.layer
    assert hazard.sure_s < hazard.longest_s
