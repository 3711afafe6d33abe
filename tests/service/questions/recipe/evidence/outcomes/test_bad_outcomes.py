"""The worst of what is known with every subset of a stack's bad outcomes."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from pressed_stacks import job_on, pressed

from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import Belief
from featherline_service.questions.recipe.evidence.known import known_of
from featherline_service.questions.recipe.evidence.outcomes import bad_outcomes
from featherline_service.questions.recipe.evidence.outcomes.bad_outcomes import bond_beliefs, harm_beliefs
from featherline_service.questions.recipe.evidence.sightings import Sighting
from featherline_service.questions.recipe.windows import Span, spans


def beliefs(book: Book, seen: tuple[Sighting, ...], stated: tuple[Sighting, ...] = ()) -> list[tuple[Belief, ...]]:
    """Return what is known of both ends on the lined leather."""
    known = known_of(book, stated, seen)
    return [each(book, known, job_on(book)._replace(press="swing")) for each in (bond_beliefs, harm_beliefs)]


def window(book: Book, upper: str, seen: tuple[Sighting, ...]) -> Span:
    """Return the window of smooth film at 160 degC under the thin sheet."""
    job = job_on(book, upper)._replace(press="swing", sightings=seen)
    return spans(book, job, "silicone-thin", [160.0], platen_spread_k=3.0, guard_k=0.0)[0]


def bad(book: Book, count: int, upper: str = "leather-lined") -> tuple[Sighting, ...]:
    """Return pressings of which no film held and every upper shone."""
    return tuple(
        pressed(book, upper=upper, platen_c=150.0 + 5.0 * at, dwell_s=30.0 - 3.0 * at, bond="lifts", looks="shiny")
        for at in range(count)
    )


@pytest.mark.parametrize(("count", "subsets"), [(0, 1), (1, 2), (2, 4), (3, 8)])
def test_every_subset_counts(book: Book, count: int, subsets: int) -> None:
    """Of a few bad outcomes of one stack every subset counts, for either end."""
    assert [subsets, subsets] == [len(each) for each in beliefs(book, bad(book, count))]


def test_one_more_changes_no_subset(book: Book) -> None:
    """What is known with some bad outcomes is known with one more of them still, to the last bit."""
    seen = (pressed(book, bond="holds", looks="unchanged"), *bad(book, 3))
    for fewer, more in pairwise(beliefs(book, seen[: 1 + count]) for count in range(4)):
        for end, longer in zip(fewer, more, strict=True):
            means = [dict(zip(belief.parameters, belief.mean.tolist(), strict=True)) for belief in longer]
            for belief in end:
                mean = dict(zip(belief.parameters, belief.mean.tolist(), strict=True))
                assert any(mean == {name: other.get(name, 0.0) for name in mean} for other in means)


def test_many_are_taken_by_few_subsets(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of more bad outcomes than a few, the subsets are none, each one, all but one, and all; of many, none and all."""
    monkeypatch.setattr(bad_outcomes, "EVERY", 3)
    monkeypatch.setattr(bad_outcomes, "MOST", 4)
    assert [10, 10] == [len(each) for each in beliefs(book, bad(book, 4))]
    assert [2, 2] == [len(each) for each in beliefs(book, bad(book, 5))]


def test_other_stacks_count_together(book: Book) -> None:
    """Bad outcomes of other stacks, and of statements, are in every subset but the one without any."""
    others = bad(book, 3, "suede")
    assert [2, 2] == [len(each) for each in beliefs(book, others)]
    assert [3, 3] == [len(each) for each in beliefs(book, (*others, *bad(book, 1)))]
    assert [3, 3] == [len(each) for each in beliefs(book, bad(book, 1), bad(book, 1, "suede"))]


def test_second_bad_look_does_not_explain_the_first(book: Book) -> None:
    """A knit that shone at 165 degC after 10 s stands no more once it also shone at 138 degC after 42 s."""
    seen = [
        pressed(book, upper="polyester-knit", platen_c=platen_c, dwell_s=dwell_s, looks="shiny")
        for platen_c, dwell_s in ((165.0, 10.0), (138.0, 42.0))
    ]
    first, both = window(book, "polyester-knit", (seen[0],)), window(book, "polyester-knit", tuple(seen))
    assert both.sure_to_s <= first.sure_to_s
    assert both.longest_s <= first.longest_s
    known = known_of(book, (), tuple(seen))
    assert known.harm_at_worst is not None
    assert np.isfinite(known.harm_at_worst.mean).all()
