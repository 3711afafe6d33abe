"""The question "with which settings?": a film, an upper and a press in; the setting, its window and the steps out."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from typing import Final, Literal, NamedTuple

import numpy as np

from featherline.wire.recipes import (
    Alternative,
    Band,
    BareStack,
    Bond,
    Bound,
    Help,
    LayerPeak,
    PeelPlan,
    Recipe,
    RecipeRequest,
    Setting,
    ShoePanel,
    Units,
    Window,
)
from featherline.wire.records import Film, Layer, Platen, Press, Upper
from featherline.wire.shoes import BookShoe, Face, MeasuredShoe
from featherline.wire.verdicts import Caution, Reason, Verdict
from featherline_service.book.shelves import Book
from featherline_service.heat.bond import dose
from featherline_service.heat.conduction import Floats, Modes, Stack, evolve, modes
from featherline_service.heat.cooling import BLOCK_W_M2K, LONGEST_WAIT_S, temperature_after, wait
from featherline_service.heat.damage import peaks
from featherline_service.heat.pressing import AFTER_S, LONGEST_DWELL_S, TIMES_S, Followed, bond_node
from featherline_service.heat.window import FINE_DWELLS_S, rises
from featherline_service.jobs.cautions import cautions
from featherline_service.jobs.refusals import Checks
from featherline_service.jobs.stacks import Pile, influence
from featherline_service.jobs.steps import steps
from featherline_service.jobs.walkins import uppers_of
from featherline_service.jobs.windows import (
    Candidate,
    Job,
    adhesive,
    beside,
    candidates,
    followed,
    pressure_kpa,
    published,
)
from featherline_service.keeping import kept
from featherline_service.quantities import (
    celsius,
    fahrenheit,
    kelvin_difference,
    millimetres,
    say_temperature,
)
from featherline_service.shape.sizes import foot_length

_MOST_TEMPERATURES: Final = 3
"""Platen temperatures tried of a film's range, its ends and its middle among them: a kelvin decides nothing."""
_MOST_ALTERNATIVES: Final = 4
_MOST_HELP: Final = 3
_SAME_SCALE: Final = 1e-4
# From a coat of paint to a thick foam: what a layer of a shoe may measure, and what the solver is proven on.
_THINNEST_MM: Final = 0.01
_THICKEST_MM: Final = 30.0
"""Two settings that went through text and another scale differ by less, in degrees."""
_CLOSED_SURFACES: Final = frozenset({"glossy", "coated"})
"""Surfaces that take the platen's or the carrier's print: never without a cover sheet (common practice, no source)."""
_SEVERITY: Final[dict[Verdict, int]] = {"ready": 0, "trial": 1, "decline": 2}


class _Asked(NamedTuple):
    """A request with its records found: all that its answer depends on, and hashable."""

    film: str
    uppers: tuple[Upper, ...]
    press: str
    platen: str
    covers: tuple[str | None, ...]
    held_c: float | None
    guard_k: float
    units: Units
    shoe: str | None
    panel: str | None
    measured: bool
    told: bool


class Considered(NamedTuple):
    """What an answer was chosen from: the stacks that one setting has to suit, and every setting, the best first.

    There is no setting where film, upper and press cannot be brought together at all.
    """

    jobs: tuple[Job, ...]
    settings: tuple[Candidate, ...]


def resolve(book: Book, request: RecipeRequest) -> Recipe:
    """Return how to press a film on a panel or a bare stack: verdict, setting, window, layers, peel, steps, cautions.

    Args:
        book: The shop book.
        request: The question.

    Raises:
        RefusedError: A record is not in the book, or a value cannot be: every fault with its pointer.
    """
    return _recipe(book, _asked(book, request))


def considered(book: Book, request: RecipeRequest) -> Considered:
    """Return what `resolve` chooses from, for whoever shows it. Raises as `resolve` does."""
    asked = _asked(book, request)
    return Considered(tuple(_jobs(book, asked)), _ranked(book, asked))


def layers_at(book: Book, request: RecipeRequest, dwell_s: float) -> tuple[LayerPeak, ...]:
    """Return how hot every layer gets at a dwell of the caller's, at the cover and temperature that `resolve` chooses.

    None where film, upper and press cannot be brought together at all. Raises as `resolve` does.
    """
    asked = _asked(book, request)
    ranked = _ranked(book, asked)
    if not ranked:
        return ()
    return _merged([_layer_peaks(book, asked, job, ranked[0], dwell_s) for job in _jobs(book, asked)])


def _asked(book: Book, request: RecipeRequest) -> _Asked:
    checks = Checks()
    film = checks.record(book.films, "film", request.film, "/film")
    press = checks.record(book.presses, "press", request.press or book.bench.press, "/press")
    if request.cover is not None:
        checks.record(book.covers, "cover sheet", request.cover, "/cover")
    held_c = checks.value(celsius, request.temperature, "/temperature") if request.temperature is not None else None
    guard_k = checks.value(kelvin_difference, request.guard, "/guard")
    if held_c is not None and film is not None and press is not None:
        _check_held(checks, film, press, held_c, request.units)
    onto = request.onto
    uppers, face, inside_mm = _bare(book, checks, onto) if isinstance(onto, BareStack) else _panel(book, checks, onto)
    checks.settle()
    if film is None or press is None or guard_k is None:
        raise AssertionError("Settled checks have found every record and value")
    covers: tuple[str | None, ...] = tuple(book.covers)
    if request.cover is not None:
        covers = (request.cover,)
    elif isinstance(onto, BareStack) and onto.surface not in _CLOSED_SURFACES:
        covers = (None, *covers)  # a shoe's bare upper beside the artwork would meet the platen
    return _Asked(
        film=film.id,
        uppers=uppers,
        press=press.id,
        platen=_platen(book, press, face, inside_mm).id,
        covers=covers,
        held_c=held_c,
        guard_k=guard_k,
        units=request.units,
        shoe=onto.shoe.shoe if isinstance(onto, ShoePanel) and isinstance(onto.shoe, BookShoe) else None,
        panel=onto.panel if isinstance(onto, ShoePanel) else None,
        measured=isinstance(onto, ShoePanel) and isinstance(onto.shoe, MeasuredShoe) and onto.shoe.upper is None,
        told=isinstance(onto, ShoePanel) and isinstance(onto.shoe, MeasuredShoe) and onto.shoe.upper is not None,
    )


def _check_held(checks: Checks, film: Film, press: Press, held_c: float, units: Units) -> None:
    own, asked = film.setting, say_temperature(held_c, units)
    span = _range(own.coolest_c, own.hottest_c, units)
    if not own.coolest_c - _SAME_SCALE <= held_c <= own.hottest_c + _SAME_SCALE:
        checks.note("/temperature", f"{film.name} is pressed at {span}, not at {asked}")
    elif not press.coolest_c <= held_c <= press.hottest_c:
        limits = _range(press.coolest_c, press.hottest_c, units)
        checks.note("/temperature", f"{press.name} can be set to {limits}, not to {asked}")
    elif not (_on_step(held_c, press.step_c) or _on_step(fahrenheit(held_c), press.step_f)):
        checks.note(
            "/temperature",
            f"{press.name} is set in steps of {press.step_c:g} °C or {press.step_f:g} °F, not to {asked}",
        )


def _on_step(value: float, step: float) -> bool:
    return abs(value - step * round(value / step)) < _SAME_SCALE


_Onto = tuple[tuple[Upper, ...], Face, float | None]
"""The uppers that it may be, the face of the shoe, and the shoe's inside length [mm] if it is known."""


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


@kept
def _recipe(book: Book, asked: _Asked) -> Recipe:
    film, press = book.films[asked.film], book.presses[asked.press]
    reasons = list(_of_surface(film, asked))
    if not _temperatures(film, press, asked):
        reasons.append(_out_of_range(film, press, asked.units))
    ranked = _ranked(book, asked)
    best = ranked[0] if ranked else None
    if best is not None and best.dwell_s is None:
        reasons.append(_no_window(book, asked, best))
    reasons += _of_shoe(book, asked)
    if best is None or best.dwell_s is None:
        return _declined(book, asked, reasons)
    return _pressed(book, asked, reasons, best, dwell_s=best.dwell_s, others=ranked[1:])


def _ranked(book: Book, asked: _Asked) -> tuple[Candidate, ...]:
    """Return every setting to consider, the best first; none where there can be none."""
    film, press = book.films[asked.film], book.presses[asked.press]
    temperatures = _temperatures(film, press, asked)
    if not temperatures or any(reason.verdict == "decline" for reason in _of_surface(film, asked)):
        return ()
    return candidates(book, _jobs(book, asked), asked.covers, temperatures, press=press, guard_k=asked.guard_k)


def _jobs(book: Book, asked: _Asked) -> list[Job]:
    film, press = book.films[asked.film], book.presses[asked.press]
    pad, kpa = book.platens[asked.platen].pad, pressure_kpa(press.pressures, film)
    return [Job(asked.film, upper, pad, kpa) for upper in asked.uppers]


def _temperatures(film: Film, press: Press, asked: _Asked) -> tuple[float, ...]:
    """Return the platen temperatures [degC] to try: the one held, or some of the press's steps in the film's range."""
    if asked.held_c is not None:
        return (asked.held_c,)
    low = max(film.setting.coolest_c, press.coolest_c)
    high = min(film.setting.hottest_c, press.hottest_c)
    step, first, last = press.step_c, low, high
    if asked.units == "us":
        step, first, last = press.step_f, fahrenheit(low), fahrenheit(high)
    count = np.arange(math.ceil(first / step - _SAME_SCALE), math.floor(last / step + _SAME_SCALE) + 1)
    if count.size > _MOST_TEMPERATURES:
        count = count[np.linspace(0, count.size - 1, _MOST_TEMPERATURES).round().astype(int)]
    settings = [float(value) * step for value in count]
    return tuple(celsius(f"{value:.6f} degF") if asked.units == "us" else value for value in settings)


def _of_surface(film: Film, asked: _Asked) -> Iterator[Reason]:
    strange = sorted({upper.surface for upper in asked.uppers} - set(film.bonds_to))
    if not strange:
        return
    if all(upper.surface in strange for upper in asked.uppers):
        yield Reason(
            code="surface.unsuited",
            verdict="decline",
            subject="/film",
            sentence=f"{film.name} does not bond to {' or '.join(strange)}; it bonds to {', '.join(film.bonds_to)}.",
        )
    else:
        yield Reason(
            code="surface.unknown",
            verdict="trial",
            subject="/film",
            sentence=f"The label allows {' or '.join(strange)}, which {film.name} does not bond to: find out what the "
            "upper is, or try first where it does not show.",
        )


def _of_shoe(book: Book, asked: _Asked) -> Iterator[Reason]:
    if asked.measured:
        names = ", ".join(upper.name for upper in asked.uppers)
        yield Reason(
            code="shoe.measured",
            verdict="trial",
            subject="/onto/shoe",
            sentence="The shoe is known from its label and a ruler alone, and what suits it must suit all that the "
            f"label allows ({names}): try first where it does not show.",
        )
    if asked.told:
        yield Reason(
            code="shoe.measured",
            verdict="ready",
            subject="/onto/shoe/upper",
            sentence=f"The upper is taken to be {asked.uppers[0].name}, as the request says: say so of a shoe that has "
            "stood its trial, or whose maker says so.",
        )
    if asked.shoe is not None and book.shoes[asked.shoe].protective:
        yield Reason(
            code="shoe.protective",
            verdict="trial",
            subject="/onto/shoe",
            sentence="This is certified protective footwear: do not mark it without its maker's written consent.",
        )


def _out_of_range(film: Film, press: Press, units: Units) -> Reason:
    own = film.setting
    reach, wanted = None, None  # within the press's range, but none of its steps is within the film's
    if press.hottest_c < own.coolest_c:
        reach, wanted = press.hottest_c, own.coolest_c
    elif press.coolest_c > own.hottest_c:
        reach, wanted = press.coolest_c, own.hottest_c
    return Reason(
        code="heat.press-range",
        verdict="decline",
        subject="/press",
        sentence=f"{press.name} can be set to {_range(press.coolest_c, press.hottest_c, units)} in steps of "
        f"{press.step_c:g} °C or {press.step_f:g} °F; {film.name} is pressed at "
        f"{_range(own.coolest_c, own.hottest_c, units)}.",
        measure=None if reach is None else _degrees(reach, units),
        limit=None if wanted is None else _degrees(wanted, units),
        unit=None if reach is None else _scale(units),
    )


def _no_window(book: Book, asked: _Asked, best: Candidate) -> Reason:
    """Return why no dwell is right, at the cover and temperature that come nearest to one."""
    span, units, film = best.span, asked.units, book.films[asked.film]
    where = f"at {say_temperature(best.platen_c, units)}, {_cover_phrase(book, best.cover)},"
    if not math.isfinite(span.shortest_s):
        return Reason(
            code="heat.no-window",
            verdict="decline",
            subject="bond line",
            sentence=f"Even {where} the bond line does not gather what {film.name} needs within {LONGEST_DWELL_S:g} s.",
            limit=LONGEST_DWELL_S,
            unit="s",
        )
    if span.ended_by != "layer":
        return Reason(
            code="heat.no-window",
            verdict="decline",
            subject="/film",
            sentence=f"Even {where} {film.name} bonds after {span.shortest_s:.1f} s, and its longest is "
            f"{span.longest_s:.1f} s: no step of the press's timer lies between.",
            measure=span.shortest_s,
            limit=span.longest_s,
            unit="s",
        )
    peak = min(
        (
            peak
            for job in _jobs(book, asked)
            for peak in _layer_peaks(book, asked, job, best, span.shortest_s)
            if peak.layer == span.ended_in
        ),
        key=lambda peak: peak.margin_k,
    )
    limit = book.materials[peak.material].limit
    longest = f"at most {span.longest_s:.1f} s" if span.longest_s > 0.0 else "not a second"
    guard = f", {_kelvins(asked.guard_k, units)} of guard apart" if asked.guard_k > 0.0 else ""
    stands = f"It stands {say_temperature(limit.peak_c, units)}{guard}: {longest} of this. Above that {limit.harm}."
    if peak.peak_c < limit.peak_c - asked.guard_k and limit.exposure is not None:
        own = limit.exposure
        stands = (
            f"It stands {say_temperature(own.temperature_c, units)} for {own.longest_s:g} s in all{guard}, less when "
            f"hotter: {longest} of this. Beyond that {limit.harm}."
        )
    return Reason(
        code="heat.no-window",
        verdict="decline",
        subject=peak.layer,
        sentence=f"The {peak.layer} forbids it: {where} {film.name} needs {span.shortest_s:.1f} s to bond, and the "
        f"{peak.layer} then gets to {say_temperature(peak.peak_c, units)}. {stands}"
        f"{'' if _help(book, asked) else _what_it_takes(book, asked, limit.peak_c)}",
        measure=_degrees(peak.peak_c, units),
        limit=_degrees(limit.peak_c - asked.guard_k, units),
        unit=_scale(units),
        evidence=limit.evidence,
    )


def _kelvins(difference_k: float, units: Units) -> str:
    if units == "us":
        return f"{fahrenheit(difference_k) - fahrenheit(0.0):.0f} °F"
    return f"{difference_k:.0f} °C"


def _cover_phrase(book: Book, cover: str | None) -> str:
    return "without a cover sheet" if cover is None else f"under {book.covers[cover].name}"


def _range(low_c: float, high_c: float, units: Units) -> str:
    return f"{say_temperature(low_c, units)} to {say_temperature(high_c, units)}"


def _degrees(temperature_c: float, units: Units) -> float:
    return fahrenheit(temperature_c) if units == "us" else temperature_c


def _scale(units: Units) -> str:
    return "degF" if units == "us" else "degC"


def _declined(book: Book, asked: _Asked, reasons: Sequence[Reason]) -> Recipe:
    return Recipe(
        verdict="decline",
        reasons=tuple(reasons),
        film=asked.film,
        press=asked.press,
        setting=None,
        window=None,
        bond=None,
        layers=(),
        peel=None,
        alternatives=(),
        help=_help(book, asked),
        steps=(),
        cautions=_cautions(book, asked),
    )


def _cautions(book: Book, asked: _Asked) -> tuple[Caution, ...]:
    film = book.films[asked.film]
    layers = [*film.layers, *(layer for upper in asked.uppers for layer in upper.layers)]
    return cautions(
        book,
        film=film,
        materials=frozenset((film.carrier.material, *(layer.material for layer in layers))),
        shoe=None if asked.shoe is None else book.shoes[asked.shoe],
    )


def _pressed(
    book: Book, asked: _Asked, reasons: list[Reason], best: Candidate, *, dwell_s: float, others: Sequence[Candidate]
) -> Recipe:
    film, press, units = book.films[asked.film], book.presses[asked.press], asked.units
    jobs = _jobs(book, asked)
    setting = _setting(film, press, best, dwell_s)
    layers = _merged([_layer_peaks(book, asked, job, best, dwell_s) for job in jobs])
    reasons = [*_of_heat(book, asked, best, dwell_s, layers), *reasons]
    verdict: Verdict = max((reason.verdict for reason in reasons), key=_SEVERITY.__getitem__, default="ready")
    peel = max((_peel(book, job, best, dwell_s) for job in jobs), key=lambda plan: plan.wait_s)
    bonds = [_bond(book, job, best, dwell_s) for job in jobs]
    return Recipe(
        verdict=verdict,
        reasons=tuple(reasons),
        film=asked.film,
        press=asked.press,
        setting=setting,
        window=_window(film, best, units),
        bond=min(bonds, key=lambda bond: bond.dose_s),
        layers=layers,
        peel=peel,
        alternatives=tuple(
            Alternative(
                setting=_setting(film, press, other, other.dwell_s),
                window=Band(shortest_s=other.span.shortest_s, longest_s=other.span.longest_s),
            )
            for other in others[:_MOST_ALTERNATIVES]
            if other.dwell_s is not None
        ),
        help=(),
        steps=steps(
            film,
            press,
            book.platens[asked.platen],
            None if best.cover is None else book.covers[best.cover],
            setting,
            peel,
            trial=verdict == "trial",
            units=units,
        ),
        cautions=_cautions(book, asked),
    )


def _setting(film: Film, press: Press, chosen: Candidate, dwell_s: float) -> Setting:
    return Setting(
        temperature_c=chosen.platen_c,
        temperature_f=fahrenheit(chosen.platen_c),
        dwell_s=dwell_s,
        pressure=film.setting.pressure,
        pressure_kpa=pressure_kpa(press.pressures, film),
        cover=chosen.cover,
    )


def _window(film: Film, chosen: Candidate, units: Units) -> Window:
    span = chosen.span
    sure = span.sure_from_s <= span.sure_to_s
    return Window(
        shortest_s=span.shortest_s,
        longest_s=span.longest_s,
        worst_case=Band(
            shortest_s=span.sure_from_s if math.isfinite(span.sure_from_s) else None,
            longest_s=span.sure_to_s if sure or span.sure_to_s > 0.0 else None,
        ),
        bound_by=(
            Bound(
                end="shortest",
                by="bond",
                layer=None,
                sentence=f"Shorter, the bond line gathers less than {film.setting.shortest_s:g} s at "
                f"{say_temperature(published(film).platen_c, units)} give it on the reference cloth.",
            ),
            _longest_bound(film, chosen),
        ),
    )


def _longest_bound(film: Film, chosen: Candidate) -> Bound:
    span = chosen.span
    sentence = {
        "layer": f"Longer, the {span.ended_in} passes what it stands, while pressing or after opening.",
        "film": f"Longer, the bond line gathers more than the film's longest {film.setting.longest_s:g} s give it.",
        "cap": f"No shoe is pressed longer than {LONGEST_DWELL_S:g} s.",
    }[span.ended_by]
    return Bound(end="longest", by=span.ended_by, layer=span.ended_in, sentence=sentence)


def _of_heat(
    book: Book, asked: _Asked, best: Candidate, dwell_s: float, layers: Sequence[LayerPeak]
) -> Iterator[Reason]:
    span, film = best.span, book.films[asked.film]
    if dwell_s < span.sure_from_s:
        beyond = (
            f"to be sure of it takes {span.sure_from_s:.1f} s, and the window ends at {span.longest_s:.1f} s"
            if math.isfinite(span.sure_from_s)
            else f"no dwell up to {LONGEST_DWELL_S:g} s is sure to"
        )
        yield Reason(
            code="heat.film-longest" if span.ended_by == "film" else "heat.worst-case",
            verdict="trial",
            subject="bond line",
            sentence=f"{dwell_s:g} s bond {film.name} if all properties are as the book has them; {beyond}.",
            measure=dwell_s,
            limit=span.sure_from_s if math.isfinite(span.sure_from_s) else LONGEST_DWELL_S,
            unit="s",
        )
    if dwell_s > span.sure_to_s:
        yield Reason(
            code="heat.worst-case",
            verdict="trial",
            subject=span.unsure_in or "bond line",
            sentence=f"The {span.unsure_in} stands {dwell_s:g} s if all properties are as the book has them, but is "
            + (f"sure to stand {span.sure_to_s:.1f} s only." if span.sure_to_s > 0.0 else "not sure to stand any."),
            measure=dwell_s,
            limit=span.sure_to_s,
            unit="s",
        )
    for layer in layers:
        limit = book.materials[layer.material].limit
        # The spread of a guessed limit is a guess too: within twice of it the limit is near.
        if limit.evidence == "guess" and layer.margin_k - asked.guard_k < 2.0 * limit.spread_k:
            yield Reason(
                code="heat.weak-evidence",
                verdict="trial",
                subject=layer.layer,
                sentence=f"What the {layer.layer} stands is a guess, and it gets to "
                f"{say_temperature(layer.peak_c, asked.units)}, near to the guessed "
                f"{say_temperature(layer.limit_c, asked.units)}: above that {limit.harm}.",
                measure=_degrees(layer.peak_c, asked.units),
                limit=_degrees(layer.limit_c, asked.units),
                unit=_scale(asked.units),
                evidence="guess",
            )


def _layer_peaks(book: Book, asked: _Asked, job: Job, chosen: Candidate, dwell_s: float) -> tuple[LayerPeak, ...]:
    """Return how hot every layer gets in one pressing, from the platen down, under the film or beside it."""
    places = [followed(book, job, chosen.cover)] + ([] if chosen.cover is None else [beside(book, job, chosen.cover)])
    spread_k = book.presses[asked.press].platen_spread_k
    return _merged(
        [
            _peaks_of(stack, pressing, dwell_s, room_c=book.bench.room_c, platen_c=chosen.platen_c, spread_k=spread_k)
            for stack, pressing in places
        ]
    )


def _peaks_of(
    stack: Pile, pressing: Followed, dwell_s: float, *, room_c: float, platen_c: float, spread_k: float
) -> tuple[LayerPeak, ...]:
    found = peaks(pressing.pressed, pressing.opened, np.array([dwell_s]), AFTER_S)
    _, bands = rises(pressing, influence(stack, stack.spreads))
    rise, excess = found.rise[:, 0], platen_c - room_c
    peak = room_c + excess * rise
    band = np.array([np.interp(math.log(dwell_s), np.log(FINE_DWELLS_S), row) for row in bands])
    worst = peak + np.hypot(excess * band, spread_k * rise)
    return tuple(
        LayerPeak(
            layer=stack.names[at],
            material=material.id,
            peak_c=float(peak[at]),
            worst_case_c=float(worst[at]),
            at_s=dwell_s + float(found.after_s[at, 0]),
            limit_c=material.limit.peak_c,
            margin_k=material.limit.peak_c - float(peak[at]),
            evidence=material.limit.evidence,
        )
        for at, material in enumerate(stack.materials)
    )


def _merged(stacks: Sequence[Sequence[LayerPeak]]) -> tuple[LayerPeak, ...]:
    """Return the layers of all stacks, each once, at its smallest margin."""
    merged: dict[tuple[str, str], LayerPeak] = {}
    for layers in stacks:
        for layer in layers:
            known = merged.get((layer.layer, layer.material))
            if known is None or layer.margin_k < known.margin_k:
                merged[layer.layer, layer.material] = layer
    return tuple(merged.values())


def _bond(book: Book, job: Job, chosen: Candidate, dwell_s: float) -> Bond:
    film, room_c = book.films[job.film], book.bench.room_c
    _, pressing = followed(book, job, chosen.cover)
    own = adhesive(film)
    temperature = room_c + (chosen.platen_c - room_c) * pressing.bond
    gathered = dose(TIMES_S, temperature, published(film).platen_c, own.onset_c, own.activation_j_mol)
    return Bond(
        dose_s=float(np.interp(dwell_s, TIMES_S, gathered)),
        needed_s=chosen.span.needed_s,
        peak_c=float(np.interp(dwell_s, TIMES_S, temperature)),
    )


def _peel(book: Book, job: Job, chosen: Candidate, dwell_s: float) -> PeelPlan:
    """Return when to peel: the cover sheet off on opening, the shoe left on its platen, in air or under a block."""
    film, room_c = book.films[job.film], book.bench.room_c
    stack, pressing = followed(book, job, chosen.cover)

    def waited(cooling: Modes, start: Floats, node: int) -> tuple[float, float]:
        start_c = room_c + (chosen.platen_c - room_c) * start
        wait_s = min(wait(cooling, start_c, node, film.peel.hottest_c, room_c), LONGEST_WAIT_S)
        return wait_s, temperature_after(cooling, start_c, node, wait_s, room_c)

    wait_s, at_c = waited(*uncovered(stack, pressing, dwell_s))
    block_s = None
    if wait_s > 0.0:
        block_s, _ = waited(*uncovered(stack, pressing, dwell_s, onto_w_m2k=BLOCK_W_M2K))
    return PeelPlan(when=film.peel.when, wait_s=wait_s, at_c=at_c, block_s=block_s)


def uncovered(
    stack: Pile, pressing: Followed, dwell_s: float, *, onto_w_m2k: float | None = None
) -> tuple[Modes, Floats, int]:
    """Return the open stack without its cover sheet: its modes, its nodes' shares at opening, and the bond line's node.

    `onto_w_m2k` is the conductance from the carrier upwards; without it, that of the room's air.
    """
    plan, bare = pressing.pressed.layout, stack.roles.index("carrier")
    opened = stack.opened
    conductance = opened.conductance_w_m2k[bare:].copy()
    conductance[0] = opened.conductance_w_m2k[0] if onto_w_m2k is None else onto_w_m2k
    free = Stack(opened.thickness_m[bare:], opened.conductivity_w_mk[bare:], opened.capacity_j_m3k[bare:], conductance)
    cooling = modes(free, plan.orders[bare:])
    size = pressing.pressed.layout.size
    start = pressing.pressed.shape @ evolve(pressing.pressed, np.zeros(size), [dwell_s], 1.0, 0.0)
    return cooling, start[plan.top(bare) :, 0], bond_node(cooling, stack.upper - bare)


def _what_it_takes(book: Book, asked: _Asked, limit_c: float) -> str:
    """Return what would open the window where nothing in the book does."""
    surfaces = {upper.surface for upper in asked.uppers}
    onsets = [film.adhesive.onset_c for film in book.films.values() if surfaces <= set(film.bonds_to)]
    coolest = "none of them bonds to all that it may be"
    if onsets:
        coolest = f"the coolest of those that bond to it softens at {say_temperature(min(onsets), asked.units)}"
    return (
        f" No film, cover sheet, panel or press of the book opens a window: it takes a film that bonds well below "
        f"{say_temperature(limit_c, asked.units)}, and {coolest}."
    )


@kept
def _help(book: Book, asked: _Asked) -> tuple[Help, ...]:
    """Return changes that open the window, nearest first: another cover sheet, film, panel or press."""
    return tuple(itertools.islice(_found_help(book, asked), _MOST_HELP))


def _found_help(book: Book, asked: _Asked) -> Iterator[Help]:
    if len(asked.covers) == 1:
        best = _best(book, asked._replace(covers=tuple(book.covers)))
        if best is not None and best.cover is not None:
            yield _helped(book, asked, "cover", best.cover, name=book.covers[best.cover].name, best=best)
    middle_c = published(book.films[asked.film]).platen_c
    others = sorted(book.films.values(), key=lambda film: (abs(published(film).platen_c - middle_c), film.id))
    for film in others:
        best = _best(book, asked._replace(film=film.id, held_c=None)) if film.id != asked.film else None
        if best is not None:
            yield _helped(book, asked, "film", film.id, name=film.name, best=best)
    if asked.shoe is not None:
        yield from _other_panels(book, asked, others)
    for press in book.presses.values():
        best = _best(book, asked._replace(press=press.id)) if press.id != asked.press else None
        if best is not None:
            yield _helped(book, asked, "press", press.id, name=press.name, best=best)


def _other_panels(book: Book, asked: _Asked, films: Sequence[Film]) -> Iterator[Help]:
    """Yield the shoe's panels of another upper that have a window, for this film or else for the nearest that has."""
    for panel in book.shoes[asked.shoe or ""].panels:
        upper = book.uppers[panel.upper]
        if upper in asked.uppers:
            continue
        for film in films:
            held_c = asked.held_c if film.id == asked.film else None
            best = _best(book, asked._replace(uppers=(upper,), film=film.id, held_c=held_c))
            if best is not None:
                what = f"The panel {panel.name} ({upper.name}), with {film.name},"
                yield _helped(book, asked, "panel", panel.id, name=what, best=best)
                break


def _best(book: Book, asked: _Asked) -> Candidate | None:
    """Return the best candidate of a question, or None where it has no dwell."""
    film, press = book.films[asked.film], book.presses[asked.press]
    if any(reason.verdict == "decline" for reason in _of_surface(film, asked)):
        return None
    # The bond line is the upper's face: where that may not get as hot as the adhesive softens, nothing need be solved.
    faces = [book.materials[upper.layers[0].material].limit.peak_c for upper in asked.uppers]
    temperatures = _temperatures(film, press, asked)
    if min(faces) - asked.guard_k <= film.adhesive.onset_c or not temperatures:
        return None
    best = candidates(book, _jobs(book, asked), asked.covers, temperatures, press=press, guard_k=asked.guard_k)[0]
    return None if best.dwell_s is None else best


def _helped(
    book: Book,
    asked: _Asked,
    change: Literal["film", "cover", "press", "panel"],
    to: str,
    *,
    name: str,
    best: Candidate,
) -> Help:
    span, dwell_s = best.span, best.dwell_s or 0.0
    sure = span.sure_from_s <= dwell_s <= span.sure_to_s
    return Help(
        change=change,
        to=to,
        sentence=f"{name} has a window: {say_temperature(best.platen_c, asked.units)}, {dwell_s:g} s, "
        f"{_cover_phrase(book, best.cover)}{'' if sure else ', to be tried first'}.",
    )
