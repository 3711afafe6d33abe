import math

import pytest
from msgspec import structs

from featherline.wire.money import Charge
from featherline.wire.records import Citation, Compression, Ending, QuantityBreak
from featherline_service.book.consistency import inconsistencies
from featherline_service.book.shop_book import Book
from featherline_service.book.toml_records import TYPES


@pytest.mark.parametrize("kind", TYPES)
def test_the_demo_book_is_consistent(demo: Book, kind: str) -> None:
    """No record of the demo book contradicts itself, and every number in it is cited."""
    shelf = [demo.bench] if kind == "benches" else getattr(demo, kind).values()
    assert [found for record in shelf for found in inconsistencies(kind, record)] == []  # type: ignore[arg-type]


def test_a_number_is_finite(demo: Book) -> None:
    """What TOML writes as `nan` is refused."""
    shoe = demo.shoes["regatta-deck"]
    panel = structs.replace(shoe.panels[0], centre_mm=(math.nan, 1.0))
    faulty = structs.replace(shoe, panels=(panel,))
    assert list(inconsistencies("shoes", faulty)) == [("panels[0].centre_mm[0]", "Not a finite number; give one")]


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
    """Coolest and hottest, shortest and longest, low and high activation energy do not change places."""
    film = demo.films["smooth"]
    faulty = structs.replace(film, **{part: structs.replace(getattr(film, part), **changes)})
    high, low = expected
    assert [(high, f"Less than {low}; exchange them, or correct one")] == list(inconsistencies("films", faulty))


def test_a_press_has_its_bands_in_order(demo: Book) -> None:
    """A press's temperatures and pressures rise; equal ones do."""
    press = demo.presses["swing"]
    pressures = structs.replace(press.pressures, medium_kpa=press.pressures.light_kpa, firm_kpa=1.0)
    faulty = structs.replace(press, coolest_c=press.hottest_c + 1, pressures=pressures)
    assert [key for key, _ in inconsistencies("presses", faulty)] == ["hottest_c", "pressures.firm_kpa"]


def test_a_bench_has_its_pressures_in_order(demo: Book) -> None:
    """The pressures that films' settings refer to rise."""
    pressures = structs.replace(demo.bench.reference_pressures, light_kpa=1000.0)
    faulty = structs.replace(demo.bench, reference_pressures=pressures)
    assert [key for key, _ in inconsistencies("benches", faulty)] == ["reference_pressures.medium_kpa"]


def test_a_shoe_has_its_sizes_in_order(demo: Book) -> None:
    """The largest size is not smaller than the smallest."""
    shoe = demo.shoes["regatta-deck"]
    faulty = structs.replace(shoe, sizes=structs.replace(shoe.sizes, smallest=50.0))
    assert [key for key, _ in inconsistencies("shoes", faulty)] == ["sizes.largest"]


def test_a_shoe_names_each_panel_once(demo: Book) -> None:
    """Two panels of one shoe have two ids."""
    shoe = demo.shoes["regatta-deck"]
    faulty = structs.replace(shoe, panels=shoe.panels[:1] * 2)
    expected = [("panels[1].id", "outer-quarter is there already; give it another id")]
    assert expected == list(inconsistencies("shoes", faulty))


def test_a_film_names_each_colour_once(demo: Book) -> None:
    """Two colours of one film have two ids."""
    film = demo.films["smooth"]
    faulty = structs.replace(film, colours=(*film.colours, film.colours[0]))
    place = len(film.colours)
    expected = [(f"colours[{place}].id", f"{film.colours[0].id} is there already; give it another id")]
    assert expected == list(inconsistencies("films", faulty))


def test_a_film_is_cut_unless_it_is_printed(demo: Book) -> None:
    """A film without cutting must be printed, and a printed one has none."""
    advice = "A printed transfer is not cut, every other film is; add it or take it out"
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
        ("compression[2].pressure_kpa", "50 does not exceed 50 before it; order the rows"),
        ("compression[2].strain", "0.2 does not exceed 0.3 before it; order the rows"),
    ]
    assert expected == list(inconsistencies("pads", faulty))


def test_a_margin_leaves_room_for_the_cost(demo: Book) -> None:
    """A margin of the whole price has no price; a markup of the whole cost has."""
    policy = demo.policies["counter"]
    whole = structs.replace(policy, method="margin", share="1.00")
    expected = [("share", "A margin is a share of the price; give less than 1")]
    assert expected == list(inconsistencies("policies", whole))
    assert list(inconsistencies("policies", structs.replace(whole, method="markup"))) == []


def test_a_price_list_has_charges_and_no_share(demo: Book) -> None:
    """A list does not ask what the work costs, and one without charges would give everything away."""
    nothing = Charge(amount="0.00", currency="EUR")
    policy = demo.policies["letters"]
    free = structs.replace(
        policy, share="0.10", per_placement=None, per_character=nothing, setup=nothing, floor_per_pair=nothing
    )
    assert list(inconsistencies("policies", policy)) == []
    assert ["share", "method"] == [key for key, _ in inconsistencies("policies", free)]


def test_quantity_breaks_rise_and_leave_a_price(demo: Book) -> None:
    """Breaks are for more and more pairs, and none takes off more than the price."""
    breaks = (QuantityBreak(pairs=10, off="0.05"), QuantityBreak(pairs=10, off="1.01"))
    faulty = structs.replace(demo.policies["club"], breaks=breaks)
    expected = [
        ("breaks[1].pairs", "10 does not exceed 10 before it; order the rows"),
        ("breaks[1].off", "More than the whole price; give a share, such as '0.10'"),
    ]
    assert expected == list(inconsistencies("policies", faulty))


def test_an_ending_is_less_than_its_step(demo: Book) -> None:
    """A price ending takes less off than the step that it rounds up to."""
    euro = Charge(amount="1.00", currency="EUR")
    faulty = structs.replace(demo.policies["counter"], ending=Ending(step=euro, less=euro))
    assert list(inconsistencies("policies", faulty)) == [("ending.less", "Not less than the step; give less")]


def test_every_number_and_sum_is_cited(demo: Book) -> None:
    """Without citations, each number and each sum of money is told, but no spread, text or truth value."""
    faulty = structs.replace(demo.covers["silicone-thin"], cites=())
    advice = "No citation covers it; name it in the `values` of one"
    expected = [(field, advice) for field in ("lasts_presses", "layers.thickness_mm", "price")]
    assert expected == list(inconsistencies("covers", faulty))


def test_a_citation_covers_what_it_names_and_all_in_it(demo: Book) -> None:
    """A field may be cited whole, or value by value."""
    cover = demo.covers["silicone-thin"]
    whole = Citation(values=("lasts_presses", "layers", "price"), source="invented")
    parts = Citation(values=("lasts_presses", "layers.thickness_mm", "price"), source="invented")
    assert list(inconsistencies("covers", structs.replace(cover, cites=(whole,)))) == []
    assert list(inconsistencies("covers", structs.replace(cover, cites=(parts,)))) == []


def test_a_citation_names_fields_that_are_there(demo: Book) -> None:
    """A citation of a misspelt field is told."""
    cover = demo.covers["silicone-thin"]
    faulty = structs.replace(cover, cites=(*cover.cites, Citation(values=("price", "colour"), source="invented")))
    expected = [(f"cites[{len(cover.cites)}].values[1]", "The record has no colour; name one of its fields")]
    assert expected == list(inconsistencies("covers", faulty))
