from collections.abc import Callable
from pathlib import Path

from featherline.wire.records import Citation
from featherline_service.book.faults import BookFault
from featherline_service.book.loader import load

Shop = Callable[..., Path]
Faults = Callable[..., list[BookFault]]


def test_a_citation_is_not_of_a_value_that_an_overlay_changes(shop: Shop, faults: Faults) -> None:
    """The demo book's source does not tell of the shop's value: without a source of its own it is uncited."""
    text = 'id = "upper-leather"\nheat_capacity_j_kgk = 1700.0'
    (fault,) = faults(shop({"materials/own.toml": text}))
    assert ("heat_capacity_j_kgk", 2) == (fault.key, fault.line)

    folder = shop({"materials/own.toml": f'{text}\nsource = "measured"\nat = "calorimeter"'}, name="second")
    cites = load([folder]).materials["upper-leather"].cites
    assert Citation(values=("heat_capacity_j_kgk",), source="measured", at="calorimeter") in cites
    assert "lamb-sen-ward" not in {cite.source for cite in cites}
    before = load().materials["upper-leather"].cites
    assert [cite for cite in before if cite.source != "lamb-sen-ward"] == list(cites[:-1])


def test_a_citation_of_a_table_is_left_for_the_rest_of_it(shop: Shop) -> None:
    """Where one value of a cited table is changed, its source is still that of the others."""
    text = 'id = "smooth"\nroll = { width_mm = 510.0 }\ncites = [{ values = ["roll.width_mm"], source = "measured" }]'
    cites = load([shop({"films/own.toml": text})]).films["smooth"].cites
    assert {("roll.width_mm",): "measured", ("roll.length_m",): "common-practice"}.items() <= {
        cite.values: cite.source for cite in cites
    }.items()


def test_a_source_is_of_what_no_citation_covers(shop: Shop) -> None:
    """A record may cite one value and give a source for the others."""
    text = (
        'id = "own"\nname = "Own"\nmaterial = "wool-felt"\nthickness_mm = 6.0\nsource = "guess"\n'
        "compression = [{ pressure_kpa = 0.0, strain = 0.0 }, { pressure_kpa = 400.0, strain = 0.4 }]\n"
        'cites = [{ values = ["compression"], source = "measured" }]'
    )
    cites = load([shop({"pads/own.toml": text})]).pads["own"].cites
    assert [("measured", ("compression",)), ("guess", ("thickness_mm",))] == [
        (cite.source, cite.values) for cite in cites
    ]


def test_money_needs_no_citation(shop: Shop) -> None:
    """A cover whose price changes keeps the source of its layers."""
    cover = load([shop({"covers/own.toml": 'id = "paper"\nprice = "0.20"'})]).covers["paper"]
    assert "0.20" == cover.price.amount


def test_a_citation_that_cannot_be_read_is_named(shop: Shop, faults: Faults) -> None:
    """Citations that are none, or name nothing, are faults of the record."""
    for number, cites in enumerate(("3", "[3]", '[{ values = [], source = "guess" }]')):
        text = f'id = "paper"\nprice = "0.20"\ncites = {cites}'
        found = faults(shop({"covers/own.toml": text}, name=f"shop-{number}"))
        assert all(fault.key.startswith(("cites", "layers", "lasts")) for fault in found)
