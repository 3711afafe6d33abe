"""The physical half of the demo book against the sources that it cites."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping

import pytest
from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.money import Charge
from featherline.wire.recipes import BareLayer, BareStack, Recipe, RecipeRequest, ShoePanel
from featherline.wire.records import Citation, Layer, Material, NeededShare, Record
from featherline.wire.shoes import Label, MeasuredPanel, MeasuredShoe, Rectangle
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.recipes import resolve

PHYSICAL = ("materials", "contacts", "uppers", "films", "covers", "pads", "platens", "presses")
WORDS = ("carrier.sticky", "bonds_to", "takes_film", "setting.pressure", "peel.when")  # cited, and no numbers
IN2_MM2 = 25.4**2
PSI_KPA = 6.894757  # National Institute of Standards and Technology, Special Publication 811, appendix B.


@pytest.fixture(scope="module")
def book() -> Book:
    """Return the demo book."""
    return load()


def physical(book: Book) -> Iterator[tuple[str, Record]]:
    """Yield name and record of everything that carries physical values."""
    for kind in PHYSICAL:
        shelf: Mapping[str, Record] = getattr(book, kind)
        for name, record in shelf.items():
            yield f"{kind}/{name}", record
    yield "benches/bench", book.bench


def values(value: object, path: str = "") -> Iterator[str]:
    """Yield the field path of every number and sum of money in a record, without indices."""
    if isinstance(value, Struct) and not isinstance(value, Citation | Charge):
        for field in value.__struct_fields__:
            yield from values(getattr(value, field), f"{path}.{field}".lstrip("."))
    elif isinstance(value, tuple):
        for one in value:
            yield from values(one, path)
    elif isinstance(value, int | float | Charge) and not isinstance(value, bool):
        yield path


def uncovered(record: Record) -> set[str]:
    """Return the values of a record that no citation covers; one of a field covers all that is in it."""
    cited = {name for cite in record.cites for name in cite.values}  # type: ignore[union-attr]
    return {
        path
        for path in values(record)
        if cited.isdisjoint(itertools.accumulate(path.split("."), lambda above, name: f"{above}.{name}"))
    }


def kind_of_source(book: Book, material: Material, field: str) -> str:
    """Return the kind of source that a field of a material cites."""
    (cite,) = [cite for cite in material.cites if not {field, field.split(".", maxsplit=1)[0]}.isdisjoint(cite.values)]
    return book.sources[cite.source].kind


def test_every_value_is_cited_spreads_too(book: Book) -> None:
    """No number and no price of the physical records stands without a citation."""
    assert {} == {name: paths for name, record in physical(book) if (paths := uncovered(record))}


def test_a_missing_citation_is_noticed(book: Book) -> None:
    """Taking any one cited field out of any record leaves values uncovered, so that the check above can fail."""
    taken = 0
    for name, record in physical(book):
        for cite in record.cites:  # type: ignore[union-attr]
            for field in cite.values:
                rest = tuple(
                    replace(other, values=tuple(one for one in other.values if other is not cite or one != field))
                    for other in record.cites  # type: ignore[union-attr]
                )
                if field not in WORDS and cite.source != "class-default":  # which covers words as well
                    assert uncovered(replace(record, cites=rest)), f"{name}: {field}"
                    taken += 1
    assert taken > 200


def test_every_source_is_cited(book: Book) -> None:
    """The list of sources holds nothing that no record rests on, but what a shop's own records may."""
    cited = {
        cite.source
        for kind in (*PHYSICAL, "cutters", "shoes", "rates", "policies")
        for record in getattr(book, kind).values()
        for cite in record.cites
    }  # fmt: skip

    cited |= {cite.source for cite in book.bench.cites}
    assert {"maker-sheet", "measured", "guess"} == set(book.sources) - cited
    assert set() == cited - set(book.sources)


def test_the_evidence_for_a_limit_is_that_of_its_source(book: Book) -> None:
    """A limit is published, practice or a guess as the source that its peak cites is."""
    evidence = {"published": "published", "practice": "practice", "memory": "guess"}

    for material in book.materials.values():
        expected = evidence[kind_of_source(book, material, "limit.peak_c")]
        assert expected == material.limit.evidence, material.id


# EN 12524:2000, table 1: conductivity W/(m K), density kg/m3, heat capacity J/(kg K); None: the book has another value.
EN_12524 = {
    "polyurethane-film": (0.25, 1200.0, 1800.0),
    "polyurethane-coating": (0.25, 1200.0, 1800.0),
    "pvc-flexible": (0.14, 1200.0, 1000.0),
    "natural-rubber": (0.13, 910.0, 1100.0),
    "silicone-rubber": (0.5, 1450.0, 1000.0),
    "silicone-sheet": (None, None, 1000.0),
    "silicone-sponge": (0.12, 750.0, 1000.0),
    "ptfe-glass-cloth": (0.25, 2200.0, 1000.0),
    "wool-felt": (0.06, 200.0, 1300.0),
    "nylon-fabric": (None, None, 1600.0),
    "polypropylene-fabric": (None, None, 1800.0),
}


@pytest.mark.parametrize("name", EN_12524)
def test_values_of_the_standard(book: Book, name: str) -> None:
    """Values that cite EN 12524:2000 are those of its table, and the others cite something else."""
    material = book.materials[name]
    fields = ("conductivity_w_mk", "density_kg_m3", "heat_capacity_j_kgk")

    for field, expected in zip(fields, EN_12524[name], strict=True):
        (source,) = {cite.source for cite in material.cites if field in cite.values}
        assert (source == "en-12524") == (expected is not None), field
        if expected is not None:
            assert expected == getattr(material, field), field


def test_the_standard_is_cited_for_these_materials_alone(book: Book) -> None:
    """The table above holds every material that cites EN 12524:2000."""
    citing = {m.id for m in book.materials.values() if any(cite.source == "en-12524" for cite in m.cites)}

    assert set(EN_12524) == citing


def test_other_published_values(book: Book) -> None:
    """PET (Crawford, table 1.8), leather (Incropera, table A.3), polyurethane, fabrics and EVA are as printed."""
    pet, sole, melt = (book.materials[name] for name in ("polyester-sheet", "sole-leather", "hot-melt"))

    assert (0.2, 1360.0, 1000.0) == (pet.conductivity_w_mk, pet.density_kg_m3, pet.heat_capacity_j_kgk)
    assert (0.19, 1850.0) == (melt.conductivity_w_mk, melt.heat_capacity_j_kgk)
    assert 1100.0 <= melt.density_kg_m3 <= 1250.0
    assert (0.159, 998.0) == (sole.conductivity_w_mk, sole.density_kg_m3)
    assert 0.071 <= book.materials["cotton-fabric"].conductivity_w_mk <= 0.073
    assert book.materials["polyester-fabric"].conductivity_w_mk == 0.084
    assert 150.0 <= book.materials["eva-foam"].density_kg_m3 <= 300.0


def test_a_silicone_sheet_conducts_as_measured(book: Book) -> None:
    """The cover sheets lie within 0.224 to 0.249 W/mK, measured by ASTM E1530 at 0.8 and 1.51 mm (application note)."""
    sheets = [layer.material for cover in ("silicone-thin", "silicone-pad") for layer in book.covers[cover].layers]

    assert all(0.224 <= book.materials[sheet].conductivity_w_mk <= 0.249 for sheet in sheets)


# Percent of the dry mass that is water: in a room and when damp from memory, dried at the low end of the relation.
WATER = {"dry": 7.0, "room": 13.0, "damp": 25.0}
DRY_J_KGK = 1364.0
"""[J/(kg K)] Of dry leather: bound water's 5.32 kJ/kgK is 3.9 % of it for each percent (Lamb, Sen and Ward)."""
LATENT_J_KG = 2.257e6
"""[J/kg] Of water at 100 degC (steam tables, from memory)."""


@pytest.mark.parametrize("name", ["upper-leather", "sole-leather", "suede-leather"])
@pytest.mark.parametrize("state", WATER)
def test_leather_takes_heat_by_its_water(book: Book, name: str, state: str) -> None:
    """Capacity by c0 (1 + 0.039 m) (Lamb, Sen and Ward), conductivity by 1.5 % a percent of water (Baxter 1946).

    A damp leather has half of the latent heat of what it holds more than in a room, from 20 to 140 degC (a guess).
    """
    room, water = book.materials[name], WATER[state]
    leather = book.materials[getattr(room, state)] if state != "room" else room
    wet = (1.0 + water / 100.0) / (1.0 + WATER["room"] / 100.0)
    latent = 0.5 * max(0.0, water - WATER["room"]) / 100.0 * LATENT_J_KG / 120.0
    capacity = (DRY_J_KGK * (1.0 + 0.039 * water) + latent) / (1.0 + water / 100.0)
    by_percent = (0.223 / 0.193 - 1.0) / 10.0

    assert leather.density_kg_m3 == pytest.approx(room.density_kg_m3 * wet, rel=0.005)
    assert leather.heat_capacity_j_kgk == pytest.approx(capacity, rel=0.005)
    expected = room.conductivity_w_mk * (1.0 + by_percent * (water - WATER["room"]))
    assert leather.conductivity_w_mk == pytest.approx(expected, rel=0.01)


def test_upper_leather_conducts_as_published(book: Book) -> None:
    """Chrome leather has 0.063 to 0.090 W/mK (an abstract); upper leathers have 0.05 to 0.11 (a shoe textbook)."""
    leather = book.materials["upper-leather"]
    low, high = (leather.conductivity_w_mk * (1 + leather.conductivity_spread) ** sign for sign in (-1, 1))

    assert 0.063 <= leather.conductivity_w_mk <= 0.09
    assert low <= 0.06
    assert 0.11 <= high


@pytest.mark.parametrize(
    "upper",
    ["leather-lined", "soft-leather", "coated-leather", "patent-leather", "glossy", "canvas", "polyester-knit",
     "nylon-mesh"],
)  # fmt: skip
def test_common_uppers_stand_what_they_stand_in_practice(book: Book, upper: str) -> None:
    """Half a minute of a bond line at 150 degC passes the marked layer's limit at its low end, and is no guess.

    Common practice, no source: these uppers take 140 to 150 degC for about half a minute under a cover sheet.
    """
    limit = book.materials[book.uppers[upper].layers[0].material].limit

    assert limit.peak_c - limit.spread_k >= 150.0
    assert limit.evidence == "practice"
    if limit.exposure is not None:
        assert limit.exposure.temperature_c >= 150.0
        assert limit.exposure.longest_s >= 30.0


@pytest.mark.parametrize("upper", ["eva-foam", "pvc-coated", "polypropylene"])
def test_heat_shy_uppers_do_not_stand_the_coolest_film(book: Book, upper: str) -> None:
    """Foam, PVC and polypropylene suffer below the coolest platen that any film of the book asks for."""
    limit = book.materials[book.uppers[upper].layers[0].material].limit
    coolest = min(film.setting.coolest_c for film in book.films.values())

    assert limit.peak_c + limit.spread_k < coolest


def test_sole_glue_is_a_layer_and_softens_first(book: Book) -> None:
    """The upper over the lasting margin has the sole's glue in it, which softens at 50 to 70 degC (from memory)."""
    layers = {layer.material for layer in book.uppers["leather-lasted"].layers}

    assert "sole-glue" in layers
    assert 50.0 <= book.materials["sole-glue"].limit.peak_c <= 70.0


def test_foam_behind_thin_uppers_is_a_layer(book: Book) -> None:
    """The foam behind knit and mesh is in the stack, below the face."""
    for upper in ("polyester-knit", "nylon-mesh"):
        assert "polyurethane-foam" in {layer.material for layer in book.uppers[upper].layers[1:]}


def test_vinyl_alone_is_vinyl(book: Book) -> None:
    """PVC is the one material that gives off hydrogen chloride (J Occup Med 1977 19(3):188-191)."""
    assert {"pvc-flexible"} == {material.id for material in book.materials.values() if material.vinyl}


def test_films_stand_their_own_setting(book: Book) -> None:
    """No film, carrier or cover sheet is pressed hotter than it stands, however far the platen strays."""
    strays_k = max(press.platen_spread_k for press in book.presses.values())
    sheets = {layer.material for cover in book.covers.values() for layer in cover.layers}

    for film in book.films.values():
        hottest_c = film.setting.hottest_c + strays_k
        for name in {film.carrier.material, *(layer.material for layer in film.layers), *sheets}:
            limit = book.materials[name].limit
            assert hottest_c < limit.peak_c - limit.spread_k, (film.id, name)


def test_adhesives_soften_below_the_platen(book: Book) -> None:
    """Each adhesive softens well below the coolest platen that its film asks for, with E between 60 and 150 kJ/mol."""
    for film in book.films.values():
        assert film.adhesive.onset_c <= film.setting.coolest_c - 30.0, film.id
        assert film.adhesive.activation_low_kj_mol >= 60.0
        assert film.adhesive.activation_high_kj_mol <= 150.0


def test_every_press_reaches_every_film(book: Book) -> None:
    """The demo shop's presses go as hot as its films ask, in steps that meet at 160 degC and 320 degF."""
    for press, film in itertools.product(book.presses.values(), book.films.values()):
        assert press.coolest_c <= film.setting.coolest_c
        assert film.setting.hottest_c <= press.hottest_c
        assert 160.0 % press.step_c == 0.0
        assert 320.0 % press.step_f == 0.0


def test_the_smooth_film_has_the_usual_setting(book: Book) -> None:
    """Smooth film is pressed at 160 degC (320 degF), medium, for 15 to 20 s (common practice, no source)."""
    setting = book.films["smooth"].setting

    assert ((160.0, 160.0), (15.0, 20.0), "medium") == (
        (setting.coolest_c, setting.hottest_c),
        (setting.shortest_s, setting.longest_s),
        setting.pressure,
    )


def test_one_film_presses_cool(book: Book) -> None:
    """One film of the book is pressed at 130 to 140 degC, for uppers that shy at more."""
    assert {"stretch"} == {name for name, film in book.films.items() if film.setting.hottest_c <= 140.0}


def test_smooth_film_costs_a_cent_a_square_inch(book: Book) -> None:
    """Cut film costs about 0.01 a square inch (common practice, no source)."""
    roll = book.films["smooth"].roll
    per_in2 = float(roll.price.amount) / (roll.width_mm * roll.length_m * 1000.0) * IN2_MM2

    assert per_in2 == pytest.approx(0.01, rel=0.1)


def test_reflective_carriers_stick_less(book: Book) -> None:
    """Smooth film's carrier holds by itself, reflective film's does not (common practice, no source)."""
    assert book.films["smooth"].carrier.sticky
    assert not book.films["reflective"].carrier.sticky


def test_flake_cuts_coarsest(book: Book) -> None:
    """Flake film asks for the plainest shapes of all (common practice, no source)."""
    flake = book.films["flake"].finest
    others = [film.finest for name, film in book.films.items() if name != "flake"]

    assert flake.stroke_mm > max(finest.stroke_mm for finest in others)
    assert flake.gap_mm > max(finest.gap_mm for finest in others)
    assert flake.island_mm2 > max(finest.island_mm2 for finest in others)


def test_printed_alone_is_not_cut(book: Book) -> None:
    """A printed transfer needs no cutting, every other film does (common practice, no source)."""
    assert {"printed"} == {name for name, film in book.films.items() if film.cutting is None}


def test_platens_are_the_common_ones(book: Book) -> None:
    """The full flat platen is 16 x 20 in; a form takes a pair, children's shoes but not toddlers'.

    Common practice, no source. EU 25 is a foot of 153 mm (EU = 1.5 x foot in cm + 2); the shoe is about 12 mm
    longer inside.
    """
    flat, form, small = (book.platens[name] for name in ("full-flat", "shoe-form", "small-shoe-form"))

    assert (flat.width_mm, flat.length_mm) == pytest.approx((16 * 25.4, 20 * 25.4), abs=0.5)
    assert (2, 2, 1) == (form.shoes_at_once, small.shoes_at_once, flat.shoes_at_once)
    assert small.smallest_inside_length_mm < form.smallest_inside_length_mm
    assert min(small.smallest_inside_length_mm, flat.smallest_inside_length_mm) > 153.0 + 12.0


def test_presses_open_as_far_as_their_kind(book: Book) -> None:
    """An upper platen that swings away leaves all room; one on a hinge leaves the sine of its angle at its middle.

    A platen of 400 mm, opened by 50 and by 45 degrees (from memory), to the nearest centimetre.
    """
    opening = {name: press.opening_mm for name, press in book.presses.items()}

    assert opening.pop("swing") is None
    assert {"clam": 150.0, "self-opening": 140.0} == opening
    assert pytest.approx((150.0, 140.0), abs=5.0) == [200.0 * math.sin(math.radians(angle)) for angle in (50.0, 45.0)]


def test_sponge_has_the_stress_of_its_grade(book: Book) -> None:
    """At 25 % the sponge pad carries 9 to 15 psi: ASTM D1056, class D, grade 3."""
    curve = book.pads["silicone-foam"].compression
    (at_25,) = [point.pressure_kpa for point in curve if point.strain == 0.25]

    assert 9.0 * PSI_KPA <= at_25 <= 15.0 * PSI_KPA


def test_pads_are_known_at_every_pressure_of_the_presses(book: Book) -> None:
    """Each pad's compression is known from nothing to the firmest pressure in the book."""
    firmest = max(press.pressures.firm_kpa for press in (*book.presses.values(),))

    for pad in book.pads.values():
        assert pad.compression[0].pressure_kpa == 0.0
        assert pad.compression[-1].pressure_kpa >= max(firmest, book.bench.reference_pressures.firm_kpa)


def test_light_medium_and_firm_are_the_trades_habit(book: Book) -> None:
    """Light is 20 to 30 psi, medium about 40, firm 60 or more, as a gauge is read (from memory)."""
    for pressures in (book.bench.reference_pressures, *(press.pressures for press in book.presses.values())):
        assert 20.0 * PSI_KPA <= pressures.light_kpa <= 30.0 * PSI_KPA
        assert pressures.medium_kpa == pytest.approx(40.0 * PSI_KPA, rel=0.01)
        assert pressures.firm_kpa >= 60.0 * PSI_KPA


def test_contacts_lie_in_the_band_that_is_recalled(book: Book) -> None:
    """Faces that only touch have 200 to 3000 W/m2K, known to a factor of two; a carrier that sticks has more.

    No published value exists for films, fabrics or leather on a platen (from memory).
    """
    for contact in book.contacts.values():
        assert contact.spread >= 1.0, contact.id
        if contact.id != "carrier-film":
            assert 200.0 <= contact.conductance_w_m2k <= 3000.0, contact.id


def test_every_face_that_meets_another_has_a_contact(book: Book) -> None:
    """With any cover, film and upper of the book, no two layers meet without a contact or a bond."""
    known = {(contact.above, contact.below) for contact in book.contacts.values()}
    covers: list[tuple[Layer, ...]] = [(), *(cover.layers for cover in book.covers.values())]
    met = set()
    for cover, film, upper in itertools.product(covers, book.films.values(), book.uppers.values()):
        runs = (
            ("cover", cover),
            ("carrier", (None,)),
            ("film", film.layers),
            ("upper", upper.layers),
            ("pad", (None,)),
        )
        stack = [("platen", False)]
        for role, layers in runs:
            stack += [(role, layer is not None and layer.bonded) for layer in layers]
        met |= {(above, below) for (above, _), (below, bonded) in itertools.pairwise(stack) if not bonded}

    assert met <= known
    assert {("cover", "carrier"), ("platen", "carrier"), ("film", "upper"), ("upper", "pad")} <= met


def test_uppers_are_sold_under_the_labels_of_the_directive(book: Book) -> None:
    """Leather, coated leather, textile or other material by what the face is made of.

    Directive 94/11/EC, annex I, from memory: textile is any natural or synthetic cloth; what is none of leather, coated
    leather and textile is another material.
    """
    cloths = {"cotton-fabric", "polyester-fabric", "nylon-fabric", "polypropylene-fabric"}
    for upper in book.uppers.values():
        face, *under = (layer.material for layer in upper.layers)
        if face in cloths:
            expected = "textile"
        elif face in {"upper-leather", "suede-leather"}:
            expected = "leather"
        else:
            expected = "coated-leather" if "upper-leather" in under else "other"
        assert (expected,) == upper.labels, upper.id


def test_polypropylene_floats(book: Book) -> None:
    """Polypropylene is lighter than water, 910 kg/m3 (EN 12524:2000, polypropylene), as no other cloth of the book."""
    assert {"polypropylene-fabric": 910.0} == {
        material.id: material.solid_density_kg_m3
        for material in book.materials.values()
        if material.solid_density_kg_m3 is not None
    }


def test_a_coated_leather_is_one(book: Book) -> None:
    """A coat of more than 0.15 mm and at most a third of the whole is coated leather (Directive 94/11/EC, annex I)."""
    for name in ("coated-leather", "patent-leather"):
        coat, leather, *_ = book.uppers[name].layers
        assert 0.15 < coat.thickness_mm <= (coat.thickness_mm + leather.thickness_mm) / 3.0


def test_the_reference_cloth_is_two_layers_of_woven_cotton(book: Book) -> None:
    """Films' settings refer to a garment's cotton, two layers without a cover sheet (common practice, no source)."""
    upper = book.uppers[book.bench.reference_upper]

    assert ["cotton-fabric", "cotton-fabric"] == [layer.material for layer in upper.layers]
    assert not any(layer.bonded for layer in upper.layers)


def test_the_book_says_that_it_is_invented(book: Book) -> None:
    """The demo bench is marked as invented, and every price of the physical records cites that."""
    assert book.bench.invented
    for kind in ("films", "covers"):
        for record in getattr(book, kind).values():
            prices = {cite.source for cite in record.cites if {"roll", "roll.price", "price"} & set(cite.values)}
            assert {"invented"} == prices, record.id


def pressed(book: Book, film: str, upper: str, cover: str | None = None) -> Recipe:
    """Return the recipe for a film, at its published pressure, on an upper of the book, layer by layer.

    Each layer is named after its material.
    """
    record = book.uppers[upper]
    layers = tuple(
        BareLayer(material=layer.material, thickness=f"{layer.thickness_mm:g} mm", bonded=layer.bonded)
        for layer in record.layers
    )
    onto = BareStack(surface=record.surface, layers=layers)
    return resolve(book, RecipeRequest(film=film, onto=onto, cover=cover, pressure=book.films[film].setting.pressure))


def walked_in(book: Book, film: str, label: Label) -> Recipe:
    """Return the recipe for a film on a shoe known by its tongue label alone."""
    panel = MeasuredPanel(panel="quarter", shape=Rectangle(width="60 mm", height="40 mm"))
    return resolve(
        book, RecipeRequest(film=film, onto=ShoePanel(shoe=MeasuredShoe(label=label, panels=(panel,)), panel="quarter"))
    )


@pytest.mark.parametrize("activation_kj_mol", [60.0, 100.0, 150.0])
def test_leather_under_a_thin_cover_takes_twice_cottons_time(book: Book, activation_kj_mol: float) -> None:
    """All of what 15 s on cotton without a cover give takes 26.5 to 35 s on leather under the thin sheet.

    Common practice, no source: about 30 s at 160 degC, medium. It holds over the band of activation energies.
    """
    smooth = book.films["smooth"]
    varied = replace(
        smooth,
        adhesive=replace(smooth.adhesive, activation_kj_mol=activation_kj_mol),
        needed_share=NeededShare(low=1.0, high=1.0),
    )
    other = replace(book, films={**book.films, "smooth": varied}, practices={})
    found = pressed(other, "smooth", "leather-lined", "silicone-thin")

    assert found.window is not None
    assert found.window.shortest_s is not None
    assert 26.5 <= found.window.shortest_s <= 35.0


def test_a_leather_upper_is_ready(book: Book) -> None:
    """Smooth film on lined leather is ready at 160 degC under the thin sheet, even at the worst case."""
    found = pressed(book, "smooth", "leather-lined")

    assert found.verdict == "ready"
    assert found.setting is not None
    assert (160.0, 320.0, "medium", "silicone-thin") == (
        found.setting.temperature_c,
        found.setting.temperature_f,
        found.setting.pressure,
        found.setting.cover,
    )
    assert found.window is not None
    assert found.window.shortest_s is not None
    assert found.window.longest_s is not None
    assert 20.0 <= found.window.shortest_s <= 30.0 <= found.setting.dwell_s <= 40.0 <= found.window.longest_s


@pytest.mark.parametrize(
    "upper", ["coated-leather", "patent-leather", "glossy", "canvas", "polyester-knit", "nylon-mesh"]
)
def test_what_is_marked_in_practice_is_not_declined(book: Book, upper: str) -> None:
    """Coated, glossy and textile uppers take smooth film under a cover sheet (common practice, no source)."""
    found = pressed(book, "smooth", upper)

    assert found.verdict != "decline"
    assert found.setting is not None
    assert found.setting.cover is not None


@pytest.mark.parametrize("upper", ["eva-foam", "pvc-coated", "rubber"])
def test_what_heat_ruins_is_declined(book: Book, upper: str) -> None:
    """EVA foam, PVC and rubber are declined, with the hottest film and with the coolest."""
    for film in ("smooth", "stretch", "flock"):
        assert pressed(book, film, upper).verdict == "decline", film


def test_polypropylene_takes_the_cool_film_at_most(book: Book) -> None:
    """Polypropylene is declined with a film pressed at 160 degC; the cool film is offered, to be tried first."""
    found = pressed(book, "smooth", "polypropylene")

    assert found.verdict == "decline"
    assert "stretch" in [change.to for change in found.help if change.change == "film"]
    assert pressed(book, "stretch", "polypropylene").verdict == "trial"


@pytest.mark.parametrize("film", ["smooth", "stretch"])
def test_foam_itself_forbids_the_films_that_would_bond_to_it(book: Book, film: str) -> None:
    """EVA foam is declined for its heat, and the reason names the layer, its limit and how well that is known."""
    (reason,) = pressed(book, film, "eva-foam").reasons

    assert ("heat.no-window", "decline", "guess") == (reason.code, reason.verdict, reason.evidence)
    assert book.materials["eva-foam"].name in reason.sentence
    assert reason.measure is not None
    assert reason.limit == 70.0
    assert reason.measure > 100.0


def test_a_textile_label_leads_to_a_trial_of_the_cool_film(book: Book) -> None:
    """The cool film suits all of the label 'textile', to be tried first; a hot one polypropylene forbids."""
    assert walked_in(book, "stretch", "textile").verdict == "trial"
    hot = walked_in(book, "smooth", "textile")
    assert ("decline", "polypropylene weave") == (hot.verdict, hot.reasons[0].subject)


@pytest.mark.parametrize("film", ["smooth", "stretch"])
def test_another_material_may_be_foam(book: Book, film: str) -> None:
    """A label that says no more than 'other material' may mean foam, PVC or rubber, and is declined."""
    assert walked_in(book, film, "other").verdict == "decline"
