from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pytest
from msgspec.structs import replace
from pressed_stacks import bond_share

from featherline.wire.recipes import Setting
from featherline.wire.records import Overpressing
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import prior
from featherline_service.heat.damage import step_peaks
from featherline_service.heat.pressing import AFTER_S
from featherline_service.heat.window import FINE_DWELLS_S
from featherline_service.heat.worst_case import Spread, layer_dwells, peak_bands
from featherline_service.questions.recipe.evidence.frames import heatings_of
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.windows import (
    Candidate,
    Span,
    candidates,
    layers_under_covers,
    places,
)
from featherline_service.questions.trial import setting_sequence
from featherline_service.questions.trial.setting_sequence import Forecast, Goal, Ladder, Step, TrialSetting

COVER: Final = "silicone-thin"


def span(shortest_s: float = 10.0, longest_s: float = 40.0, sure_from_s: float = 12.5) -> Span:
    """Return a window of dwells."""
    return Span(shortest_s, longest_s, sure_from_s, longest_s - 4.0, "cap", None, None, 10.0, 20.0)


def window(dwell_s: float | None, **of_span: float) -> Candidate:
    """Return a window at the goal's temperature, and the dwell to set."""
    return Candidate(COVER, 160.0, "medium", span(**of_span), dwell_s)


def goal(dwell_s: float, *windows: Candidate) -> Goal:
    """Return a goal at 160 degC."""
    return Goal(COVER, 160.0, dwell_s, {f"upper-{at}": one for at, one in enumerate(windows)})


def stops(*windows: Candidate, dwell_s: float = 12.0, step_s: float = 1.0) -> list[float]:
    """Return the dwells to be tried at the goal's temperature."""
    return setting_sequence._stops(goal(dwell_s, *windows), step_s)


@pytest.mark.parametrize(
    ("of_span", "dwells"),
    [
        ({"sure_from_s": 16.2}, [12.0, 17.0]),  # rounded up to the timer's step
        ({"sure_from_s": 16.0 + 1e-10}, [12.0, 16.0]),  # but for a rounding error
        ({"sure_from_s": math.inf}, [12.0]),
        ({"sure_from_s": 20.0, "longest_s": 15.7}, [12.0, 15.0]),  # not sure before it ends: its last step
        ({"sure_from_s": 20.0, "longest_s": 16.0 - 1e-10}, [12.0, 16.0]),
        ({"sure_from_s": 11.0}, [12.0]),  # the dwell to set is sure already
    ],
)
def test_a_ladder_stops_at_the_dwell_to_set_and_the_first_sure_one(
    of_span: dict[str, float], dwells: list[float]
) -> None:
    """Both of each upper's window, in steps of the timer and no longer than the window."""
    assert dwells == stops(window(12.0, **of_span))


def test_every_uppers_dwell_is_a_stop() -> None:
    """That of the goal too; an upper without a dwell has none, and half seconds count where the timer has them."""
    windows = window(18.0, sure_from_s=18.0), window(30.0, sure_from_s=11.0), window(None, sure_from_s=50.0)

    assert [8.0, 18.0, 30.0] == stops(*windows, dwell_s=8.0)
    assert [12.0, 16.5] == stops(window(12.0, sure_from_s=16.2), step_s=0.5)
    assert [12.0] == stops()


@pytest.mark.parametrize(
    ("dwells", "ends_s", "left"),
    [
        ((20.0, 21.0), 40.0, [21.0]),  # a twentieth longer: a hand can hardly tell them apart
        ((20.0, 21.5), 40.0, [20.0, 21.5]),
        ((20.0, 21.0), 20.5, [20.0, 21.0]),  # a window ends between them
        ((20.0, 21.0), 21.0, [21.0]),
        ((20.0, 21.0), 10.0, [21.0]),  # one that ended before both does not count
        ((20.0, 21.0), 20.0, [20.0, 21.0]),
        ((20.0, 21.0, 22.0), 40.0, [22.0]),
    ],
)
def test_of_two_dwells_alike_the_longer_is_tried(dwells: Sequence[float], ends_s: float, left: list[float]) -> None:
    """It serves both uppers, unless the window of one ends before it."""
    others = [window(dwell_s, sure_from_s=math.inf) for dwell_s in dwells]
    short = window(dwells[0], sure_from_s=math.inf, longest_s=ends_s)

    assert left == stops(*others, short, dwell_s=dwells[0])


def test_a_path_lengthens_heats_and_lengthens_again() -> None:
    """From 5 s or the timer's next step at the coolest, hotter at the shortest stop, to the longest at the goal's."""
    path = setting_sequence._path([100.0, 120.0, 140.0], [12.0, 16.0], 2.0)

    assert (
        *((100.0, 6.0), (100.0, 8.0), (100.0, 10.0)),
        *((100.0, 12.0), (120.0, 12.0), (140.0, 12.0)),
        *((140.0, 14.0), (140.0, 16.0)),
    ) == path


@pytest.mark.parametrize(
    ("stops_s", "step_s", "dwells"),
    [
        ([6.0], 0.5, [5.0, 5.5, 6.0]),
        ([5.0], 1.0, [5.0]),
        ([3.0, 5.0], 1.0, [3.0, 4.0, 5.0]),  # a goal shorter than a hand is sure of is begun with
        ([6.0, 6.5], 0.25, [5.0, 5.25, 5.5, 5.75, 6.0, 6.25, 6.5]),
        ([7.0, 8.0], 4.0, [7.0]),  # the first step of the timer is beyond the shortest stop
        ([6.0, 6.5, 7.5], 0.5, [5.0, 5.5, 6.0, 6.5, 7.0, 7.5]),
    ],
)
def test_a_path_begins_with_what_a_hand_can_do(stops_s: list[float], step_s: float, dwells: list[float]) -> None:
    """5 s (common practice, no source), or the shortest stop if that is shorter; the longest stop is the last."""
    path = setting_sequence._path([160.0], stops_s, step_s)

    assert dwells == [setting.dwell_s for setting in path]


@pytest.mark.parametrize(
    ("flags", "last"),
    [
        ([True, True, False, True], 1),
        ([False, True], -1),
        ([True], 0),
        ([True, True, True], 2),
        ([True, False], 0),
    ],
)
def test_the_last_flag_is_the_one_before_the_first_that_fails(flags: list[bool], last: int) -> None:
    """What is set after a gap does not count."""
    assert last == setting_sequence._last(np.array(flags))


def forecast(book: Book, upper: str, **flags: Any) -> Forecast:  # noqa: ANN401
    """Return the forecast of five settings for an upper, all of them harmless unless said."""
    every = np.ones(5, dtype=np.bool_)
    set_ = {name: np.array(values, dtype=np.bool_) for name, values in flags.items() if isinstance(values, list)}
    worst_k = np.full(5, flags.get("worst_k", 10.0))
    worst_k[-1] *= -1.0  # so that no other setting stands for the first
    plain = np.zeros(5)
    return Forecast(
        upper=book.uppers[upper],
        bonds=flags.get("bonds", True),
        sure=set_.get("sure", every),
        likely=set_.get("likely", every),
        kept=set_.get("kept", every),
        layer=("face",) * 5,
        peak_c=plain,
        limit_c=plain,
        margin_k=plain,
        worst_k=worst_k,
        share=plain,
    )


class Course:
    """A climb of five settings, 100 to 140 degC at 8 s, with forecasts and windows written by hand."""

    def __init__(self, book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
        self.book = book
        self.press = replace(book.presses["swing"], platen_spread_k=7.0)
        self.asked: list[tuple[object, ...]] = []
        self.spans: dict[str, Span] = {}
        self.forecasts: dict[str, Forecast] = {}
        self.path: tuple[TrialSetting, ...] = ()
        monkeypatch.setattr(setting_sequence, "spans", self._spans)
        monkeypatch.setattr(setting_sequence, "_forecast", self._forecast)

    def _spans(self, book: Book, job: Job, cover: str, platens_c: Sequence[float], **rest: float) -> tuple[Span]:
        assert book is self.book
        self.asked.append((job.upper.id, cover, tuple(platens_c), rest))
        return (self.spans[job.upper.id],)

    def _forecast(self, book: Book, job: Job, cover: str, path: Sequence[TrialSetting], press: object) -> Forecast:
        assert (self.book, COVER, self.press) == (book, cover, press)
        assert all(setting in path for setting in self.path)
        return self.forecasts[job.upper.id]

    def climb(self, *forecasts: Forecast, **spans: Span) -> Ladder:
        """Climb to 140 degC and 8 s, or, of an upper named in `spans`, in its window."""
        self.forecasts = {one.upper.id: one for one in forecasts}
        never = span(math.inf, 40.0, math.inf)
        self.spans = {name: spans.get(name, never) for name in self.forecasts}
        jobs = [Job("smooth", one.upper, "silicone-foam", 276.0) for one in forecasts]
        aim = Goal(COVER, 140.0, 8.0, {})
        return setting_sequence.climb(self.book, jobs, aim, [120.0, 140.0], self.press)


@pytest.fixture
def course(book: Book, monkeypatch: pytest.MonkeyPatch) -> Course:
    """Return a climb over (120 degC, 5 to 7 s), (120 degC, 8 s) and (140 degC, 8 s)."""
    return Course(book, monkeypatch)


def rungs(ladder: Ladder) -> list[int]:
    """Return the settings of a ladder's rungs, by their index on the path."""
    return [step.at for step in ladder.steps]


def test_a_ladder_of_what_harms_nothing_is_its_goal(course: Course) -> None:
    """Its only rung is the goal's setting, and the path leads up to it."""
    course.path = (TrialSetting(120.0, 5.0), TrialSetting(140.0, 8.0))
    ladder = course.climb(forecast(course.book, "canvas"))

    assert [(120.0, 5.0), (120.0, 6.0), (120.0, 7.0), (120.0, 8.0), (140.0, 8.0)] == [*ladder.path]
    assert ([4], True, None, None) == (rungs(ladder), ladder.reaches, ladder.blocked, ladder.unsafe)
    assert [("canvas", COVER, (140.0,), {"platen_spread_k": 7.0, "guard_k": 0.0})] == course.asked


def test_the_first_rung_surely_harms_none(course: Course) -> None:
    """It is the last setting before the first that is not sure for one of the uppers; the next goes on to the goal."""
    shy = forecast(course.book, "suede", sure=[True, True, False, False, False])
    ladder = course.climb(forecast(course.book, "canvas", bonds=False), shy)

    assert [1, 4] == rungs(ladder)
    assert [("canvas", "suede")] * 2 == [step.possible for step in ladder.steps]
    assert ladder.reaches


def test_a_ladder_whose_first_setting_is_unsafe_is_none(course: Course) -> None:
    """It names the upper with the smallest margin at worst of those for which it is not safe."""
    never = [False] * 5
    ladder = course.climb(
        forecast(course.book, "canvas", worst_k=-30.0),
        forecast(course.book, "suede", sure=never, worst_k=-4.0),
        forecast(course.book, "glossy", sure=never, worst_k=-5.0),
    )

    assert ("glossy", (), False, None) == (ladder.unsafe, ladder.steps, ladder.reaches, ladder.blocked)
    assert ["canvas", "suede", "glossy"] == [*ladder.forecasts]


def test_no_rung_passes_what_a_possible_upper_stands(course: Course) -> None:
    """The ladder climbs as far as every upper likely stands, and is blocked by the first that ends it."""
    shy = forecast(course.book, "suede", sure=[True] + [False] * 4, likely=[True, True, True, False, False])
    shyer = forecast(course.book, "glossy", sure=[True] + [False] * 4, likely=[True, True, False, False, False])
    ladder = course.climb(forecast(course.book, "canvas"), shy, shyer)

    assert ([0, 1], "glossy", False) == (rungs(ladder), ladder.blocked, ladder.reaches)


@pytest.mark.parametrize(("name", "others"), [("likely", "kept"), ("kept", "likely")])
def test_limits_of_the_shoe_and_of_the_film_end_a_ladder_alike(course: Course, name: str, others: str) -> None:
    """Either ends it where it is passed first."""
    flags = {name: [True, True, False, False, False], others: [True, True, True, False, False]}
    ladder = course.climb(forecast(course.book, "canvas", sure=[True] + [False] * 4, **flags))

    assert ([0, 1], "canvas") == (rungs(ladder), ladder.blocked)


def test_a_ladder_whose_first_rung_is_the_last_it_may_press_is_blocked(course: Course) -> None:
    """Nothing is left to climb to."""
    ends = [True, False, False, False, False]
    ladder = course.climb(forecast(course.book, "canvas", sure=ends, likely=ends))

    assert ([0], "canvas") == (rungs(ladder), ladder.blocked)


def test_uppers_that_must_have_bonded_are_ruled_out(course: Course) -> None:
    """The next rung is for the others alone, and may pass what those stood; without any that bonds there is none."""
    shy = forecast(course.book, "suede", sure=[True, True] + [False] * 3, likely=[True, True] + [False] * 3)
    easy = forecast(course.book, "canvas")
    bonded = span(4.0, 40.0, 6.0)
    ladder = course.climb(easy, shy, suede=bonded)

    assert [(1, ("canvas", "suede")), (4, ("canvas",))] == [(step.at, step.possible) for step in ladder.steps]
    assert Step(1, ("canvas", "suede"), frozenset({"suede"}), frozenset({"suede"})) == ladder.steps[0]
    rubber = forecast(course.book, "rubber", bonds=False)
    alone = course.climb(rubber, shy, suede=bonded)
    assert ([1], None) == (rungs(alone), alone.blocked)
    assert "rubber" not in alone.steps[0].may_bond


@pytest.mark.parametrize(
    ("window", "may", "must"),
    [
        (span(10.0, 40.0, 12.5), True, False),  # the best case of 10 s is 8 s, as far below as 12.5 s is above
        (span(10.1, 40.0, 12.5), False, False),
        (span(10.0, 40.0, 12.4), False, False),
        (span(7.0, 40.0, 8.0), True, True),
        (span(7.0, 40.0, 8.1), True, False),
        (span(7.0, 40.0, math.inf), True, False),
        (span(math.inf, 40.0, math.inf), False, False),
    ],
)
def test_a_bond_is_possible_from_its_best_case_and_certain_from_its_worst(
    course: Course, window: Span, may: bool, must: bool
) -> None:
    """The rung has 8 s, at the goal's temperature."""
    (step,) = course.climb(forecast(course.book, "canvas"), canvas=window).steps

    assert (may, must) == ("canvas" in step.may_bond, "canvas" in step.must_bond)


def test_a_surface_that_the_film_does_not_bond_to_never_bonds(course: Course) -> None:
    """Whatever its window says, which is not even computed."""
    (step,) = course.climb(forecast(course.book, "canvas", bonds=False), canvas=span(1.0, 40.0, 2.0)).steps

    assert (frozenset(), frozenset(), []) == (step.may_bond, step.must_bond, course.asked)


def test_rungs_stop_at_each_setting_that_suits_an_upper(book: Book, course: Course) -> None:
    """Between the first rung and the end of the path lie the stops at the goal's temperature, and no other dwell."""
    shy = forecast(book, "suede", sure=[True] + [False] * 5, likely=[True] * 6, kept=[True] * 6)
    course.forecasts, course.spans = {"suede": shy}, {"suede": span(math.inf, 40.0, math.inf)}
    windows = {"suede": window(12.0, sure_from_s=math.inf), "canvas": window(20.0, sure_from_s=math.inf)}
    aim = Goal(COVER, 160.0, 12.0, windows)
    jobs = [Job("smooth", book.uppers["suede"], "silicone-foam", 276.0)]
    press = course.press = replace(course.press, step_s=4.0)
    ladder = setting_sequence.climb(book, jobs, aim, [140.0, 150.0, 160.0], press)

    assert [(140.0, 8.0), (140.0, 12.0), (150.0, 12.0), (160.0, 12.0), (160.0, 16.0), (160.0, 20.0)] == [*ladder.path]
    assert ([0, 3, 5], True) == (rungs(ladder), ladder.reaches)


SETTINGS: Final = (
    TrialSetting(120.0, 8.0),
    TrialSetting(140.0, 8.0),
    TrialSetting(160.0, 8.0),
    TrialSetting(160.0, 20.0),
    TrialSetting(190.0, 45.0),
)


@pytest.fixture(scope="module")
def job(book: Book) -> Job:
    """Return smooth film on suede."""
    return Job("smooth", book.uppers["suede"], book.platens["shoe-form"].pad, 276.0)


def test_a_forecast_is_what_the_layers_of_the_shoe_get(book: Book, job: Job) -> None:
    """Peak, limit and margin of the layer nearest to its limit, from the response of the press itself."""
    press = book.presses["swing"]
    told = setting_sequence._forecast(book, job, COVER, SETTINGS, press)
    room_c = book.bench.room_c
    for at, (platen_c, dwell_s) in enumerate(SETTINGS):
        layers = []
        for stack, pressing in places(book, job, COVER):
            rise = step_peaks(pressing.pressed, pressing.opened, np.array([dwell_s]), AFTER_S).rise[:, 0]
            peak_c = room_c + (platen_c - room_c) * rise
            layers += [
                (limit_c - peak, peak, limit_c, name)
                for name, role, peak, limit_c in zip(stack.names, stack.roles, peak_c, stack.limits.peak_c, strict=True)
                if role == "upper"
            ]
        margin_k, peak, limit_c, name = min(layers)

        assert pytest.approx((margin_k, peak, limit_c), abs=0.5) == (
            told.margin_k[at],
            told.peak_c[at],
            told.limit_c[at],
        )
        assert name == told.layer[at]
    assert pytest.approx(told.limit_c - told.peak_c) == told.margin_k
    assert ("suede", True) == (told.upper.id, told.bonds)


def test_a_forecast_is_likely_and_sure_as_long_as_every_layer_stands_it(book: Book, job: Job) -> None:
    """Of the shoe's layers nominally and at worst; of all others nominally."""
    press = book.presses["swing"]
    told = setting_sequence._forecast(book, job, COVER, SETTINGS, press)
    stood = [
        (
            stack,
            layer_dwells(
                [(heating, Spread(np.zeros(len(parameters)), np.eye(len(parameters))))],
                np.array([setting.platen_c for setting in SETTINGS]),
                guard_k=0.0,
            )[0],
        )
        for parameters, stack, heating in heatings_of(book, job, COVER, prior(()), press.platen_spread_k)
    ]

    def least_s(at: int, name: str, *, shoe: bool) -> float:
        return min(
            float(getattr(dwells, name)[row, at])
            for stack, dwells in stood
            for row, role in enumerate(stack.roles)
            if (role == "upper") == shoe
        )

    for at, setting in enumerate(SETTINGS):
        assert told.likely[at] == (setting.dwell_s <= least_s(at, "nominal_s", shoe=True))
        assert told.sure[at] == (setting.dwell_s <= least_s(at, "worst_s", shoe=True))
        assert told.kept[at] == (setting.dwell_s <= least_s(at, "nominal_s", shoe=False))
    assert [True, False] == sorted(set(told.likely.tolist()), reverse=True)
    assert (told.worst_k < told.margin_k).all()
    assert ((told.worst_k >= 0.0) == told.sure).all()
    assert told.sure.sum() <= told.likely.sum()


def test_a_forecast_turns_at_the_dwell_that_a_layer_stands(book: Book, job: Job) -> None:
    """Without any guard: a thousandth less is likely or sure, a thousandth more is not."""
    press = book.presses["swing"]
    ((names, dwells),) = layers_under_covers(
        book, job, (COVER,), (190.0,), platen_spread_k=press.platen_spread_k, guard_k=0.0
    )
    own = {layer.name for layer in job.upper.layers}
    shoe = [row for row, name in enumerate(names) if name in own]
    likely_s, sure_s = (float(each[shoe, 0].min()) for each in (dwells.nominal_s, dwells.worst_s))
    path = [TrialSetting(190.0, share * dwell_s) for dwell_s in (sure_s, likely_s) for share in (0.999, 1.001)]
    told = setting_sequence._forecast(book, job, COVER, path, press)

    assert 0.0 < sure_s < likely_s < math.inf
    assert [True, False, False, False] == told.sure.tolist()
    assert [True, True, True, False] == told.likely.tolist()


def test_the_cover_sheet_too_is_to_be_kept(book: Book, job: Job) -> None:
    """A sheet that stands 130 degC is past its limit under a platen of 140 degC, and says nothing of the shoe."""
    sheet = book.materials["silicone-sheet"]
    shy = replace(sheet, limit=replace(sheet.limit, peak_c=130.0, exposure=None))
    own = replace(book, materials={**book.materials, sheet.id: shy})
    told, plain = (
        setting_sequence._forecast(books, job, COVER, SETTINGS[:3], own.presses["swing"]) for books in (own, book)
    )

    assert [True, False, False] == told.kept.tolist()
    assert [True, True, True] == plain.kept.tolist()
    assert plain.likely.tolist() == told.likely.tolist()


def test_the_worst_margin_lacks_the_spreads_of_peak_platen_and_limit(book: Book, job: Job) -> None:
    """They add up as independent values do, in every layer of the shoe; the smallest of their margins is told."""
    press = replace(book.presses["swing"], platen_spread_k=20.0)
    told = setting_sequence._forecast(book, job, COVER, SETTINGS, press)
    expected = []
    for platen_c, dwell_s in SETTINGS:
        margins = []
        for parameters, stack, heating in heatings_of(book, job, COVER, prior(()), 20.0):
            known = Spread(np.zeros(len(parameters)), np.eye(len(parameters)))
            properties = heating._replace(limit_k=0.0 * heating.limit_k, platen_k=0.0 * heating.platen_k)
            rises, bands = (each[:, 0] / 100.0 for each in peak_bands(properties, known, np.array([121.0])))
            for row, role in enumerate(stack.roles):
                if role != "upper":
                    continue
                rise, band = (np.interp(math.log(dwell_s), np.log(FINE_DWELLS_S), each[row]) for each in (rises, bands))
                excess_k, limits = platen_c - 21.0, stack.limits
                spread_k = math.hypot(excess_k * band, 20.0 * rise, limits.spread_k[row])
                margins.append(limits.peak_c[row] - 21.0 - excess_k * rise - spread_k)
        expected.append(min(margins))

    assert pytest.approx(expected, abs=0.5) == told.worst_k  # spreads are interpolated between five dwells


def test_a_bonds_share_is_its_dose_over_the_films(book: Book, job: Job) -> None:
    """It is 1 or more where the film bonds; a harm that the film's record states ends what is kept."""
    press, film = book.presses["swing"], book.films["smooth"]
    told = setting_sequence._forecast(book, job, COVER, SETTINGS, press)
    expected = [bond_share(book, job, COVER, platen_c, dwell_s).share for platen_c, dwell_s in SETTINGS]
    harm = Overpressing(longest_s=film.setting.longest_s, harm="it turns yellow", evidence="guess")
    shy = replace(book, films={**book.films, "smooth": replace(film, overpressing=harm)})
    longer = [TrialSetting(160.0, dwell_s) for dwell_s in range(8, 60, 4)]
    plain, harmed = (setting_sequence._forecast(books, job, COVER, longer, press) for books in (book, shy))
    limit = bond_share(shy, job, COVER, 160.0, 8.0).harmed

    assert pytest.approx(expected) == told.share
    assert (plain.kept & (plain.share <= limit)).tolist() == harmed.kept.tolist()
    assert {True, False} == set(harmed.kept.tolist())
    assert all(plain.kept)
    rubber = Job("smooth", book.uppers["rubber"], job.pad, job.kpa)
    bare, never = (setting_sequence._forecast(books, rubber, COVER, longer, press) for books in (book, shy))
    assert (False, False) == (bare.bonds, never.bonds)
    assert bare.kept.tolist() == never.kept.tolist()


def test_a_goal_has_the_windows_of_the_uppers_that_take_the_film(book: Book, job: Job) -> None:
    """Each at the setting's own cover sheet, temperature and pressure, without a guard."""
    press = book.presses["swing"]
    rubber = Job("smooth", book.uppers["rubber"], job.pad, job.kpa)
    setting = Setting(
        temperature_c=155.0, temperature_f=311.0, dwell_s=13.0, pressure="firm", pressure_kpa=414.0, cover="paper"
    )
    aim = setting_sequence.find_goal(book, [job, rubber], setting, press)
    expected = candidates(book, [job], ("paper",), (155.0,), pressure="firm", press=press, guard_k=0.0)

    assert ("paper", 155.0, 13.0) == (aim.cover, aim.platen_c, aim.dwell_s)
    assert {"suede": expected[0]} == aim.windows
