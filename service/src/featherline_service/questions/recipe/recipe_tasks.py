"""Tasks to resolve a recipe for: a film, what it is pressed on, a press, and what of the setting is chosen already."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

from featherline.wire.recipes import BareStack, OldMark, OldMarks, RecipeRequest, ShoePanel, Units
from featherline.wire.records import Film, Layer, Press, PressureLevel, Upper
from featherline.wire.shoes import Face
from featherline_service.book.shop_book import Book
from featherline_service.messages.told import measured, told
from featherline_service.quantities import (
    celsius,
    kelvin_difference,
    millimetres,
    say_temperature,
    say_temperature_range,
)
from featherline_service.questions.checks import Checks
from featherline_service.questions.recipe.evidence.practices import recorded_of
from featherline_service.questions.recipe.evidence.sightings import Sighting
from featherline_service.questions.shoes.observations import Seen
from featherline_service.questions.shoes.old_marks import check_old_marks
from featherline_service.questions.shoes.presses import find_press, first_platen, settable_in
from featherline_service.questions.shoes.shoes import Panel, Shoe, find_panel, find_shoe

# From a coat of paint to a thick foam: what a layer of a shoe may measure, and what the solver is proven on.
_THINNEST_MM: Final = 0.01
_THICKEST_MM: Final = 30.0
_ROUNDING: Final = 1e-4
"""[K] A caller's text in few decimals of one scale may be so far off a setting in the other."""
_CLOSED_SURFACES: Final = frozenset({"glossy", "coated"})
"""Surfaces that take the platen's or the carrier's print: never without a cover sheet (common practice, no source)."""


class RecipeTask(NamedTuple):
    """All that a recipe depends on beside the book, by content: records by their ids, but for the uppers.

    `covers` are the cover sheets to consider; None among them: no cover sheet. `shoe` is a model of the book;
    `makers_consent` is said of a protective one, `is_damp` of any shoe; `known_by_label`, `upper_is_named` and `seen`
    are said of a measured shoe. The last `new_films` of the `old_marks` are films of the same order, pressed before. A
    temperature or pressure of None is free. `sightings` are what was seen of pressings, those that the book records
    among them.
    """

    film: str
    uppers: tuple[Upper, ...]
    press: str
    platen: str
    covers: tuple[str | None, ...]
    units: Units
    temperature_c: float | None = None
    pressure: PressureLevel | None = None
    guard_k: float = 0.0
    shoe: str | None = None
    panel: str | None = None
    face: Face | None = None
    makers_consent: bool = False
    is_damp: bool = False
    known_by_label: bool = False
    upper_is_named: bool = False
    seen: Seen | None = None
    old_marks: tuple[OldMark, ...] = ()
    new_films: int = 0
    sightings: tuple[Sighting, ...] = ()

    @property
    def marks_there(self) -> Iterator[tuple[OldMark, bool]]:
        """The old marks, each with whether it is of the same order."""
        oldest_new = len(self.old_marks) - self.new_films
        return ((mark, at >= oldest_new) for at, mark in enumerate(self.old_marks))

    @property
    def under(self) -> str | None:
        """The film that the new one is pressed on, if there is one: of several under it, the last and uppermost."""
        return next((mark.film for mark in reversed(self.old_marks) if mark.under), None)


def on_panel(
    book: Book, film: Film, shoe: Shoe, panel: Panel, press: Press, *, units: Units, marks: OldMarks = ()
) -> RecipeTask:
    """Return the task to press a film on a panel, with whatever setting is best."""
    return RecipeTask(
        film=film.id,
        uppers=panel.uppers,
        press=press.id,
        platen=first_platen(book, press, panel.face, shoe.inside_length).id,
        covers=tuple(book.covers),
        units=units,
        shoe=None if shoe.model is None else shoe.model.id,
        panel=panel.id,
        face=panel.face,
        makers_consent=shoe.makers_consent,
        is_damp=shoe.conditioning == "damp",
        known_by_label=shoe.known_by_label,
        upper_is_named=shoe.upper_is_named,
        seen=shoe.seen,
        old_marks=marks,
        sightings=recorded_of(book),
    )


def read_task(book: Book, request: RecipeRequest, checks: Checks | None = None) -> tuple[RecipeTask, str]:
    """Return the task of a request, and the name of the panel or stack that is pressed on.

    What was observed is not read: see `evidence.requests`.

    Raises:
        RefusedError: A record is not in the book, or a value cannot be: every fault with its pointer.
    """
    checks = checks or Checks()
    film = checks.record(book.films, "film", request.film, "/film")
    press = find_press(book, request.press, checks)
    if request.cover is not None:
        checks.record(book.covers, "cover-sheet", request.cover, "/cover")
    temperature_c = None
    if request.temperature is not None:
        temperature_c = checks.value(celsius, request.temperature, "/temperature")
    guard_k = checks.value(kelvin_difference, request.guard, "/guard")
    if temperature_c is not None and film is not None and press is not None:
        _check_temperature(checks, film, press, temperature_c, request.units)
    if film is not None and request.pressure not in {None, film.setting.pressure, *film.setting.also}:
        levels = " or ".join((film.setting.pressure, *film.setting.also))
        checks.note(
            "/pressure",
            told(
                "setting.pressure-unsuited",
                "{name} is pressed at {levels} pressure, not at {pressure}",
                name=film.name,
                levels=levels,
                pressure=request.pressure,
            ),
        )
    if isinstance(request.onto, BareStack):
        upper = _bare(book, request.onto, checks)
    else:
        shoe, panel = read_panel(book, request.onto, checks.under("/onto"))
    checks.settle()
    assert film is not None and press is not None and guard_k is not None  # noqa: S101, PT018 - settle has raised else
    if isinstance(request.onto, BareStack):
        covers, name = tuple(book.covers), "a bare stack"
        task = RecipeTask(
            film=film.id,
            uppers=(upper,),
            press=press.id,
            platen=first_platen(book, press, "outer", None).id,
            # A shoe's bare upper beside the artwork would meet the platen.
            covers=covers if upper.surface in _CLOSED_SURFACES else (None, *covers),
            units=request.units,
            sightings=recorded_of(book),
        )
    else:
        assert shoe is not None and panel is not None  # noqa: S101, PT018 - settle has raised else
        task = on_panel(book, film, shoe, panel, press, units=request.units, marks=request.onto.old_marks)
        name = f"{panel.name}, {shoe.name}"
    task = task._replace(
        covers=task.covers if request.cover is None else (request.cover,),
        temperature_c=temperature_c,
        pressure=request.pressure,
        guard_k=guard_k,
    )
    return task, name


def read_panel(book: Book, onto: ShoePanel, checks: Checks) -> tuple[Shoe | None, Panel | None]:
    """Return a shoe, in any size that there is, and a panel of it; note what is wrong."""
    shoe = find_shoe(book, onto.shoe, checks, any_size=True)
    panel = None if shoe is None else find_panel(shoe, onto.panel, checks)
    check_old_marks(book, onto.old_marks, checks)
    return shoe, panel


def _check_temperature(checks: Checks, film: Film, press: Press, temperature_c: float, units: Units) -> None:
    published, wanted = film.setting, say_temperature(temperature_c, units)
    if not published.coolest_c - _ROUNDING <= temperature_c <= published.hottest_c + _ROUNDING:
        span = say_temperature_range(published.coolest_c, published.hottest_c, units)
        checks.note(
            "/temperature",
            told(
                "setting.temperature-unsuited",
                "{name} is pressed at {span}, not at {wanted}",
                name=film.name,
                span=span,
                wanted=wanted,
            ),
        )
    elif not press.coolest_c <= temperature_c <= press.hottest_c:
        limits = say_temperature_range(press.coolest_c, press.hottest_c, units)
        checks.note(
            "/temperature",
            told(
                "setting.temperature-out-of-range",
                "{name} can be set to {limits}, not to {wanted}",
                name=press.name,
                limits=limits,
                wanted=wanted,
            ),
        )
    elif not settable_in(press, temperature_c):
        checks.note(
            "/temperature",
            told(
                "setting.temperature-between-steps",
                "{name} is set in steps of {step} or {step_2}, not to {wanted}",
                name=press.name,
                step=measured(press.step_c, "degC"),
                step_2=measured(press.step_f, "degF"),
                wanted=wanted,
            ),
        )


def _bare(book: Book, stack: BareStack, checks: Checks) -> Upper:
    """Return a bare stack as an upper; note what is wrong with its layers."""
    layers = []
    for at, bare in enumerate(stack.layers):
        material = checks.record(book.materials, "material", bare.material, f"/onto/layers/{at}/material")
        thickness_mm = checks.value(millimetres, bare.thickness, f"/onto/layers/{at}/thickness")
        if thickness_mm is not None and not _THINNEST_MM <= thickness_mm <= _THICKEST_MM:
            checks.note(
                f"/onto/layers/{at}/thickness",
                told(
                    "stack.thickness-unusable",
                    "{thickness} is no layer of an upper; give {thinnest} to {thickest}",
                    thickness=bare.thickness,
                    thinnest=measured(_THINNEST_MM, "mm"),
                    thickest=measured(_THICKEST_MM, "mm"),
                ),
            )
        elif material is not None and thickness_mm is not None:
            layers.append(
                Layer(
                    name=material.name, material=material.id, thickness_mm=thickness_mm, bonded=bare.bonded and at > 0
                )
            )
    return Upper(
        id="bare-stack",
        name="The stack asked about",
        labels=("other",),
        surface=stack.surface,
        layers=tuple(layers),
        cites=(),
    )
