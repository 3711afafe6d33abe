"""Readings of thermocouples and strips."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pressed_stacks import pressed

from featherline_service.book.shop_book import Book
from featherline_service.evidence.agreement import innovations
from featherline_service.evidence.beliefs import mean_of, root_of
from featherline_service.heat.variation import interface_response, solved_stack, stack_at
from featherline_service.questions.recipe.evidence.gauges import CLOSING_S, layer_above, readings_of, stack_of
from featherline_service.questions.recipe.evidence.sightings import Reading, Sighting
from featherline_service.questions.recipe.stacks import logs_in

TIMES_S = (3.0, 6.0, 10.0, 15.0, 20.0, 30.0)


def read(book: Book, z: dict[tuple[str, ...], float], noise_k: float = 0.0, seed: int = 0) -> Sighting:
    """Return a pressing with readings at the bond line of the stack with some of its properties off."""
    sighting = pressed(book)
    stack = stack_of(book, sighting.job, sighting.cover)
    off = np.array([z.get(name, 0.0) for name in stack.properties])
    closed = stack_at(stack.closed, logs_in(stack, stack.properties), off)
    share = interface_response(solved_stack(closed), stack.upper, np.array(TIMES_S)).share
    room_c = book.bench.room_c
    error = noise_k * np.random.default_rng(seed).normal(size=share.size)
    values = room_c + (sighting.platen_c - room_c) * share + error
    return sighting._replace(
        readings=tuple(
            Reading("bond line", at, value, value, 1.0, "probe", 1.5)
            for at, value in zip(TIMES_S, values.tolist(), strict=True)
        )
    )


def test_nothing_read(book: Book) -> None:
    """Without readings nothing is known beyond the prior."""
    found = readings_of(book, ())
    assert ((), 0) == (found.belief.parameters, found.rows.sighting.size)


def test_readings_as_expected_leave_the_mean(book: Book) -> None:
    """Where a thermocouple reads what the book's values give, these are confirmed: means stay, spreads narrow."""
    found = readings_of(book, (read(book, {}),)).belief
    assert np.allclose(found.mean, 0.0, atol=1e-6)
    assert np.linalg.eigvalsh(found.covariance).min() < 0.5


def test_contact_is_found(book: Book) -> None:
    """A contact that is worse than the book has it is found in the bond line's temperature, as far as that tells."""
    name = ("contact", "platen-cover")
    found = readings_of(book, (read(book, {name: -1.5, ("contact", "cover-carrier"): -1.5}, noise_k=0.5),)).belief
    names = (name, ("contact", "cover-carrier"))
    mean, root = mean_of(found, names), root_of(found, names)
    # The two are in a row: their sum shows.
    assert pytest.approx(-3.0, abs=1.96 * math.sqrt((root @ root).sum())) == mean.sum()
    assert mean.sum() < -1.0


def test_gauges_share_their_bias(book: Book) -> None:
    """Readings that are all too high by less than the class allows are laid to the gauge in part."""
    hot = read(book, {})
    hot = hot._replace(
        readings=tuple(each._replace(low_c=each.low_c + 1.0, high_c=each.high_c + 1.0) for each in hot.readings)
    )
    found = readings_of(book, (hot,)).belief
    assert 0.1 < mean_of(found, [("gauge", "probe")])[0] < 1.2


def test_strip_tells_between_two_steps(book: Book) -> None:
    """A strip that turned at one step and not at the next tells less than a thermocouple, and not nothing."""
    exact = read(book, {("contact", "platen-cover"): -1.5})
    (strip,) = (
        exact._replace(
            readings=(
                exact.readings[4]._replace(
                    low_c=exact.readings[4].low_c - 3.0, high_c=exact.readings[4].low_c + 3.0, noise_k=2.0
                ),
            )
        ),
    )
    spreads = [
        np.linalg.eigvalsh(readings_of(book, (sighting,)).belief.covariance).min()
        for sighting in (exact._replace(readings=exact.readings[4:5]), strip)
    ]
    assert spreads[0] < spreads[1] < 0.99


def test_platen_of_no_press_is_not_learnt(book: Book) -> None:
    """Where no press of the book is named, its platen is no parameter."""
    found = readings_of(book, (read(book, {})._replace(press=None),)).belief
    assert not [name for name in found.parameters if name[0] == "platen"]


def test_layer_by_name(book: Book) -> None:
    """A reading names the layer whose upper face it is at, or the bond line."""
    sighting = pressed(book)
    stack = stack_of(book, sighting.job, sighting.cover)
    assert (stack.upper, stack.upper + 1) == (layer_above(stack, "bond line"), layer_above(stack, "textile lining"))
    with pytest.raises(ValueError, match="not in tuple"):
        layer_above(stack, "cardboard")


def test_a_clock_that_was_started_late_is_found(book: Book) -> None:
    """Readings half a second after their times go together, and show by how much the clock is off."""
    sighting = pressed(book)
    stack = stack_of(book, sighting.job, sighting.cover)
    times_s = np.array(TIMES_S)
    share = interface_response(solved_stack(stack.closed), stack.upper, times_s + 2.0 * CLOSING_S).share
    values = book.bench.room_c + (sighting.platen_c - book.bench.room_c) * share
    late = sighting._replace(
        readings=tuple(
            Reading("bond line", at, value, value, 0.2, "probe", 0.2)
            for at, value in zip(TIMES_S, values.tolist(), strict=True)
        )
    )
    found = readings_of(book, (late,))
    closing = ("closing", late.name)
    assert 0.5 < float(mean_of(found.belief, [closing])[0]) < 2.0
    assert float(root_of(found.belief, [closing])[0, 0]) < 0.95
    assert innovations(found.rows.observations).chance > 0.01
