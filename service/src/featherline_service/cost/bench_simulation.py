r"""Simulation of the bench: elapsed time, and busy times of hands, presses, cutter and cooling places.

Four resources and the elapsed time are kept apart. Hands load, position, attend, peel and pack. A press is busy from
the load until the shoes leave it. A cooling place is busy from the opened press until the peel. The cutter cuts all
film before pressing begins. Elapsed time follows from how these wait for one another.

Loads pass through steps, each with a place and with or without hands; a load keeps its place until the next one is
free. Free hands take the step of a load on a press first, then of one on a cooling place, then of one on a table, then
a new load; packing is done by idle hands, and before a new load when `_UNPACKED_PER_PRESS` loads of every press wait
for it. No step is interrupted. Times are whole milliseconds, so that the state of a long run repeats exactly and its
periods are skipped.

References:
    List scheduling with a priority rule, and the bounds by each resource: M. L. Pinedo, *Scheduling: Theory,
    Algorithms, and Systems* (Springer), chapters on parallel machines and on flow shops with blocking; from memory.
"""

from __future__ import annotations

import heapq
import math
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from itertools import groupby
from typing import Final, Literal, NamedTuple

from msgspec import Struct

from featherline.wire.records import Handling
from featherline_service.cost.times import Closing, Run

_UNPACKED_PER_PRESS: Final = 2
"""Loads of each press that may wait for packing before hands turn to it; our judgement."""

_MOST_ORDERINGS: Final = 5_000
"""Most states of the exact search for the order of settings; beyond, the nearest setting comes next."""

_MS: Final = 1000

Place = Literal["table", "press", "cooling", "none"]
Kind = Literal["load", "change", "dwell", "wait", "peel", "pack"]


class Bench(Struct, frozen=True, kw_only=True):
    """What a bench has, and how it is worked.

    `tables` are places to load shoes and position film off the press; with none, it is done on the press. With
    `attended`, hands stay at the closed press. The wait before a peel is spent `standing` (on the press, hands idle
    beside it), `elsewhere` (on the press, hands free for other work) or `overlapped` (on a cooling place, the press and
    the hands free for the next load). With `idle_paid`, hands are paid from start to end.
    """

    presses: int = 1
    operators: int = 1
    tables: int = 0
    cooling_places: int = 0
    attended: bool = True
    wait: Literal["standing", "elsewhere", "overlapped"] = "elsewhere"
    weeds_while_cutting: bool = False
    idle_paid: bool = False


class Preparation(Struct, frozen=True, kw_only=True):
    """Work before pressing [s]: hands on the order, loading film (hands and cutter), cutting, and weeding by hand."""

    order_s: float = 0.0
    load_film_s: float = 0.0
    cut_s: float = 0.0
    weed_s: float = 0.0


ChangeTime = Callable[[int | None, int], float]
"""From a setting, None at the start, and the next setting, to the time that the platen takes [s]."""


class PressingTimes(Struct, frozen=True, kw_only=True):
    """Times of a bench from the first setting of a press to the last pair packed [s].

    `hands_s` is hand work, `attending_s` is spent at closed presses and `standing_s` beside shoes that cool. `press_s`
    and `cooling_s` sum over presses and cooling places. `settings_made` counts changes of setting, of each press,
    `loads` the loads of a press, and `shoes_laid` the shoes laid on for them.
    """

    elapsed_s: float
    hands_s: float
    attending_s: float
    standing_s: float
    press_s: float
    cooling_s: float
    settings_made: int
    loads: int
    shoes_laid: int


class BenchTimes(Struct, frozen=True, kw_only=True):
    """Times of a bench, preparation included [s].

    Of the hands' time from start to end, `hands_s` is work, `attending_s` is spent at closed presses, `standing_s`
    beside shoes that cool, and `idle_s` is the rest; `paid_s` is what is paid of it all, and `free_s` what is not.
    """

    elapsed_s: float
    hands_s: float
    attending_s: float
    standing_s: float
    idle_s: float
    paid_s: float
    free_s: float
    press_s: float
    cooling_s: float


class Ramp(Struct, frozen=True, kw_only=True):
    """Rates at which a platen heats and cools [K/s], both above zero."""

    heating_k_s: float
    cooling_k_s: float

    def change_s(self, from_c: float, to_c: float) -> float:
        """Return the time from one platen temperature to another [s]."""
        return (to_c - from_c) / self.heating_k_s if to_c >= from_c else (from_c - to_c) / self.cooling_k_s


class Platen(Struct, frozen=True, kw_only=True):
    r"""A heated platen as a lumped body: mass, heat capacity, heater power, and loss to the room.

    .. math:: m c \, \dot T = P - G (T - T_{room})

    References:
        Lumped capacitance with a source: Y. Cengel, A. Ghajar, *Heat and Mass Transfer*, chapter 4; from memory.
    """

    mass_kg: float
    heat_capacity_j_kgk: float
    heater_w: float
    loss_w_k: float
    room_c: float

    def change_s(self, from_c: float, to_c: float) -> float:
        """Return the time from one temperature to another, at full power or with the heater off [s].

        Raises:
            ValueError: the temperature cannot be reached: above the hottest of the heater, or not above the room.
        """
        if to_c == from_c:
            return 0.0
        end_c = self.room_c + (self.heater_w / self.loss_w_k if to_c > from_c else 0.0)
        if (end_c - to_c) * (to_c - from_c) <= 0.0:
            raise ValueError(f"A platen that settles at {end_c:.0f} degC never reaches {to_c:.0f} degC")
        time_constant_s = self.mass_kg * self.heat_capacity_j_kgk / self.loss_w_k
        return time_constant_s * math.log((end_c - from_c) / (end_c - to_c))


def pressing_times(runs: Sequence[Run], bench: Bench, handling: Handling, *, change_s: ChangeTime) -> PressingTimes:
    """Return the times of pressing an order or roster on a bench, by simulation.

    Loadings are pressed for all pairs of a run before the next loading. Runs may take turns, so that settings are
    changed in the order that takes least time. Where the closings of a loading differ in setting, the shoes are either
    left on and the press changed between them, or laid on again for each setting; whichever ends sooner.

    Args:
        runs: pairs with the same closings.
        bench: the bench.
        handling: times of hand work; those of order, film and weeding are not used.
        change_s: time for the platen to go from one setting to another [s]; from None at the start. Hands are free
            meanwhile; setting the press takes `handling.change_setting_s` of hands besides.

    Raises:
        ValueError: the bench has no press, no operator, or overlaps the wait without a cooling place.
    """
    if bench.presses < 1 or bench.operators < 1:
        raise ValueError("A bench needs at least one press and one operator")
    if bench.wait == "overlapped" and bench.cooling_places < 1:
        raise ValueError("To overlap the wait with the next load, a bench needs at least one cooling place")
    plans = [_laid_again(runs, bench, handling, change_s)]
    if any(closing.setting != run.closings[0].setting for run in runs for closing in run.closings):
        plans.append(_left_on(runs, bench, handling, change_s))
    tally = min(
        (_Simulation(bench, _joined(groups)).run() for groups in plans), key=lambda simulated: simulated.elapsed_ms
    )
    return PressingTimes(
        elapsed_s=tally.elapsed_ms / _MS,
        hands_s=tally.hands_ms / _MS,
        attending_s=tally.attending_ms / _MS,
        standing_s=tally.standing_ms / _MS,
        press_s=tally.press_ms / _MS,
        cooling_s=tally.cooling_ms / _MS,
        settings_made=tally.settings_made,
        loads=tally.loads,
        shoes_laid=round(tally.shoes_laid),
    )


def bench_times(pressing: PressingTimes, bench: Bench, preparation: Preparation) -> BenchTimes:
    """Return the times of an order or roster on a bench: its preparation, then its pressing."""
    cutting_s = (
        max(preparation.cut_s, preparation.weed_s / bench.operators)
        if bench.weeds_while_cutting
        else preparation.cut_s + preparation.weed_s / bench.operators
    )
    elapsed_s = preparation.order_s + preparation.load_film_s + cutting_s + pressing.elapsed_s
    hands_s = preparation.order_s + preparation.load_film_s + preparation.weed_s + pressing.hands_s
    busy_s = hands_s + pressing.attending_s + pressing.standing_s
    idle_s = max(0.0, bench.operators * elapsed_s - busy_s)
    return BenchTimes(
        elapsed_s=elapsed_s,
        hands_s=hands_s,
        attending_s=pressing.attending_s,
        standing_s=pressing.standing_s,
        idle_s=idle_s,
        paid_s=busy_s + (idle_s if bench.idle_paid else 0.0),
        free_s=0.0 if bench.idle_paid else idle_s,
        press_s=pressing.press_s,
        cooling_s=pressing.cooling_s,
    )


class _Step(NamedTuple):
    """A step of a load: where it is done, with or without hands, and for how long."""

    kind: Kind
    place: Place
    hands: bool
    ms: int


class _Loads(NamedTuple):
    """Identical loads, one after the other; each changes the setting so many times, and has so many shoes."""

    steps: tuple[_Step, ...]
    copies: int
    changes: int = 0
    shoes: float = 0.0


class _Change(NamedTuple):
    """A change of setting of all presses: hands at each in turn, then the platens heat or cool."""

    hands_ms: int
    platen_ms: int


_Group = _Loads | _Change


def _joined(groups: Sequence[_Group]) -> list[_Group]:
    """Return groups in which identical loads that follow one another are one group, without groups of no loads."""
    joined: list[_Group] = []
    for group in groups:
        before = joined[-1] if joined else None
        if isinstance(group, _Loads) and isinstance(before, _Loads) and group == before._replace(copies=group.copies):
            joined[-1] = before._replace(copies=before.copies + group.copies)
        elif isinstance(group, _Change) or (group.steps and group.copies):
            joined.append(group)
    return joined


class _Phase(NamedTuple):
    """Closings at one setting without taking the shoes off, for all pairs of a run; the last phase packs."""

    run: Run
    closings: tuple[Closing, ...]
    last: bool

    @property
    def setting(self) -> int:
        return self.closings[0].setting


def _ms(seconds: float) -> int:
    return round(seconds * _MS)


def _laid_again(runs: Sequence[Run], bench: Bench, handling: Handling, change_s: ChangeTime) -> list[_Group]:
    """Return the plan in which shoes are laid on for each setting, settings in the order of least time."""
    chains = []
    for run in runs:
        parts = [
            tuple(part) for _, part in groupby(run.closings, key=lambda closing: (closing.loading, closing.setting))
        ]
        chains.append([_Phase(run, part, part is parts[-1]) for part in parts])
    groups: list[_Group] = []
    before: int | None = None
    for phase in _ordered(chains, change_s, handling.change_setting_s):
        if phase.setting != before:
            groups.append(_Change(_ms(handling.change_setting_s), _ms(change_s(before, phase.setting))))
        groups += _loads([phase.closings], phase.run, bench, handling, change_s, packs=phase.last)
        before = phase.setting
    return groups


def _left_on(runs: Sequence[Run], bench: Bench, handling: Handling, change_s: ChangeTime) -> list[_Group]:
    """Return the plan in which shoes stay on the press while its setting changes, runs in the order given."""
    groups: list[_Group] = []
    before: int | None = None
    for run in runs:
        loadings = [list(part) for _, part in groupby(run.closings, key=lambda closing: closing.loading)]
        for loading in loadings:
            parts = [tuple(part) for _, part in groupby(loading, key=lambda closing: closing.setting)]
            if parts[0][0].setting != before:
                groups.append(_Change(_ms(handling.change_setting_s), _ms(change_s(before, parts[0][0].setting))))
            groups += _loads(parts, run, bench, handling, change_s, packs=loading is loadings[-1])
            before = parts[-1][0].setting
    return groups


def _ordered(chains: Sequence[Sequence[_Phase]], change_s: ChangeTime, hands_s: float) -> Iterator[_Phase]:
    """Yield the phases of all chains, each chain in order, so that changes of setting take least time."""
    kinds = sorted({tuple(setting for setting, _ in groupby(phase.setting for phase in chain)) for chain in chains})
    positions = [0] * len(chains)
    for setting in _settings(kinds, change_s, hands_s):
        for index, chain in enumerate(chains):
            while positions[index] < len(chain) and chain[positions[index]].setting == setting:
                yield chain[positions[index]]
                positions[index] += 1


def _settings(chains: Sequence[tuple[int, ...]], change_s: ChangeTime, hands_s: float) -> list[int]:
    """Return the order of settings with the least total time of change, each chain's own order kept.

    Exact by dynamic programming over how far every chain has come; with many chains, the nearest setting is next.
    """

    def after(done: tuple[int, ...], setting: int) -> tuple[int, ...]:
        return tuple(at + (at < len(chain) and chain[at] == setting) for at, chain in zip(done, chains, strict=True))

    def following(done: tuple[int, ...]) -> list[int]:
        return sorted({chain[at] for at, chain in zip(done, chains, strict=True) if at < len(chain)})

    def cost(before: int | None, setting: int) -> float:
        return change_s(before, setting) + hands_s

    @cache
    def best(done: tuple[int, ...], before: int | None) -> tuple[float, tuple[int, ...]]:
        ways = []
        for setting in following(done):
            rest_s, rest = best(after(done, setting), setting)
            ways.append((cost(before, setting) + rest_s, (setting, *rest)))
        return min(ways, default=(0.0, ()))

    start = (0,) * len(chains)
    states = 1
    for chain in chains:
        states *= len(chain) + 1
    if states <= _MOST_ORDERINGS:
        return list(best(start, None)[1])
    order: list[int] = []
    done, before = start, None
    while choices := following(done):
        before = min(choices, key=lambda setting: (cost(before, setting), setting))
        order.append(before)
        done = after(done, before)
    return order


def _loads(
    parts: Sequence[tuple[Closing, ...]],
    run: Run,
    bench: Bench,
    handling: Handling,
    change_s: ChangeTime,
    *,
    packs: bool,
) -> list[_Group]:
    """Return the loads of a run through parts of a loading, each at one setting, the shoes left on between them."""
    closings = [closing for part in parts for closing in part]
    at_once = min(closing.pairs_at_once for closing in closings)
    # A press that takes one shoe of a pair closes twice for it: two loads of half a pair.
    per_pair = math.gcd(*(closing.closings for closing in closings))
    settings = [part[0].setting for part in parts]
    changes = [
        _Step("change", "press", hands, _ms(seconds))
        for before, after in zip(settings, [*settings[1:], settings[0]], strict=True)
        for hands, seconds in ((True, handling.change_setting_s), (False, change_s(before, after)))
    ]

    returns = settings[0] != settings[-1]
    shoes = max(closing.shoes for closing in closings)

    def steps(pairs: float, *, back: bool) -> tuple[_Step, ...]:
        done: list[_Step] = []
        for index, part in enumerate(parts):
            last = index == len(parts) - 1
            laid = 0 if index else shoes
            done += _part_steps(part, pairs, per_pair, bench, handling, laid=laid, last=last)
            if not last:
                done += changes[2 * index : 2 * index + 2]
        if back and returns:
            done[1:1] = changes[-2:]  # the load before left the press at its last setting
        if packs:
            done.append(_Step("pack", "none", True, _ms(pairs * handling.pack_pair_s)))
        return tuple(step for step in done if step.ms)

    full, rest = divmod(run.pairs, at_once)
    counts = [(at_once, full * per_pair)] + ([(rest, per_pair)] if rest else [])
    inner = len(parts) - 1
    fresh = bench.presses  # presses at the first setting
    groups: list[_Group] = []
    for pairs, count in counts:
        first = min(count, fresh) if returns else count
        fresh -= first
        groups += [
            _Loads(steps(pairs / per_pair, back=False), first, inner, shoes * pairs / per_pair),
            _Loads(steps(pairs / per_pair, back=True), count - first, inner + 1, shoes * pairs / per_pair),
        ]
    return groups


def _part_steps(
    part: Sequence[Closing],
    pairs: float,
    per_pair: int,
    bench: Bench,
    handling: Handling,
    *,
    laid: int,
    last: bool,
) -> Iterator[_Step]:
    """Yield the steps of a load through closings at one setting, for so many pairs; `laid` shoes of each are laid."""
    for number, closing in enumerate(part):
        cycles = closing.closings // per_pair
        for cycle in range(cycles):
            begins = bool(laid) and not number and not cycle
            ends = last and number == len(part) - 1 and cycle == cycles - 1
            film_s = closing.placed * handling.position_s + closing.taped * handling.tape_s
            load_s = pairs * (film_s / cycles + (laid * handling.load_shoe_s if begins else 0.0))
            yield _Step("load", "table" if begins and bench.tables else "press", True, _ms(load_s))
            yield _Step("dwell", "press", bench.attended, _ms(closing.dwell_s))
            opened: Place = "cooling" if ends and bench.wait == "overlapped" and closing.wait_s else "press"
            yield _Step("wait", opened, bench.wait == "standing", _ms(closing.wait_s))
            yield _Step("peel", opened, True, _ms(pairs * closing.placed * handling.peel_s / cycles))


class _Active:
    """A load on the bench: its group, its next or current step, its place, and when the step ends."""

    __slots__ = ("end", "group", "place", "step", "steps")

    def __init__(self, group: int, steps: tuple[_Step, ...]) -> None:
        self.group = group
        self.steps = steps
        self.step = 0
        self.place: Place = "none"
        self.end: int | None = None


_PRIORITY: Final[dict[Place, int]] = {"press": 0, "cooling": 1, "table": 2, "none": 3}
_HANDS, _ATTENDING, _STANDING, _PRESS, _COOLING = range(5)


class _Tally(NamedTuple):
    """Sums of a simulation [ms], changes of setting, and loads."""

    elapsed_ms: int
    hands_ms: int
    attending_ms: int
    standing_ms: int
    press_ms: int
    cooling_ms: int
    settings_made: int
    loads: int
    shoes_laid: float


class _Simulation:
    """The bench at one moment, and the sums so far."""

    def __init__(self, bench: Bench, groups: Sequence[_Group]) -> None:
        self._groups = groups
        self._presses = bench.presses
        self._cooling_places = bench.cooling_places
        self._free: dict[Place, int] = {
            "table": bench.tables,
            "press": bench.presses,
            "cooling": bench.cooling_places,
        }
        self._hands = bench.operators
        self._busy = [0, 0, 0]  # hands at work, attending, standing
        self._sums = [0, 0, 0, 0, 0]
        self._now = 0
        self._active: list[_Active] = []
        self._unpacked: deque[_Active] = deque()
        self._ends: list[tuple[int, int, _Active]] = []
        self._numbers = 0
        self._group = 0
        self._left = self._count()
        self._changing = False
        self._seen: dict[object, tuple[int, int, tuple[int, ...]]] = {}

    def run(self) -> _Tally:
        """Run to the end."""
        while True:
            while self._start_one():
                pass
            if not self._ends:
                break
            self._advance(self._ends[0][0])
            while self._ends and self._ends[0][0] == self._now:
                self._end(heapq.heappop(self._ends)[2])
        if self._active or self._unpacked or self._group < len(self._groups):
            raise RuntimeError("The bench came to a standstill with loads on it")
        loads = [group for group in self._groups if isinstance(group, _Loads)]
        between = (len(self._groups) - len(loads)) * self._presses
        hands, attending, standing, press, cooling = self._sums
        return _Tally(
            elapsed_ms=self._now,
            hands_ms=hands,
            attending_ms=attending,
            standing_ms=standing,
            press_ms=press,
            cooling_ms=cooling,
            settings_made=between + sum(group.copies * group.changes for group in loads),
            loads=sum(group.copies for group in loads),
            shoes_laid=sum(group.copies * group.shoes for group in loads),
        )

    def _count(self) -> int:
        group = self._groups[self._group] if self._group < len(self._groups) else None
        return group.copies if isinstance(group, _Loads) else 0

    def _advance(self, to: int) -> None:
        """Go on to a later time, and sum what is busy until then."""
        gone = to - self._now
        for index, busy in enumerate(self._busy):
            self._sums[index] += gone * busy
        pressing = self._presses if self._changing else self._presses - self._free["press"]
        self._sums[_PRESS] += gone * pressing
        self._sums[_COOLING] += gone * (self._cooling_places - self._free["cooling"])
        self._now = to

    def _start_one(self) -> bool:
        """Start one step that can be started, by priority; False where there is none."""
        free = bool(self._hands)
        waiting = [load for load in self._active if load.end is None and (free or not load.steps[load.step].hands)]
        if len(waiting) > 1:
            waiting.sort(key=lambda load: _PRIORITY[load.place])  # stable: older loads first
        for load in waiting:
            if self._start(load):
                return True
        crowded = len(self._unpacked) >= _UNPACKED_PER_PRESS * self._presses
        return (crowded and self._pack()) or self._next() or self._pack()

    def _start(self, load: _Active) -> bool:
        """Start the next step of a load, if its place and hands are free."""
        step = load.steps[load.step]
        if step.hands and not self._hands:
            return False
        if step.place not in {load.place, "none"}:
            if not self._free[step.place]:
                return False
            self._free[step.place] -= 1
            self._leave(load)
            load.place = step.place
        self._occupy(load, step)
        return True

    def _occupy(self, load: _Active, step: _Step) -> None:
        if step.hands:
            self._hands -= 1
            self._busy[_hands_for(step)] += 1
        load.end = self._now + step.ms
        self._numbers += 1
        heapq.heappush(self._ends, (load.end, self._numbers, load))

    def _leave(self, load: _Active) -> None:
        if load.place != "none":
            self._free[load.place] += 1
            load.place = "none"

    def _end(self, load: _Active) -> None:
        """End the current step of a load."""
        step = load.steps[load.step]
        if step.hands:
            self._hands += 1
            self._busy[_hands_for(step)] -= 1
        load.end = None
        load.step += 1
        if load.group < 0:
            if load.step == len(load.steps):
                self._changing = False
                self._active.remove(load)
            return
        following = load.steps[load.step] if load.step < len(load.steps) else None
        if following is None or following.place == "none":
            self._leave(load)
            if load in self._active:
                self._active.remove(load)
            if following is not None:
                self._unpacked.append(load)

    def _pack(self) -> bool:
        """Start packing the load that has waited longest."""
        if not self._unpacked or not self._hands:
            return False
        load = self._unpacked.popleft()
        self._occupy(load, load.steps[load.step])
        return True

    def _next(self) -> bool:
        """Start a new load, or change the setting once the presses are empty."""
        if self._group >= len(self._groups) or self._changing:
            return False
        group = self._groups[self._group]
        if isinstance(group, _Change):
            if any(load.place in {"press", "table"} for load in self._active):
                return False
            steps = (
                _Step("change", "none", True, group.hands_ms * self._presses),
                _Step("change", "none", False, group.platen_ms),
            )
            load = _Active(-1, steps)
            if not self._start(load):
                return False
            self._active.append(load)
            self._changing = True
            self._turn_to_next_group()
            return True
        load = _Active(self._group, group.steps)
        first = group.steps[0]
        if (first.hands and not self._hands) or (first.place != "none" and not self._free[first.place]):
            return False
        self._skip_periods()
        if first.place == "none":
            self._unpacked.append(load)
        else:
            self._start(load)
            self._active.append(load)
        self._left -= 1
        if not self._left:
            self._turn_to_next_group()
        return True

    def _turn_to_next_group(self) -> None:
        self._group += 1
        self._left = self._count()
        self._seen.clear()

    def _skip_periods(self) -> None:
        """Skip whole periods of identical loads where the bench is in a state that it has been in before."""
        loads = [load for _, _, load in self._ends] + [*self._unpacked, *self._active]
        if any(load.group != self._group for load in loads):
            return
        state = (
            tuple((load.step, load.place, None if load.end is None else load.end - self._now) for load in self._active),
            tuple(sorted((load.end or 0) - self._now for load in (running for _, _, running in self._ends))),
            len(self._unpacked),
        )
        before = self._seen.get(state)
        self._seen[state] = (self._now, self._left, tuple(self._sums))
        if before is None:
            return
        then, left, sums = before
        loads_each = left - self._left
        periods = (self._left - 1) // loads_each
        if not periods:
            return
        gone = periods * (self._now - then)
        self._left -= periods * loads_each
        self._sums = [now + periods * (now - past) for now, past in zip(self._sums, sums, strict=True)]
        self._now += gone
        for load in {id(load): load for load in loads}.values():
            if load.end is not None:
                load.end += gone
        self._ends = [(end + gone, number, load) for end, number, load in self._ends]
        self._seen.clear()


def _hands_for(step: _Step) -> int:
    """Return which sum the hands of a step count for."""
    return {"dwell": _ATTENDING, "wait": _STANDING}.get(step.kind, _HANDS)
