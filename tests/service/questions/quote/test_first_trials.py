from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace
from plain_marks import LAYER, RECIPE, SETTING, asked, marks_of, read

from featherline.wire.recipes import OldMark, Setting
from featherline.wire.shoes import MeasuredPanel, MeasuredShoe, Rectangle
from featherline.wire.trials import Rung, Trial
from featherline_service.book.shop_book import Book
from featherline_service.questions.quote import first_trials
from featherline_service.questions.quote.first_trials import risk, trial_work, trials_of
from featherline_service.questions.quote.work import shoe_chance
from featherline_service.questions.trial.trials import TrialTask

TRIED = replace(RECIPE, verdict="trial")


def trial(*rungs: tuple[float, bool], film: str = "smooth", cover: str | None = "silicone-thin") -> Trial:
    """Return a trial of rungs: their dwells, and whether they press film."""
    settings: list[tuple[Setting, bool]] = [
        (replace(SETTING, dwell_s=dwell_s, cover=cover), is_film) for dwell_s, is_film in rungs
    ]
    return Trial(
        verdict="trial",
        reasons=(),
        film=film,
        press="swing",
        candidates=(),
        places=(),
        before=(),
        rungs=tuple(Rung(setting=setting, film=is_film, predicted=(), outcomes=()) for setting, is_film in settings),
        looks=(),
        stop=(),
        afterwards=(),
        cautions=(),
    )


LADDER = trial((5.0, False), (8.0, True), (14.0, True))


def test_every_mark_that_is_to_be_tried_first_has_a_trial(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """By its pointer, on its own panel and without old marks; none where no rung can be pressed."""
    tasks: list[TrialTask] = []

    def trial_of(_: Book, task: TrialTask) -> Trial:
        tasks.append(task)
        return trial() if task.panel == "toe" else LADDER

    monkeypatch.setattr(first_trials, "trial_of", trial_of)
    panels = "outer-quarter", "inner-quarter", "toe"
    old = (OldMark(film="glow"),)
    order = read(book, *(asked(panel=panel, old_marks=old) for panel in panels), owner="shop")
    marks = marks_of(book, order, [RECIPE, TRIED, TRIED])

    assert {"/placements/1": LADDER} == trials_of(book, order, marks)
    assert [("inner-quarter", "shop"), ("toe", "shop")] == [(task.panel, task.owner) for task in tasks]
    assert [marks[1].task._replace(old_marks=()), marks[2].task._replace(old_marks=())] == [
        task.recipe for task in tasks
    ]
    assert all(task.shoe is order.shoe for task in tasks)
    assert marks[1].task.old_marks == old
    assert {} == trials_of(book, order, marks_of(book, order, [replace(RECIPE, verdict="decline")] * 3))


def test_a_trial_is_work_of_all_its_rungs(book: Book) -> None:
    """Every dwell is pressed, and film on as many of them as press it."""
    order = read(book, asked())
    (work,) = trial_work(book, order, marks_of(book, order), {"/placements/0": LADDER})

    assert ("regatta-deck", "outer-quarter", (5.0, 8.0, 14.0), 2) == (
        work.shoe,
        work.panel,
        work.dwells_s,
        work.test_marks,
    )
    assert (book.films["smooth"], book.covers["silicone-thin"]) == (work.film, work.cover)
    (bare,) = trial_work(book, order, marks_of(book, order), {"/placements/0": trial((9.0, True), cover=None)})
    assert (None, 1) == (bare.cover, bare.test_marks)


def test_equal_trials_are_work_once(book: Book) -> None:
    """On the panel of the first placement that asks for it, in the order of the last ones."""
    panels = "outer-quarter", "inner-quarter", "toe"
    order = read(book, *(asked(panel=panel) for panel in panels))
    marks = marks_of(book, order)
    other = trial((7.0, True))
    trials = {"/placements/0": LADDER, "/placements/1": other, "/placements/2": LADDER}
    work = trial_work(book, order, marks, trials)

    assert {("outer-quarter", 3), ("inner-quarter", 1)} == {(one.panel, len(one.dwells_s)) for one in work}
    assert 2 == len(work)
    assert () == trial_work(book, order, marks, {})


def test_a_measured_shoes_trial_is_its_own(book: Book) -> None:
    """It is no model whose sizes share a trial."""
    panel = MeasuredPanel(panel="side", shape=Rectangle(width="80 mm", height="40 mm"), curvature="flat")
    shoe = MeasuredShoe(label="textile", panels=(panel,), inside_length="270 mm")
    order = read(book, asked(panel="side"), shoe=shoe)
    (work,) = trial_work(book, order, marks_of(book, order), {"/placements/0": LADDER})

    assert (shoe, "side") == (work.shoe, work.panel)


@pytest.mark.parametrize(
    ("placements", "trials", "shoes"),
    [
        ([{}], ["/placements/0"], 2),
        ([{"sides": "left"}], ["/placements/0"], 1),
        ([{}, {"panel": "inner-quarter", "sides": "right"}], ["/placements/0", "/placements/1"], 3),
        ([{}, {"panel": "inner-quarter", "sides": "right"}], ["/placements/1"], 1),
    ],
)
def test_the_risk_is_that_any_shoe_is_spoilt_untried(
    book: Book, placements: list[dict[str, Any]], trials: list[str], shoes: int
) -> None:
    """Every shoe that a mark to be tried is on counts once, by the chance of its recipe."""
    order = read(book, *(asked(**placement) for placement in placements))
    hot = replace(TRIED, layers=(replace(LAYER, peak_c=160.0, margin_k=8.0),))
    marks = marks_of(book, order, [hot] * len(placements))
    reason = risk(book, order, marks, dict.fromkeys(trials, LADDER))
    chance = 1.0 - (1.0 - shoe_chance(book, hot)) ** shoes

    assert ("shoe.trial-risk", "ready", "/owner", "share") == (
        reason.code,
        reason.verdict,
        reason.subject,
        reason.unit,
    )
    assert round(chance, 6) == reason.measure
    assert 0.01 < chance < 0.9
    assert f"with a chance of {chance:.1%} by the book's values" in reason.sentence


def test_whoever_owns_the_pair_bears_what_a_trial_does_not_show(book: Book) -> None:
    """A customer is to agree to it in writing; of the shop's own pair the cost is in the lines."""
    orders = [read(book, asked(), owner=owner) for owner in ("customer", "shop")]
    customer, shop = (
        risk(book, order, marks_of(book, order, [TRIED]), {"/placements/0": LADDER}).sentence for order in orders
    )

    assert "have that agreed in writing before the first rung" in customer
    assert "the pair is the shop's own" in shop
