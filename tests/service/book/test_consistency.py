import math
from datetime import date

import msgspec
import pytest
from msgspec import structs

from featherline.wire.money import Charge
from featherline.wire.records import (
    Citation,
    Compression,
    Ending,
    Join,
    LocalName,
    OrderCosts,
    Overpressing,
    PanelColour,
    QuantityBreak,
    RecordedPressing,
    ShopMessage,
    Tax,
    ViewPart,
    Workplace,
)
from featherline_service.book.consistency import UNCITED, inconsistencies
from featherline_service.book.shop_book import Book
from featherline_service.book.toml_records import TYPES


@pytest.mark.parametrize("kind", TYPES)
def test_the_demo_book_is_consistent(demo: Book, kind: str) -> None:
    """No record of the demo book contradicts itself, and every number in it is cited."""
    shelf = [demo.bench] if kind == "benches" else getattr(demo, kind).values()
    assert [found for record in shelf for found in inconsistencies(kind, record)] == []  # type: ignore[arg-type]


def test_a_number_is_finite(demo: Book) -> None:
    """TOML's `nan` is refused."""
    shoe = demo.shoes["regatta-deck"]
    panel = structs.replace(shoe.panels[0], centre_mm=(math.nan, 1.0))
    faulty = structs.replace(shoe, panels=(panel,), joins=(), colours=(), views=())
    assert list(inconsistencies("shoes", faulty)) == [
        ("panels[0].centre_mm[0]", "Not a finite number; give a finite one")
    ]


@pytest.mark.parametrize(
    ("part", "changes", "expected"),
    [
        ("setting", {"coolest_c": 170.0, "hottest_c": 160.0}, ("setting.hottest_c", "setting.coolest_c")),
        ("setting", {"shortest_s": 20.5, "longest_s": 20.0}, ("setting.longest_s", "setting.shortest_s")),
        ("peel", {"coolest_c": 90.0, "hottest_c": 70.0}, ("peel.hottest_c", "peel.coolest_c")),
        (
            "adhesive", {"activation_low_kj_mol": 120.0},
            ("adhesive.activation_kj_mol", "adhesive.activation_low_kj_mol"),
        ),
        (
            "adhesive", {"activation_high_kj_mol": 90.0},
            ("adhesive.activation_high_kj_mol", "adhesive.activation_kj_mol"),
        ),
    ],
)  # fmt: skip
def test_a_film_has_its_bands_in_order(
    demo: Book, part: str, changes: dict[str, float], expected: tuple[str, str]
) -> None:
    """Coolest and hottest, shortest and longest, low and high activation energy must be in order."""
    film = demo.films["stretch"]
    faulty = structs.replace(film, **{part: structs.replace(getattr(film, part), **changes)})
    high, low = expected
    assert [(high, f"Less than {low}; swap the two, or correct one")] == list(inconsistencies("films", faulty))


def test_a_peel_without_a_temperature_is_hot(demo: Book) -> None:
    """A warm or cold peel says how cool the bond line must be; a peel as soon as the press is open says nothing."""
    film = demo.films["smooth"]
    faulty = structs.replace(film, peel=structs.replace(film.peel, when="cold"))
    assert None is film.peel.hottest_c
    assert ["peel.hottest_c"] == [key for key, _ in inconsistencies("films", faulty)]


def test_harm_begins_beyond_the_published_dwell(demo: Book) -> None:
    """A film is not harmed by the dwell that its own maker gives."""
    film = demo.films["smooth"]
    cite = Citation(values=("overpressing",), source="common-practice")
    found = [
        [
            key
            for key, _ in inconsistencies(
                "films",
                structs.replace(
                    film,
                    overpressing=Overpressing(harm="it yellows", longest_s=longest_s, evidence="guess"),
                    cites=(*film.cites, cite),
                ),
            )
        ]
        for longest_s in (19.0, 20.0)
    ]
    assert [["overpressing.longest_s"], []] == found


def test_a_press_has_its_bands_in_order(demo: Book) -> None:
    """A press's temperatures and pressures must not fall; equal ones are allowed."""
    press = demo.presses["swing"]
    pressures = structs.replace(press.pressures, medium_kpa=press.pressures.light_kpa, firm_kpa=1.0)
    faulty = structs.replace(press, coolest_c=press.hottest_c + 1, pressures=pressures)
    assert [key for key, _ in inconsistencies("presses", faulty)] == ["hottest_c", "pressures.firm_kpa"]


def test_a_bench_has_its_pressures_in_order(demo: Book) -> None:
    """The bench's reference pressures must not fall."""
    pressures = structs.replace(demo.bench.reference_pressures, light_kpa=1000.0)
    faulty = structs.replace(demo.bench, reference_pressures=pressures)
    assert [key for key, _ in inconsistencies("benches", faulty)] == ["reference_pressures.medium_kpa"]


def test_a_wait_is_overlapped_on_cooling_places_alone(demo: Book) -> None:
    """Without one the overlapped wait is a fault of the book; a wait that needs none is not."""
    assert demo.bench.workplace is not None
    faulty = structs.replace(demo.bench, workplace=structs.replace(demo.bench.workplace, cooling_places=0))
    assert list(inconsistencies("benches", faulty)) == [
        ("workplace.cooling_places", "None; an overlapped wait needs a place to lay the shoes on")
    ]
    for wait in ("elsewhere", "standing"):
        place = msgspec.convert({"cooling_places": 0, "wait": wait}, Workplace)
        assert [] == list(inconsistencies("benches", structs.replace(demo.bench, workplace=place)))


def test_a_record_has_one_name_in_a_language(demo: Book) -> None:
    """Nor have its parts two: of a film's colours, the second name is told with its place."""
    film = demo.films["smooth"]
    names = (LocalName(language="de", name="Ginster"), LocalName(language="de", name="Gelb"))
    colour = structs.replace(film.colours[0], names=names)
    advice = "It has a name in de already; keep one of the two"
    assert [("colours[0].names[1].language", advice)] == list(
        inconsistencies("films", structs.replace(film, colours=(colour, *film.colours[1:])))
    )
    assert [("names[1].language", advice)] == list(inconsistencies("films", structs.replace(film, names=names)))


def test_a_shops_messages_are_patterns_each_once_in_a_language(demo: Book) -> None:
    """A pattern that cannot be used says why, at its place; so does the second of one message in a language."""
    good = ShopMessage(language="de", message="customer.fit.heel", pattern="Nicht an der Ferse.")
    bad = structs.replace(good, language="fr", pattern="Pas au talon {x}")
    assert [
        ("messages[1].pattern", "The message has no parameter x; its parameters are: none"),
        ("messages[2].message", "customer.fit.heel is there in de already; keep one of the two"),
    ] == list(inconsistencies("benches", structs.replace(demo.bench, messages=(good, bad, good))))


def test_a_shop_speaks_a_language_that_has_messages(demo: Book) -> None:
    """One of the service's, or one of which the book gives messages; any other is told with those that there are."""
    dutch = ShopMessage(language="nl", message="customer.fit.heel", pattern="Niet op de hiel.")
    for language, messages, fault in (("de", (), False), ("nl", (dutch,), False), ("nl", (), True)):
        told = list(inconsistencies("benches", structs.replace(demo.bench, language=language, messages=messages)))
        assert ["language"] * fault == [key for key, _ in told]
        assert all(advice.startswith("There are no messages in 'nl'; name one of en, de, ") for _, advice in told)


def test_a_shoe_has_its_sizes_in_order(demo: Book) -> None:
    """The largest size is not smaller than the smallest."""
    shoe = demo.shoes["regatta-deck"]
    faulty = structs.replace(shoe, sizes=structs.replace(shoe.sizes, smallest=50.0))
    assert [key for key, _ in inconsistencies("shoes", faulty)] == ["sizes.largest"]


def test_a_shoe_names_each_panel_once(demo: Book) -> None:
    """Two panels of one shoe must have different ids."""
    shoe = demo.shoes["regatta-deck"]
    faulty = structs.replace(shoe, panels=shoe.panels[:1] * 2, joins=(), colours=(), views=())
    expected = [("panels[1].id", "An earlier row is named outer-quarter; give this one another id")]
    assert expected == list(inconsistencies("shoes", faulty))


def test_a_film_names_each_colour_once(demo: Book) -> None:
    """Two colours of one film must have different ids."""
    film = demo.films["smooth"]
    faulty = structs.replace(film, colours=(*film.colours, film.colours[0]))
    place = len(film.colours)
    expected = [(f"colours[{place}].id", f"An earlier row is named {film.colours[0].id}; give this one another id")]
    assert expected == list(inconsistencies("films", faulty))


def test_a_film_is_cut_unless_it_is_printed(demo: Book) -> None:
    """A film without cutting must be printed, and a printed one has none."""
    advice = "Every film but a printed transfer is cut; add the table, or take it out of a printed transfer"
    uncut = structs.replace(demo.films["smooth"], cutting=None)
    cut = structs.replace(demo.films["printed"], cutting=demo.films["smooth"].cutting)
    assert ("cutting", advice) in list(inconsistencies("films", uncut))
    assert ("cutting", advice) in list(inconsistencies("films", cut))


def test_a_pads_compression_increases(demo: Book) -> None:
    """Pressure and strain of a compression curve rise from row to row."""
    curve = (
        Compression(pressure_kpa=0.0, strain=0.0),
        Compression(pressure_kpa=50.0, strain=0.3),
        Compression(pressure_kpa=50.0, strain=0.2),
    )
    faulty = structs.replace(demo.pads["felt"], compression=curve)
    expected = [
        ("compression[2].pressure_kpa", "50 is not above the 50 of the row before; order the rows"),
        ("compression[2].strain", "0.2 is not above the 0.3 of the row before; order the rows"),
    ]
    assert expected == list(inconsistencies("pads", faulty))


def test_a_margin_leaves_room_for_the_cost(demo: Book) -> None:
    """A margin of 1 is refused; a markup of 1 is allowed."""
    policy = demo.policies["counter"]
    whole = structs.replace(policy, method="margin", share="1.00")
    expected = [("share", "A margin is a share of the price; give a share below 1")]
    assert expected == list(inconsistencies("policies", whole))
    assert list(inconsistencies("policies", structs.replace(whole, method="markup"))) == []


def test_a_tax_is_a_share_of_the_price(demo: Book) -> None:
    """A tax of 20, meant as percent, is refused; 0.20 is not."""
    policy = demo.policies["counter"]
    found = [
        list(inconsistencies("policies", structs.replace(policy, tax=Tax(rate=rate, shown="gross"))))
        for rate in ("20", "0.20")
    ]
    advice = "A tax is a share of the net price; give a share below 1, such as '0.20' for 20 %"
    assert [[("tax.rate", advice)], []] == found


def test_a_remnant_is_worth_no_more_than_film_from_the_roll(demo: Book) -> None:
    """A share above 1 is refused."""
    rates = demo.rates["bench"]
    found = [
        [key for key, _ in inconsistencies("rates", structs.replace(rates, remnant_share=share))]
        for share in ("1.01", "1", None)
    ]
    assert [["remnant_share"], [], []] == found


def test_film_is_sold_by_no_more_than_a_roll(demo: Book) -> None:
    """A supplier cuts no more from a roll than it has."""
    film = demo.films["smooth"]
    cite = Citation(values=("roll.sold_by_m",), source="invented")
    found = [
        [
            key
            for key, _ in inconsistencies(
                "films",
                structs.replace(film, roll=structs.replace(film.roll, sold_by_m=length_m), cites=(*film.cites, cite)),
            )
        ]
        for length_m in (26.0, 25.0)
    ]
    assert [["roll.sold_by_m"], []] == found


def test_a_card_fee_leaves_something(demo: Book) -> None:
    """A card that takes the whole price is refused, and costs of an order need a citation."""
    rates = demo.rates["bench"]
    cited = structs.replace(rates, cites=(*rates.cites, Citation(values=("orders",), source="invented")))

    for share, faults in (("1", ["orders.card_share"]), ("0.99", [])):
        orders = OrderCosts(failed_cuts=0.02, card_share=share)
        assert faults == [key for key, _ in inconsistencies("rates", structs.replace(cited, orders=orders))]
    uncited = structs.replace(rates, orders=OrderCosts(failed_cuts=0.02))
    assert ["orders.failed_cuts", "orders.test_cuts"] == [key for key, _ in inconsistencies("rates", uncited)]


def test_a_price_list_has_charges_and_no_share(demo: Book) -> None:
    """A price list with a share, or without any charge, is refused."""
    nothing = Charge(amount="0.00", currency="EUR")
    policy = demo.policies["letters"]
    free = structs.replace(
        policy, share="0.10", per_placement=None, per_character=nothing, setup=nothing, floor_per_pair=nothing
    )
    assert list(inconsistencies("policies", policy)) == []
    assert ["share", "method"] == [key for key, _ in inconsistencies("policies", free)]


def test_quantity_breaks_rise_and_leave_a_price(demo: Book) -> None:
    """Quantity breaks must rise, and none may take off more than the price."""
    breaks = (QuantityBreak(pairs=10, off="0.05"), QuantityBreak(pairs=10, off="1.01"))
    faulty = structs.replace(demo.policies["club"], breaks=breaks)
    expected = [
        ("breaks[1].pairs", "10 is not above the 10 of the row before; order the rows"),
        ("breaks[1].off", "More than the whole price; give a share of it, such as '0.10'"),
    ]
    assert expected == list(inconsistencies("policies", faulty))


def test_an_ending_is_less_than_its_step(demo: Book) -> None:
    """A price ending takes less off than the step that it rounds up to."""
    euro = Charge(amount="1.00", currency="EUR")
    faulty = structs.replace(demo.policies["counter"], ending=Ending(step=euro, less=euro))
    assert list(inconsistencies("policies", faulty)) == [("ending.less", "Not less than the step; give a smaller sum")]


def test_every_number_is_cited(demo: Book) -> None:
    """Without citations every number is reported, but no sum of money, spread, text or truth value."""
    faulty = structs.replace(demo.covers["silicone-thin"], cites=())
    expected = [(field, UNCITED) for field in ("lasts_presses", "layers.thickness_mm")]
    assert expected == list(inconsistencies("covers", faulty))


def test_a_citation_covers_what_it_names_and_all_in_it(demo: Book) -> None:
    """A field may be cited whole, or value by value."""
    cover = demo.covers["silicone-thin"]
    whole = Citation(values=("lasts_presses", "layers", "price"), source="invented")
    parts = Citation(values=("lasts_presses", "layers.thickness_mm", "price"), source="invented")
    assert list(inconsistencies("covers", structs.replace(cover, cites=(whole,)))) == []
    assert list(inconsistencies("covers", structs.replace(cover, cites=(parts,)))) == []


def test_a_citation_names_fields_that_are_there(demo: Book) -> None:
    """A citation of a misspelt field is reported."""
    cover = demo.covers["silicone-thin"]
    faulty = structs.replace(cover, cites=(*cover.cites, Citation(values=("price", "colour"), source="invented")))
    expected = [(f"cites[{len(cover.cites)}].values[1]", "The record has no field colour; name one of its fields")]
    assert expected == list(inconsistencies("covers", faulty))


def test_a_join_is_of_two_panels_of_the_shoe(demo: Book) -> None:
    """Panels that the shoe has not, one panel twice, and an edge that is a point are told, each at its key."""
    deck = demo.shoes["regatta-deck"]
    edge = ((0.0, 0.0), (0.0, 9.0))
    joins = (
        Join(panel="heal", ends_mm=edge, other="outer-quarter", other_ends_mm=edge),
        Join(panel="heel", ends_mm=edge, other="heel", other_ends_mm=(edge[0], edge[0])),
    )
    found = dict(inconsistencies("shoes", structs.replace(deck, joins=joins)))
    assert ["joins[0].panel", "joins[1].other", "joins[1].other_ends_mm"] == list(found)
    assert "outer-quarter" in found["joins[0].panel"]


def test_views_and_colours_are_of_panels_of_the_shoe(demo: Book) -> None:
    """Panels that the shoe has not, one in two places, and one that is laid on a line are told, each at its key."""
    deck = demo.shoes["regatta-deck"]
    view, colour = deck.views[0], deck.colours[0]
    place = view.places[0]
    flat = structs.replace(place, panel="heal", matrix=(1.0, 2.0, 2.0, 4.0, 0.0, 0.0))
    views = (
        structs.replace(
            view,
            parts=(structs.replace(view.parts[1], panel="tong"),),
            over=(ViewPart(d="M0 0H9", panel="lace", line_mm=1.0),),
            places=(place, place, flat),
        ),
    )
    colours = (colour, structs.replace(colour, panels=(PanelColour(panel="tong", hex="#000000"),)))
    found = dict(inconsistencies("shoes", structs.replace(deck, views=views, colours=colours)))
    assert [
        "colours[1].id",
        "colours[1].panels[0].panel",
        "views[0].parts[0].panel",
        "views[0].over[0].panel",
        "views[0].places[2].panel",
        "views[0].places[1].panel",
        "views[0].places[2].matrix",
    ] == list(found)


def test_a_part_has_one_colour() -> None:
    """That of a panel, or its own."""
    with pytest.raises(ValueError, match="colour of a `panel`"):
        ViewPart(d="M0 0H9")


STRIP = {"at_s": 12.0, "value_c": 143.0, "below_c": 149.0, "kind": "strip", "gauge": "strips"}
PRESSED: dict[str, object] = {
    "id": "scrap", "name": "A scrap", "date": date(2026, 11, 3), "press": "swing", "cover": "silicone-thin",
    "film": "smooth", "upper": "leather-lined", "temperature_c": 160.0, "dwell_s": 30.0, "bond": "holds",
    "upper_looks": "unchanged", "beside_looks": "shiny", "readings": [STRIP],
}  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"upper": None}, "upper"),
        ({"layers": [{"name": "leather", "material": "upper-leather", "thickness_mm": 1.2}]}, "upper"),
        ({"film": None}, "bond"),
        ({"cover": None}, "beside_looks"),
        ({"readings": [], "bond": None, "upper_looks": None, "beside_looks": None}, "readings"),
        ({"readings": [STRIP, {**STRIP, "at_s": 31.0}]}, "readings[1].at_s"),
        ({"readings": [{**STRIP, "below_c": None}]}, "readings[0].below_c"),
        ({"readings": [{**STRIP, "kind": "thermocouple-class-1"}]}, "readings[0].below_c"),
        ({"readings": [{**STRIP, "below_c": 143.0}]}, "readings[0].below_c"),
    ],
)
def test_an_observed_pressing_can_have_been(changes: dict[str, object], key: str) -> None:
    """It has one stack, something was observed, nothing bonds without a film, and gauges read while it was closed."""
    assert [] == list(inconsistencies("observations", msgspec.convert(PRESSED, RecordedPressing)))
    changed = msgspec.convert({**PRESSED, **changes}, RecordedPressing)
    assert [key] == [at for at, _ in inconsistencies("observations", changed)]
