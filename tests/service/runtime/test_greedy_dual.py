"""What a store lets go of: what is cheapest to have again for its bytes, and was not asked for lately."""

from __future__ import annotations

from collections.abc import Hashable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline_service.runtime.greedy_dual import Entry, GreedyDualStore


def entry(weight: int = 10, seconds: float = 1.0) -> Entry:
    """Return an entry of a weight and a cost; its value does not matter."""
    return Entry(object(), weight, seconds)


def fill(store: GreedyDualStore, **entries: Entry) -> None:
    """Put entries into a store, one after the other."""
    for key, each in entries.items():
        store[key] = each


def test_what_takes_long_for_its_bytes_stays() -> None:
    """The cheap one goes, however large the dear one is, and the large one where both took as long."""
    store = GreedyDualStore(30)
    fill(store, cheap=entry(seconds=1.0), dear=entry(seconds=3.0), other=entry(seconds=2.0), new=entry(seconds=2.0))
    assert {"dear", "other", "new"} == set(store)

    store = GreedyDualStore(30)
    fill(store, small=entry(weight=5), large=entry(weight=25), new=entry(weight=5))
    assert {"small", "new"} == set(store)


def test_of_two_that_are_worth_the_same_the_one_asked_for_later_stays() -> None:
    """Where all cost the same it is the longest unasked that goes."""
    store = GreedyDualStore(30)
    fill(store, one=entry(), two=entry(), three=entry())
    assert store["one"] is store.get("one")
    fill(store, four=entry())

    assert {"one", "three", "four"} == set(store)


def test_what_was_dear_once_goes_when_it_is_not_asked_for() -> None:
    """Others that come age it: there is room for two of them, and it is worth three times as much as they are."""
    store = GreedyDualStore(30)
    fill(store, dear=entry(seconds=3.0))
    came = 0
    while "dear" in store:
        came += 1
        store[came] = entry()

    assert 7 == came


def test_what_is_asked_for_again_and_again_stays() -> None:
    """Asked for, it is worth what it was at first, over what the last to go was worth."""
    store = GreedyDualStore(30)
    fill(store, dear=entry(seconds=3.0))
    for number in range(1_000):
        store[number] = entry()
        assert store["dear"].seconds == 3.0


def test_an_entry_can_be_put_anew_and_taken_out() -> None:
    """Put again, it is worth what it is now; taken out, it makes room and is not let go of a second time."""
    store = GreedyDualStore(30)
    fill(store, one=entry(seconds=9.0), two=entry(seconds=2.0), three=entry(seconds=3.0))
    store["one"] = entry(seconds=1.0)
    fill(store, four=entry(seconds=9.0))
    assert {"two", "three", "four"} == set(store)
    del store["two"]
    assert 20 == store.currsize
    fill(store, five=entry(seconds=9.0), six=entry(seconds=9.0))
    assert {"four", "five", "six"} == set(store)


def test_an_empty_store_has_nothing_to_let_go_of() -> None:
    """So it is at first, when it was cleared, and when all has gone."""
    store = GreedyDualStore(30)
    with pytest.raises(KeyError):
        store.popitem()
    fill(store, one=entry(), two=entry())
    store.clear()
    assert (0, 0) == (len(store), store.currsize)
    fill(store, three=entry())
    assert "three" == store.popitem()[0]
    with pytest.raises(KeyError):
        store.popitem()


def test_what_is_larger_than_all_drives_nothing_out() -> None:
    """It is refused, as by the library's own stores."""
    store = GreedyDualStore(30)
    fill(store, one=entry())
    with pytest.raises(ValueError, match="too large"):
        store["two"] = entry(weight=31)
    assert {"one"} == set(store)


Entries = st.lists(st.tuples(st.integers(0, 9), st.integers(1, 40), st.floats(0.0, 10.0)), max_size=60)


@given(Entries)
def test_it_does_as_the_paper_has_it(asked: list[tuple[int, int, float]]) -> None:
    """Entries asked for, or put where they are not there, stay as in GreedyDual-Size written out plainly.

    P. Cao, S. Irani, Cost-aware WWW proxy caching algorithms, USENIX Symposium on Internet Technologies and Systems,
    1997, figure 1 (from memory): H = L + cost / size at each hit and when it comes; the least H goes, and is L then.
    """
    store = GreedyDualStore(60)
    plain: dict[Hashable, tuple[float, int, Entry]] = {}
    inflation = 0.0
    for now, (key, weight, seconds) in enumerate(asked):
        if key in store:
            found = store[key]
            plain[key] = (inflation + found.seconds / found.weight, now, found)
        else:
            new = store[key] = entry(weight, seconds)
            while sum(each.weight for _, _, each in plain.values()) + weight > 60:
                least = min(plain, key=lambda each: plain[each][:2])
                inflation = plain.pop(least)[0]
            plain[key] = (inflation + seconds / weight, now, new)
        assert set(plain) == set(store)
        assert store.currsize == sum(each.weight for _, _, each in plain.values()) <= 60


def test_the_gain_is_what_it_is_for() -> None:
    """Of results that took 20 ms and steps on their way that took 4, results stay: few are computed twice.

    A hundred results of 16 kB, each with ten steps of 100 kB; in turns, in a store a tenth of the size of all.
    """
    store = GreedyDualStore(10_000_000)
    computed = 0
    for _ in range(3):
        for number in range(100):
            if number in store:
                store[number]
                continue
            computed += 1
            for step in range(10):
                store[number, step] = entry(weight=100_000, seconds=0.004)
            store[number] = entry(weight=16_000, seconds=0.02)

    assert 100 == computed
