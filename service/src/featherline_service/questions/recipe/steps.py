"""Steps of the bench for one pressing, in order: short sentences in the caller's units."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Final, Literal

from msgspec import Struct

from featherline.wire.recipes import PeelPlan, Setting, Step, Units
from featherline.wire.records import Cover, Film, Platen, Press
from featherline.wire.shoes import Face
from featherline_service.quantities import say_temperature
from featherline_service.questions.shoes.presses import PSI_KPA, say_settable

_OPENING: Final = {
    "clam": "Open the press as soon as the time is up",
    "swing-away": "Lift the head as soon as the time is up, and swing it fully away",
    "self-opening": "Keep your hands out until the press has opened by itself and the head stands still",
}


class Turn(Struct, frozen=True, kw_only=True):
    """One pressing of an order among the others: the shoes that it marks, and what comes before and after it.

    `shoes` are those that it marks, `artworks` how many it bonds on each of them. The shoes may be `laid` on already,
    by the pressing of another film before. `then` is what follows: another film on the same loading, the same face laid
    on again, another face, or nothing. `keep_out` names panels that must not lie under the platen.
    `cut` are the films of all pressings of a loading for its first one, and none for those that follow: nothing is cut
    while shoes lie on the platen.
    """

    shoes: tuple[Literal["left", "right"], ...]
    shoes_at_once: int
    artworks: tuple[int, ...]
    set_up: bool
    laid: bool
    then: Literal["film", "loading", "face", "nothing"]
    keep_out: tuple[str, ...]
    cut: tuple[Film, ...]
    onto: tuple[str, ...] = ()
    """What to see to where an artwork goes on one that is pressed before, a sentence each."""


@lru_cache(maxsize=256)
def steps(  # noqa: PLR0917 - what a step can speak of, in the order of the bench
    film: Film,
    press: Press,
    platen: Platen,
    cover: Cover | None,
    setting: Setting,
    peel: PeelPlan,
    *,
    trial: bool,
    units: Units,
    turn: Turn | None = None,
    face: Face | None = None,
) -> tuple[Step, ...]:
    """Return the steps of one pressing of a film, from setting up the press to the next loading.

    Args:
        film: The film: whether it is cut, how, and whether its carrier holds by itself.
        press: The press: a clam wants a stand.
        platen: The lower platen: what goes on it, and how many at once.
        cover: The cover sheet of the setting, or None for none.
        setting: What the press is set to.
        peel: When the carrier comes off.
        trial: True when a trial comes before the shoe is marked.
        units: The units of the sentences. The temperature is given on the scales in which the press can be set to it,
            that of these units first.
        turn: Which pressing of an order it is; None where a recipe is asked for alone, and nothing is known of others.
        face: The face of the shoe that is marked; None where it is not known.

    References:
        Order and content are common practice, no source: a stand under a clam, an empty and unlaced shoe, wiped, no
        preheating of footwear, a heel folded flat, tape where the carrier is not sticky, one pressing for all
        placements of a face, press once, and peel as soon as the cover sheet is off, unless the film's record says how
        cool it must be.
    """
    return (
        *_try(trial=trial),
        *_set_up(press, platen, setting, units, fit=turn is None or turn.set_up),
        *_prepare((film,) if turn is None else turn.cut),
        *_ready_shoe(turn),
        *_load(platen, turn, face),
        *_position(film, turn),
        *_press(press, cover, setting, units),
        *_peel(peel, units),
        *_go_on(turn),
    )


def _set_up(press: Press, platen: Platen, setting: Setting, units: Units, *, fit: bool) -> Iterator[Step]:
    if fit and press.opening == "clam" and not press.on_stand:
        yield Step(do="stand", sentence="Stand the press up on a raised, steady stand, so that a shoe can be loaded.")
    if fit:
        yield Step(do="platen", sentence=f"Fit the lower platen and see that its pad lies flat: {platen.name}.")
    yield Step(
        do="set",
        sentence=f"Set the press to {_temperature(setting, units)}, {_seconds(setting.dwell_s)} and "
        f"{_pressure(setting, units)}. Wait until the platen holds its temperature.",
    )


def _prepare(films: Sequence[Film]) -> Iterator[Step]:
    """Yield how films are cut and weeded, by their names where they are several."""
    several = len(films) > 1
    for film in films:
        cutting = film.cutting
        if cutting is None:
            transfer = film.name if several else "the printed transfer"
            yield Step(do="transfer", sentence=f"Take {transfer} as it is: neither cut nor weed it.")
            continue
        way = "mirrored" if film.cut_mirrored else "as it reads, not mirrored"
        passes = "one pass" if cutting.passes == 1 else f"{cutting.passes} passes"
        yield Step(
            do="cut",
            sentence=f"Cut {film.name if several else 'the film'} {way}, through the film and not the carrier: "
            f"{cutting.blade}, {cutting.force_g:g} g, {passes}. Cut a scrap first.",
        )
        yield Step(do="weed", sentence="Weed: lift away what is not wanted, the counters too.")


def _try(*, trial: bool) -> Iterator[Step]:
    if trial:
        yield Step(
            do="trial",
            sentence="Do not press the panel yet: do the trial first, rung by rung where it does not show. Go on to "
            "the steps below only when it has shown that this setting bonds and harms nothing.",
        )


def _ready_shoe(turn: Turn | None) -> Iterator[Step]:
    """Yield what is done to a shoe before it is loaded; one that lies on the platen already is ready."""
    if turn is not None and turn.laid:
        return
    yield Step(
        do="empty",
        sentence="Empty the shoe: take out laces, inlay and stuffing, so that nothing lies between face and pad.",
    )
    yield Step(
        do="wipe",
        sentence="Wipe off what keeps film from holding: dust, wax, polish, sprayed proofing (common practice). The "
        "shoe's care label says with what; try the wipe where it does not show, and let the face dry.",
    )


def _load(platen: Platen, turn: Turn | None, face: Face | None) -> Iterator[Step]:
    if turn is not None and turn.laid:
        yield Step(
            do="leave",
            sentence="This film goes on the same face: leave the shoes on the platen as they lie, or lay them on again "
            "alike where others were pressed meanwhile.",
        )
    else:
        yield Step(
            do="load",
            sentence=f"Load {_loaded(platen, turn)}, the face to be marked up and flat. Keep seams, eyelets and "
            "the sole's edge out from under the upper platen.",
        )
        if face == "heel":
            yield Step(
                do="fold",
                sentence="Fold the heel down until it lies flat on the pad. One that does not is not pressed.",
            )
    for panel in () if turn is None else turn.keep_out:
        yield Step(
            do="keep-out", sentence=f"Keep the {panel} out from under the upper platen: it does not stand this setting."
        )
    yield Step(do="no-preheat", sentence="Do not preheat the shoe.")


def _loaded(platen: Platen, turn: Turn | None) -> str:
    if turn is None:
        return "both shoes of the pair" if platen.shoes_at_once > 1 else "one shoe"
    pairs = turn.shoes_at_once // len(turn.shoes)
    if len(turn.shoes) == 1:
        return f"the {turn.shoes[0]} shoe" if pairs == 1 else f"the {turn.shoes[0]} shoes of {pairs} pairs"
    if pairs > 1:
        return f"both shoes of {pairs} pairs"
    return "both shoes of the pair" if pairs == 1 else "one shoe of the pair after the other"


def _position(film: Film, turn: Turn | None) -> Iterator[Step]:
    yield Step(
        do="position",
        sentence="Lay the artwork in place with its carrier up, and see that it reads right.",
    )
    for sentence in () if turn is None else turn.onto:
        yield Step(do="onto", sentence=sentence)
    if not film.carrier.sticky:
        yield Step(do="tape", sentence="Tape the carrier down with heat-proof tape: it does not hold by itself.")
    if turn is None:
        yield Step(
            do="second-placement",
            sentence="Lay the other artwork of this film on the same face now, unless the plan presses it apart: one "
            "pressing takes it all.",
        )
    elif max(turn.artworks) > 1:
        number = f" {turn.artworks[0]}"
        where = "on each shoe"
        if len(set(turn.artworks)) > 1:
            number = ""
            where = " and ".join(
                f"{count} on the {shoe} shoe" for shoe, count in zip(turn.shoes, turn.artworks, strict=True)
            )
        yield Step(
            do="second-placement",
            sentence=f"Lay all{number} artworks of this film on the face now, {where}: one pressing takes them all.",
        )


def _press(press: Press, cover: Cover | None, setting: Setting, units: Units) -> Iterator[Step]:
    if cover is None:
        yield Step(do="cover", sentence="Use no cover sheet: the carrier alone must lie over all of the film.")
    else:
        yield Step(
            do="cover", sentence=f"Cover everything, bare upper too: {cover.name}. Nothing else may touch the platen."
        )
    yield Step(
        do="press",
        sentence=f"Press for {_seconds(setting.dwell_s)} at {_temperature(setting, units)}, "
        f"{_pressure(setting, units)}.",
    )
    lift = ", then take the cover sheet off" if cover is not None else ""
    yield Step(do="open", sentence=f"{_OPENING[press.opening]}{lift}.")


def _peel(peel: PeelPlan, units: Units) -> Iterator[Step]:
    at = say_temperature(peel.at_c, units)
    wait_s = math.ceil(peel.wait_s)
    moment = f", at once, at about {at}"
    if wait_s > 0:
        block = "" if peel.block_s is None else f" With a cold metal block held on it, {math.ceil(peel.block_s)} s do."
        yield Step(do="wait", sentence=f"Wait {wait_s} s, without touching: the film is then at about {at}.{block}")
        moment = ""
    yield Step(
        do="peel",
        sentence=f"Peel the carrier {peel.when}{moment}: low over the film, slowly, in one go. Stop where the film "
        "lifts.",
    )


def _go_on(turn: Turn | None) -> Iterator[Step]:
    yield Step(
        do="once",
        sentence="Press once: do not press again to make it hold, unless the film maker's sheet asks for that.",
    )
    match None if turn is None else turn.then:
        case None:
            yield Step(
                do="next-face",
                sentence="Another face of the shoe is another loading: let this one cool, turn the shoe, and begin at "
                "the loading again.",
            )
        case "face":
            yield Step(
                do="next-face",
                sentence="The next pressing is on another face: let this one cool, turn the shoe, and load it anew.",
            )
        case "loading":
            yield Step(
                do="next-loading",
                sentence="The next pressing is on this face too: let it cool, and load the shoe anew for its panel.",
            )
        case "film":
            yield Step(
                do="next-film",
                sentence="Another film follows on this face. Leave shoes that fill one load on the platen, and set the "
                "press anew; of more, press all with this film first, so that the press is set once.",
            )
        case "nothing":
            pass


def _temperature(setting: Setting, units: Units) -> str:
    first, *other = say_settable(setting, units)
    return f"{first} ({other[0]})" if other else first


def _seconds(dwell_s: float) -> str:
    return f"{dwell_s:g} s"


def _pressure(setting: Setting, units: Units) -> str:
    value = f"{setting.pressure_kpa / PSI_KPA:.0f} psi" if units == "us" else f"{setting.pressure_kpa:.0f} kPa"
    return f"{setting.pressure} pressure (about {value} at the platen)"
