from collections.abc import Callable
from pathlib import Path

import pytest

from featherline_service.book.faults import BookFault
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book

Shop = Callable[..., Path]
Faults = Callable[..., list[BookFault]]

FILM = """id = "gull"
name = "Gull"
family = "flock"
setting = { coolest_c = 158.0, shortest_s = 17.0, pressure = "firm" }
peel = { when = "warm" }
colours = [{ id = "black", name = "Black", hex = "#111111" }]
roll = { width_mm = 500.0, price = "210.00" }
source = "maker-sheet"
"""
SHOE = """id = "cob"
name = "Cob"
kind = "deck"
upper = ["grain-leather", { layer = "textile-lining", thickness_mm = 0.7 }]
colour = "#223344"
pair_value = "80.00"
source = "measured"

[[panels]]
id = "side"
face = "outer"
radius_along_mm = 150.0
outline = "M0 0H95V42H0Z"

[[panels]]
id = "tongue"
face = "tongue"
colour = "#ffffff"
outline = "M0 0H60V30H0Z"
"""


@pytest.fixture
def book(shop: Shop) -> Book:
    """Return the demo book with a film and a shoe by class."""
    return load([shop({"films/gull.toml": FILM, "shoes/cob.toml": SHOE})])


def test_a_film_is_its_family_and_its_makers_sheet(book: Book) -> None:
    """A single temperature and dwell are a range of one; what the sheet does not say is by the family."""
    gull, flock = book.films["gull"], book.films["flock"]
    setting = gull.setting
    assert (158.0, 158.0, 17.0, 17.0) == (setting.coolest_c, setting.hottest_c, setting.shortest_s, setting.longest_s)
    assert (40.0, 70.0) == (gull.peel.coolest_c, gull.peel.hottest_c)
    assert (flock.bonds_to, flock.finest, flock.cutting) == (gull.bonds_to, gull.finest, gull.cutting)
    assert 25.0 == gull.roll.length_m


def test_what_is_by_class_is_spread_wider_and_says_so(book: Book) -> None:
    """The citations of a film tell its sheet from its family."""
    gull, flock = book.films["gull"], book.films["flock"]
    assert [layer.thickness_mm for layer in flock.layers] == [layer.thickness_mm for layer in gull.layers]
    assert all(
        wide.thickness_spread > known.thickness_spread for wide, known in zip(gull.layers, flock.layers, strict=True)
    )
    assert gull.carrier.thickness_spread > flock.carrier.thickness_spread
    cites = {cite.source: (cite.values, cite.at) for cite in gull.cites}
    assert (("roll.width_mm", "setting"), "") == cites["maker-sheet"]
    values, at = cites["class-default"]
    assert {"layers", "carrier", "adhesive", "needed_share", "roll.length_m", "finest"} <= set(values)
    assert "films: flock, peel-warm" == at


def test_a_shoe_is_a_kind_its_layers_and_its_panels(book: Book) -> None:
    """A panel has what is usual for its face, and the shoe's upper and colour, unless it says otherwise."""
    cob, regatta = book.shoes["cob"], book.shoes["regatta-deck"]
    assert (regatta.width_mm, regatta.sizes, True) == (cob.width_mm, cob.sizes, cob.heel_collapses)
    side, tongue = cob.panels
    assert ("cob", "#223344", 150.0, 400.0, 90.0, "Outer quarter") == (
        side.upper, side.colour, side.radius_along_mm, side.radius_across_mm, side.up_deg, side.name,
    )  # fmt: skip
    assert ("cob", "#ffffff", 180.0, "Tongue") == (tongue.upper, tongue.colour, tongue.up_deg, tongue.name)
    cites = {cite.source: cite.values for cite in cob.cites}
    assert ("panels.radius_along_mm",) == cites["measured"]
    assert {"panels.radius_across_mm", "panels.up_deg", "width_mm"} <= set(cites["class-default"])


def test_an_upper_is_its_layers_by_name(book: Book) -> None:
    """The outermost layer says surface and label; a thickness that is measured is cited so, and not spread widely."""
    upper = book.uppers["cob"]
    assert ("leather", ("leather",), "Upper of Cob") == (upper.surface, upper.labels, upper.name)
    assert [("upper-leather", 1.4), ("polyester-fabric", 0.7)] == [
        (layer.material, layer.thickness_mm) for layer in upper.layers
    ]
    assert [0.25, 0.1] == [layer.thickness_spread for layer in upper.layers]


def test_what_lies_under_a_coat_is_bonded_to_it(shop: Shop) -> None:
    """A coat has no contact resistance to what it coats; foam has none on either side."""
    text = 'id = "{0}"\nname = "{0}"\nlayers = [{1}]\nsource = "guess"'
    files = {
        "uppers/coated.toml": text.format("coated", '"gloss-coat", "microfibre", "textile-lining"'),
        "uppers/padded.toml": text.format("padded", '"nylon-mesh", "foam-padding", "textile-lining"'),
    }
    book = load([shop(files)])
    assert [False, True, False] == [layer.bonded for layer in book.uppers["coated"].layers]
    assert [False, True, True] == [layer.bonded for layer in book.uppers["padded"].layers]
    assert ["polyurethane-coating", "microfibre"] == [layer.material for layer in book.uppers["coated"].layers[:2]]


def test_a_press_is_how_it_opens(shop: Shop) -> None:
    """Range, steps, pressures and platens are usual for presses that open so."""
    text = 'id = "own"\nname = "Own"\nopening = "clam"\nhottest_c = 190.0\nsource = "maker-sheet"'
    press = load([shop({"presses/own.toml": text})]).presses["own"]
    assert (150.0, 190.0, 8.0) == (press.opening_mm, press.hottest_c, press.platen_spread_k)
    assert {"maker-sheet": ("hottest_c",)}.items() <= {cite.source: cite.values for cite in press.cites}.items()


def test_what_is_usual_can_be_changed(shop: Shop) -> None:
    """A shop that knows better changes a default in one line."""
    defaults = '[[record]]\nid = "flock"\nstretch = 0.07'
    book = load([shop({"films/gull.toml": FILM, "defaults/films.toml": defaults})])
    assert (0.07, 0.07) == (book.films["gull"].stretch, book.films["flock"].stretch)
    assert book.films["gull"].finest == load().films["flock"].finest


@pytest.mark.parametrize(
    ("files", "key", "advice"),
    [
        (
            {"shoes/cob.toml": SHOE.replace('"deck"', '"dek"')}, "kind",
            "There is no kind of shoe dek; name one of deck, sandal, trainer, boot, clog and 1 more",
        ),
        (
            {"shoes/cob.toml": SHOE.replace('"grain-leather"', '"grain-lether"')}, "upper[0]",
            "There is no layer grain-lether; name one of grain-leather, soft-leather, ",
        ),
        (
            {"uppers/own.toml": 'id = "own"\nname = "Own"\nlayers = ["cavnas"]'}, "layers[0]",
            "There is no layer cavnas; name one of canvas, ",
        ),
        ({"defaults/films.toml": 'id = "flock"\nstrech = 0.1'}, "strech", "Unknown; take it out"),
        ({"defaults/films.toml": 'id = "flock"\nstretch = 7.0'}, "stretch", "Too large; the most is 1"),
        ({"defaults/flims.toml": 'id = "flock"'}, "", "Not defaults of a kind of record; the kinds are sources, "),
        ({"offcuts/own.toml": 'id = "smooth-gorse-1"\nsource = "guess"'}, "source", "Unknown; take it out"),
        ({"offcuts/own.toml": 'id = "smooth-gorse-1"\nreplaces = false'}, "replaces", "Not true; write `replaces = tr"),
        ({"shoes/cob.toml": SHOE[: SHOE.index("[[panels]]")]}, "panels", "Missing; add it"),
        ({"shoes/cob.toml": SHOE[: SHOE.index("[[panels]]")] + "panels = [3]"}, "panels[0]", "Not a table; write"),
        ({"uppers/own.toml": 'id = "own"\nname = "Own"\nlayers = 3'}, "layers", "Not a list; write it in brackets"),
    ],
)  # fmt: skip
def test_what_is_wrong_by_class_is_named(
    shop: Shop, faults: Faults, files: dict[str, str], key: str, advice: str
) -> None:
    """Unknown kinds, layers and fields are told with those that would do."""
    found = {fault.key: fault.advice for fault in faults(shop(files))}
    assert key in found
    assert found[key].startswith(advice)


@pytest.mark.parametrize(
    ("file", "text", "key", "advice"),
    [
        ("films/gull.toml", FILM.replace('"flock"', '"flok"'), "family", "'flok' is not known; give one of "),
        ("films/gull.toml", FILM.replace('family = "flock"', ""), "family", "Missing; give one of smooth, stretch"),
        ("shoes/cob.toml", SHOE.replace('"deck"', '"dek"'), "kind", "There is no kind of shoe dek; name one of deck, "),
        (
            "shoes/cob.toml", SHOE.replace('kind = "deck"', "protective = false"), "kind",
            "Missing; give one of deck, trainer, boot, clog, sandal, child, or all of wearer, heel_collapses, sizes, ",
        ),
        ("presses/own.toml", 'id = "own"\nname = "Own"\nopening = "clamp"', "opening", "'clamp' is not known; "),
    ],
)  # fmt: skip
def test_a_wrong_class_is_one_fault(  # noqa: PLR0917 - a record and its fault
    shop: Shop, faults: Faults, file: str, text: str, key: str, advice: str
) -> None:
    """What a record lacks as its class is not known is not told field by field."""
    (fault,) = faults(shop({file: text}))
    assert (key, advice) == (fault.key, fault.advice[: len(advice)])
