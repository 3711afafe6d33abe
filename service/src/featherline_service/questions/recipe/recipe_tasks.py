"""What a recipe is asked for: a request with its records found in the book, and every fault of it."""

from __future__ import annotations

from typing import Final, NamedTuple

from featherline.wire.recipes import (
    BareStack,
    OldMark,
    OldMarks,
    RecipeRequest,
    ShoePanel,
    Units,
)
from featherline.wire.records import Film, Layer, Platen, Press, PressureLevel, Upper
from featherline.wire.shoes import BookShoe, Face, MeasuredShoe
from featherline_service.book.shop_book import Book
from featherline_service.quantities import (
    celsius,
    fahrenheit,
    kelvin_difference,
    millimetres,
    say_temperature,
    say_temperature_range,
)
from featherline_service.questions.checks import Checks
from featherline_service.questions.shoes.walk_ins import uppers_of
from featherline_service.shape.shoe_sizes import foot_length

# From a coat of paint to a thick foam: what a layer of a shoe may measure, and what the solver is proven on.
_THINNEST_MM: Final = 0.01
_THICKEST_MM: Final = 30.0
SAME_SCALE: Final = 1e-4
"""Two settings that went through text and another scale differ by less, in degrees."""
_CLOSED_SURFACES: Final = frozenset({"glossy", "coated"})
"""Surfaces that take the platen's or the carrier's print: never without a cover sheet (common practice, no source)."""
_Onto = tuple[tuple[Upper, ...], Face, float | None]


class Asked(NamedTuple):
    """A request with its records found: all that its answer depends on, and hashable."""

    film: str
    uppers: tuple[Upper, ...]
    press: str
    platen: str
    covers: tuple[str | None, ...]
    held_c: float | None
    pressure: PressureLevel | None
    guard_k: float
    units: Units
    shoe: str | None
    panel: str | None
    measured: bool
    told: bool
    old_marks: tuple[OldMark, ...] = ()

    @property
    def under(self) -> str | None:
        """The film that the new one is pressed on, if there is one."""
        return next((mark.film for mark in self.old_marks if mark.under), None)


def understand(book: Book, request: RecipeRequest) -> Asked:
    """Return a request with its records found.

    Raises:
        RefusedError: A record is not in the book, or a value cannot be: every fault with its pointer.
    """
    checks = Checks()
    film = checks.record(book.films, "film", request.film, "/film")
    press = checks.record(book.presses, "press", request.press or book.bench.press, "/press")
    if request.cover is not None:
        checks.record(book.covers, "cover sheet", request.cover, "/cover")
    held_c = checks.value(celsius, request.temperature, "/temperature") if request.temperature is not None else None
    guard_k = checks.value(kelvin_difference, request.guard, "/guard")
    if held_c is not None and film is not None and press is not None:
        _check_held(checks, film, press, held_c, request.units)
    if film is not None and request.pressure not in {None, film.setting.pressure, *film.setting.also}:
        levels = " or ".join((film.setting.pressure, *film.setting.also))
        checks.note("/pressure", f"{film.name} is pressed at {levels} pressure, not at {request.pressure}")
    onto = request.onto
    uppers, face, inside_mm = _bare(book, checks, onto) if isinstance(onto, BareStack) else _panel(book, checks, onto)
    if isinstance(onto, ShoePanel):
        _check_old_marks(book, checks, onto.old_marks)
    checks.settle()
    if film is None or press is None or guard_k is None:
        raise AssertionError("Settled checks have found every record and value")
    covers: tuple[str | None, ...] = tuple(book.covers)
    if request.cover is not None:
        covers = (request.cover,)
    elif isinstance(onto, BareStack) and onto.surface not in _CLOSED_SURFACES:
        covers = (None, *covers)  # a shoe's bare upper beside the artwork would meet the platen
    return Asked(
        film=film.id,
        uppers=uppers,
        press=press.id,
        platen=_platen(book, press, face, inside_mm).id,
        covers=covers,
        held_c=held_c,
        pressure=request.pressure,
        guard_k=guard_k,
        units=request.units,
        shoe=onto.shoe.shoe if isinstance(onto, ShoePanel) and isinstance(onto.shoe, BookShoe) else None,
        panel=onto.panel if isinstance(onto, ShoePanel) else None,
        measured=isinstance(onto, ShoePanel) and isinstance(onto.shoe, MeasuredShoe) and onto.shoe.upper is None,
        told=isinstance(onto, ShoePanel) and isinstance(onto.shoe, MeasuredShoe) and onto.shoe.upper is not None,
        old_marks=onto.old_marks if isinstance(onto, ShoePanel) else (),
    )


def _check_held(checks: Checks, film: Film, press: Press, held_c: float, units: Units) -> None:
    own, asked = film.setting, say_temperature(held_c, units)
    span = say_temperature_range(own.coolest_c, own.hottest_c, units)
    if not own.coolest_c - SAME_SCALE <= held_c <= own.hottest_c + SAME_SCALE:
        checks.note("/temperature", f"{film.name} is pressed at {span}, not at {asked}")
    elif not press.coolest_c <= held_c <= press.hottest_c:
        limits = say_temperature_range(press.coolest_c, press.hottest_c, units)
        checks.note("/temperature", f"{press.name} can be set to {limits}, not to {asked}")
    elif not (_on_step(held_c, press.step_c) or _on_step(fahrenheit(held_c), press.step_f)):
        checks.note(
            "/temperature",
            f"{press.name} is set in steps of {press.step_c:g} °C or {press.step_f:g} °F, not to {asked}",
        )


def _check_old_marks(book: Book, checks: Checks, marks: OldMarks) -> None:
    for at, mark in enumerate(marks):
        checks.record(book.films, "film", mark.film, f"/onto/old_marks/{at}/film")
    if sum(mark.under for mark in marks) > 1:
        checks.note("/onto/old_marks", "One old mark at most lies under the new film: name the one that it meets")


def _on_step(value: float, step: float) -> bool:
    return abs(value - step * round(value / step)) < SAME_SCALE


def _bare(book: Book, checks: Checks, stack: BareStack) -> _Onto:
    layers = []
    for at, bare in enumerate(stack.layers):
        material = checks.record(book.materials, "material", bare.material, f"/onto/layers/{at}/material")
        thickness_mm = checks.value(millimetres, bare.thickness, f"/onto/layers/{at}/thickness")
        if thickness_mm is not None and not _THINNEST_MM <= thickness_mm <= _THICKEST_MM:
            checks.note(
                f"/onto/layers/{at}/thickness",
                f"{bare.thickness} is no layer of an upper; give {_THINNEST_MM} mm to {_THICKEST_MM} mm",
            )
        elif material is not None and thickness_mm is not None:
            layers.append(
                Layer(
                    name=material.name, material=material.id, thickness_mm=thickness_mm, bonded=bare.bonded and at > 0
                )
            )
    upper = Upper(
        id="bare-stack",
        name="The stack asked about",
        label="other",
        surface=stack.surface,
        layers=tuple(layers),
        cites=(),
    )
    return (upper,), "outer", None


def _panel(book: Book, checks: Checks, onto: ShoePanel) -> _Onto:
    shoe = onto.shoe
    if isinstance(shoe, BookShoe):
        model = checks.record(book.shoes, "shoe", shoe.shoe, "/onto/shoe/shoe")
        if model is None:
            return (), "outer", None
        foot_mm = checks.value(
            lambda value: foot_length(shoe.size.system, float(value)), shoe.size.value, "/onto/shoe/size"
        )
        panel = checks.record({each.id: each for each in model.panels}, "panel", onto.panel, "/onto/panel")
        if panel is None:
            return (), "outer", None
        inside_mm = None if foot_mm is None else foot_mm + model.inside_allowance_mm
        return (book.uppers[panel.upper],), panel.face, inside_mm
    measured = checks.record({each.panel: each for each in shoe.panels}, "panel", onto.panel, "/onto/panel")
    inside_mm = None if shoe.inside_length is None else checks.value(millimetres, shoe.inside_length, "/onto/shoe")
    uppers = uppers_of(book, shoe, checks, "/onto/shoe")
    return uppers, measured.face if measured is not None else "outer", inside_mm


def _platen(book: Book, press: Press, face: Face, inside_mm: float | None) -> Platen:
    """Return the press's first platen that presents the face and that the shoe goes on; its first, if none does."""
    platens = [book.platens[each] for each in press.platens]
    for platen in platens:
        if face in platen.faces and (inside_mm is None or platen.smallest_inside_length_mm <= inside_mm):
            return platen
    return platens[0]
