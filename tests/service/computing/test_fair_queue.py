"""Whose turn it is."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from featherline_service.computing.fair_queue import FairQueue


def always(_item: object) -> bool:
    """Let every item begin."""
    return True


def taken(queue: FairQueue[str], count: int) -> list[str | None]:
    """Take so many items."""
    return [queue.take(always) for _ in range(count)]


def test_who_asks_little_comes_between_those_who_ask_much() -> None:
    """Ten long items are in line when a short one comes: it waits for one of them at the most."""
    queue: FairQueue[str] = FairQueue()
    for number in range(10):
        queue.put("heavy", f"heavy {number}", 1.0, 0.0)
    assert ["heavy 0"] == taken(queue, 1)
    queue.put("light", "light", 0.01, 1.0)

    assert ["light", "heavy 1"] == taken(queue, 2)
    assert (8, 8) == (len(queue), len(list(queue)))


def test_shares_are_of_processor_time_and_not_of_items() -> None:
    """A caller whose items take a third as long has three times as many done."""
    queue: FairQueue[str] = FairQueue()
    for _ in range(40):
        queue.put("long", "long", 3.0, 0.0)
        queue.put("short", "short", 1.0, 0.0)
    order = taken(queue, 40)

    assert (10, 30) == (order.count("long"), order.count("short"))


def test_half_the_weight_is_half_the_share() -> None:
    """An item that is put in for twice its time counts twice."""
    queue: FairQueue[str] = FairQueue()
    for _ in range(30):
        queue.put("bulk", "bulk", 2.0, 0.0)
        queue.put("single", "single", 1.0, 0.0)
    order = taken(queue, 30)

    assert (10, 20) == (order.count("bulk"), order.count("single"))


def test_what_an_item_took_beyond_its_estimate_is_charged() -> None:
    """Who was thought to take little, and took much, comes later than another."""
    queue: FairQueue[str] = FairQueue()
    for number in range(2):
        queue.put("sly", f"sly {number}", 0.1, 0.0)
        queue.put("honest", f"honest {number}", 1.0, 0.0)
    assert {"sly 0", "honest 0"} == {*taken(queue, 2)}
    queue.charge("sly", 5.0)

    assert ["honest 1", "sly 1"] == taken(queue, 2)


def test_who_was_away_has_saved_nothing_up() -> None:
    """A caller that comes late shares from then on; it is not let in front for as long as it was away."""
    queue: FairQueue[str] = FairQueue()
    for _ in range(20):
        queue.put("always", "always", 1.0, 0.0)
    taken(queue, 10)
    for _ in range(10):
        queue.put("late", "late", 1.0, 0.0)
    order = taken(queue, 10)

    assert 4 <= order.count("late") <= 6


def test_within_a_caller_short_work_is_first_but_none_waits_for_ever() -> None:
    """A short item overtakes a long one that came at the same time, but not one that came ten times as much earlier."""
    queue: FairQueue[str] = FairQueue()
    queue.put("till", "long", 1.0, 0.0)
    queue.put("till", "short", 0.1, 0.0)
    queue.put("till", "late", 0.1, 60.0)

    assert ["short", "long", "late"] == taken(queue, 3)


def test_what_may_not_begin_lets_others_pass() -> None:
    """It keeps its place; another of its own caller does not overtake it."""
    queue: FairQueue[str] = FairQueue()
    queue.put("heavy", "big", 1.0, 0.0)
    queue.put("heavy", "big, too", 1.0, 1.0)
    queue.put("light", "small", 2.0, 0.0)

    assert "small" == queue.take(lambda item: item != "big")
    assert queue.take(lambda item: item != "big") is None
    assert ["big", "big, too", None] == taken(queue, 3)


def test_more_of_the_same_caller_is_taken_with_an_item() -> None:
    """In their order, while there are any; a caller without any has none."""
    queue: FairQueue[str] = FairQueue()
    queue.put("bulk", "deck", 1.0, 0.0)
    queue.put("bulk", "boot", 1.0, 1.0)

    assert ["deck", "boot", None, None] == [
        queue.take_another("bulk"),
        queue.take_another("bulk"),
        queue.take_another("bulk"),
        queue.take_another("nobody"),
    ]


@given(st.lists(st.tuples(st.sampled_from("abc"), st.floats(0.001, 10)), max_size=60))
def test_every_item_is_taken_once(items: list[tuple[str, float]]) -> None:
    """Whoever puts in what, and however wrong estimates were; afterwards nothing is kept of anybody."""
    queue: FairQueue[int] = FairQueue()
    for number, (caller, seconds) in enumerate(items):
        queue.put(caller, number, seconds, float(number))
    order = []
    while (item := queue.take(always)) is not None:
        order.append(item)
        queue.charge(items[item][0], items[item][1] * 0.5)

    assert sorted(order) == list(range(len(items)))
    assert 0 == len(queue)
