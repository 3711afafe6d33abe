"""Numbers in the sentences of a recipe's reasons."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe import recipe_reasons

seconds = st.floats(0.001, 60.0)


@given(st.integers(1, 60).map(float), seconds, seconds)
def test_a_sure_bond_and_the_end_of_the_window_are_told_apart(dwell_s: float, more_s: float, past_s: float) -> None:
    """Said, the sure dwell is above the one set, and above the window's end where it is."""
    sure_s = dwell_s + more_s
    for end_s in (sure_s + past_s, max(sure_s - past_s, 0.0)):
        words = recipe_reasons._sure_and_end(dwell_s, sure_s, end_s)
        sure, end = (float(word) for word in words.replace(",", "").split() if word[0].isdigit())
        assert sure > dwell_s
        assert (sure < end, sure > end) == (sure_s < end_s, sure_s > end_s)


@pytest.mark.parametrize(
    ("more_s", "said"), [(0.04, "0.04 s"), (0.004, "0.004 s"), (0.06, "0.1 s"), (3.21, "3.2 s"), (12.3, "12 s")]
)
def test_longer_is_never_by_nothing(book: Book, more_s: float, said: str) -> None:
    """However little longer than published a dwell is, the remark does not say 0.0 s."""
    reason = recipe_reasons.longer_than_published(book.films["smooth"], 20.0 + more_s, 20.0, "bond line")
    assert f" are {said} more than" in reason.sentence
