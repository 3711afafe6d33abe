from __future__ import annotations

import pytest
from msgspec.structs import replace

from featherline.wire.recipes import Setting, Units
from featherline.wire.records import Press, Pressures
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.shoes import presses


@pytest.fixture
def press(book: Book) -> Press:
    """Return a press with steps of 2 degC and 5 degF, and levels of pressure that differ."""
    pressures = Pressures(light_kpa=100.0, medium_kpa=250.0, firm_kpa=400.0)
    return replace(book.presses["swing"], step_c=2.0, step_f=5.0, pressures=pressures)


def setting(press: Press, platen_c: float) -> Setting:
    """Return a setting of a press at a temperature."""
    return presses.setting_of(press, "firm", "silicone-thin", platen_c=platen_c, dwell_s=12.0)


def test_a_pound_per_square_inch_is_its_kilopascals() -> None:
    """1 psi = 6.894757 kPa (NIST SP 811, appendix B.8)."""
    assert pytest.approx(6.894757, abs=1e-6) == presses.PSI_KPA


@pytest.mark.parametrize(
    ("platen_c", "scales"),
    [
        (160.0, ("degC", "degF")),  # 320 degF
        (162.0, ("degC",)),  # 323.6 degF
        (161.0, ()),  # 321.8 degF
        (161.1111, ()),  # 322 degF
        (165.5556, ("degF",)),  # 330 degF to four decimals
        (165.5550, ()),  # 329.999 degF
        (160.00009, ("degC",)),  # 9e-5 K from a step
        (159.99991, ("degC",)),
        (160.00011, ()),
        (159.99989, ()),
    ],
)
def test_a_press_is_set_in_its_steps(press: Press, platen_c: float, scales: tuple[str, ...]) -> None:
    """A temperature is settable on the scales of which it is a step, to 1e-4 K of rounding."""
    assert scales == presses.settable_in(press, platen_c)


def test_a_setting_stands_on_the_step_of_its_scale(press: Press) -> None:
    """On a scale where it is a step it is the step itself; on the other it is converted and not rounded."""
    celsius, fahrenheit, neither = (setting(press, value) for value in (162.00005, 165.5556, 161.0))

    assert (162.0, ("degC",)) == (celsius.temperature_c, celsius.settable_in)
    assert pytest.approx(323.60009, abs=1e-9) == celsius.temperature_f
    assert (165.5556, 330.0, ("degF",)) == (fahrenheit.temperature_c, fahrenheit.temperature_f, fahrenheit.settable_in)
    assert (161.0, ()) == (neither.temperature_c, neither.settable_in)
    assert pytest.approx(321.8) == neither.temperature_f
    assert (12.0, "firm", 400.0, "silicone-thin") == (
        celsius.dwell_s,
        celsius.pressure,
        celsius.pressure_kpa,
        celsius.cover,
    )


def test_a_temperature_is_said_on_the_scales_it_can_be_set_on(press: Press) -> None:
    """The caller's scale comes first, and a scale between whose steps it falls is left out."""
    both, celsius, fahrenheit = (setting(press, value) for value in (160.0, 162.0, 165.5556))

    def shown(its: Setting, units: Units) -> list[tuple[float, str | None, int]]:
        return [(each.value, each.unit, each.decimals) for each in presses.temperatures_of(its, units)]

    assert [(160.0, "degC", 0), (320.0, "degF", 0)] == shown(both, "metric")
    assert [(320.0, "degF", 0), (160.0, "degC", 0)] == shown(both, "us")
    assert [(162.0, "degC", 0)] == shown(celsius, "us")
    assert [(330.0, "degF", 0)] == shown(fahrenheit, "metric")


def test_each_level_has_its_pressure(press: Press) -> None:
    """Light, medium and firm are those of the press."""
    levels = ("light", "medium", "firm")
    assert [100.0, 250.0, 400.0] == [presses.pressure_kpa(press.pressures, level) for level in levels]


def test_the_press_is_the_one_named_or_the_benchs(book: Book) -> None:
    """An unknown one is a fault at the press of the request, which lists those there are."""
    checks = Checks()

    assert book.presses["clam"] is presses.find_press(book, "clam", checks)
    assert book.presses[book.bench.press] is presses.find_press(book, None, checks)
    assert () == checks.faults
    assert presses.find_press(book, "mangle", checks) is None
    assert [("/press", "The book has no press 'mangle'; it has: clam, self-opening, swing")] == [
        (fault.pointer, fault.detail) for fault in checks.faults
    ]


@pytest.mark.parametrize(
    ("face", "inside_mm", "platens"),
    [
        ("outer", 195.0, ["shoe-form", "small-shoe-form"]),  # the shortest shoe that goes on the large form
        ("outer", 194.999, ["small-shoe-form"]),
        ("outer", 168.0, ["small-shoe-form"]),
        ("outer", 167.999, []),
        ("outer", None, ["shoe-form", "small-shoe-form"]),
        ("tongue", 168.0, ["small-shoe-form", "full-flat"]),
    ],
)
def test_a_platen_presents_the_face_and_takes_the_shoe(
    book: Book, face: str, inside_mm: float | None, platens: list[str]
) -> None:
    """The smallest inside length itself goes on, and an unknown one is taken to."""
    swing = book.presses["swing"]
    fitting = presses.platens_for(book, swing, face, inside_mm)  # type: ignore[arg-type]

    assert platens == [platen.id for platen in fitting]


def test_recipes_are_for_the_first_platen(book: Book) -> None:
    """It is the first that takes the shoe; where none does, the first of the press."""
    swing = book.presses["swing"]

    assert "shoe-form" == presses.first_platen(book, swing, "outer", 195.0).id
    assert "small-shoe-form" == presses.first_platen(book, swing, "outer", 194.0).id
    assert "shoe-form" == presses.first_platen(book, swing, "outer", 100.0).id
    flat_first = replace(swing, platens=("full-flat", "shoe-form", "small-shoe-form"))
    assert "shoe-form" == presses.first_platen(book, flat_first, "outer", 200.0).id
    assert "full-flat" == presses.first_platen(book, flat_first, "outer", 100.0).id


def test_a_pad_cut_to_order_is_drawn_without_holes_of_the_same_direction() -> None:
    """Its outline is filled by the nonzero rule: two squares drawn the same way are one."""
    pad = presses.pad_outline("M0 0H10V10H0ZM2 2H8V8H2Z")

    assert pytest.approx(100.0) == pad.area
    assert pytest.approx((0.0, -10.0, 10.0, 0.0)) == pad.bounds
