"""Steps of the bench for one pressing, in order: short messages, with values in the caller's units."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Literal

from msgspec import Struct

from featherline.wire.recipes import PeelPlan, Setting, Step, Units
from featherline.wire.records import Cover, Film, Platen, Press
from featherline.wire.shoes import Face
from featherline_service.messages.values import Quantity, Said, Value, said
from featherline_service.quantities import plain, plain_seconds, temperature
from featherline_service.questions.shoes.presses import pressures_of, temperatures_of


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
    onto: tuple[Said, ...] = ()
    """What to see to where an artwork goes on one that is pressed before, a message each."""


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


def _step(do: str, words: Said) -> Step:
    return Step(do=do, sentence=words.sentence, message=words.message, parameters=words.parameters)


def _plain(do: str) -> Step:
    """Return a step whose message has no values."""
    return _step(do, said(f"step.{do}"))


def _set_up(press: Press, platen: Platen, setting: Setting, units: Units, *, fit: bool) -> Iterator[Step]:
    if fit and press.opening == "clam" and not press.on_stand:
        yield _plain("stand")
    if fit:
        yield _step("platen", said("step.platen", platen=platen))
    yield _step("set", said("step.set", **_values_of(setting, units)))


def _prepare(films: Sequence[Film]) -> Iterator[Step]:
    """Yield how films are cut and weeded, by their names where they are several."""
    for film in films:
        named = film if len(films) > 1 else None
        cutting = film.cutting
        if cutting is None:
            yield _step("transfer", said("step.transfer", film=named))
            continue
        way = "mirrored" if film.cut_mirrored else "as-it-is"
        yield _step(
            "cut",
            said(
                "step.cut",
                film=named,
                way=way,
                blade=cutting.blade,
                force=plain(cutting.force_g),
                passes=cutting.passes,
            ),
        )
        yield _plain("weed")


def _try(*, trial: bool) -> Iterator[Step]:
    if trial:
        yield _plain("trial")


def _ready_shoe(turn: Turn | None) -> Iterator[Step]:
    """Yield what is done to a shoe before it is loaded; one that lies on the platen already is ready."""
    if turn is not None and turn.laid:
        return
    yield _plain("empty")
    yield _plain("wipe")


def _load(platen: Platen, turn: Turn | None, face: Face | None) -> Iterator[Step]:
    if turn is not None and turn.laid:
        yield _plain("leave")
    else:
        which, pairs = _loaded(platen, turn)
        yield _step("load", said("step.load", which=which, pairs=pairs))
        if face == "heel":
            yield _plain("fold")
    for panel in () if turn is None else turn.keep_out:
        yield _step("keep-out", said("step.keep-out", panel=panel))
    yield _plain("no-preheat")


def _loaded(platen: Platen, turn: Turn | None) -> tuple[str, int]:
    """Return which shoes are loaded at once, as the word of the message, and of how many pairs."""
    if turn is None:
        return ("both" if platen.shoes_at_once > 1 else "one"), 1
    pairs = turn.shoes_at_once // len(turn.shoes)
    if len(turn.shoes) == 1:
        return turn.shoes[0], pairs
    return ("both", pairs) if pairs else ("in-turn", 1)


def _position(film: Film, turn: Turn | None) -> Iterator[Step]:
    yield _plain("position")
    for onto in () if turn is None else turn.onto:
        yield _step("onto", onto)
    if not film.carrier.sticky:
        yield _plain("tape")
    if turn is None:
        yield _step("second-placement", said("step.others"))
    elif len(set(turn.artworks)) > 1:
        on = dict(zip(turn.shoes, turn.artworks, strict=True))
        yield _step("second-placement", said("step.others.apart", left=on["left"], right=on["right"]))
    elif turn.artworks[0] > 1:
        yield _step("second-placement", said("step.others.each", artworks=turn.artworks[0]))


def _press(press: Press, cover: Cover | None, setting: Setting, units: Units) -> Iterator[Step]:
    yield _step("cover", said("step.cover", cover=cover))
    yield _step("press", said("step.press", **_values_of(setting, units)))
    covered = "none" if cover is None else "there"
    yield _step("open", said("step.open", opening=press.opening, cover=covered))


def _peel(peel: PeelPlan, units: Units) -> Iterator[Step]:
    at: Quantity | None = temperature(peel.at_c, units)
    wait_s = math.ceil(peel.wait_s)
    if wait_s > 0:
        block = None if peel.block_s is None else plain_seconds(math.ceil(peel.block_s))
        yield _step("wait", said("step.wait", wait=plain_seconds(wait_s), at=at, block=block))
        at = None
    yield _step("peel", said("step.peel", when=peel.when, at=at))


def _go_on(turn: Turn | None) -> Iterator[Step]:
    yield _plain("once")
    match None if turn is None else turn.then:
        case None:
            yield _step("next-face", said("step.next-face", whose="recipe"))
        case "face":
            yield _step("next-face", said("step.next-face", whose="order"))
        case "loading":
            yield _plain("next-loading")
        case "film":
            yield _plain("next-film")
        case "nothing":
            pass


def _values_of(setting: Setting, units: Units) -> dict[str, Value]:
    """Return a setting as the values of a message."""
    first, *other = temperatures_of(setting, units)
    return {
        "temperature": first,
        "other": other[0] if other else None,
        "dwell": plain_seconds(setting.dwell_s),
        "level": setting.pressure,
        "pressure": pressures_of(setting, units)[0],
    }
