from __future__ import annotations

import pytest
from big_books import identifier

from featherline_service.identifiers import listed


def test_few_ids_are_all_listed_in_their_order() -> None:
    """Up to five, whatever was wanted; without any it says so."""
    assert "e, d, c, b, a" == listed("a", ["e", "d", "c", "b", "a"])
    assert "none" == listed("a", [])


@pytest.mark.parametrize(
    ("wanted", "first"),
    [
        ("leeward-halyard-175", "leeward-halyard-0175"),
        ("leeward-hlayard-0175", "leeward-halyard-0175"),
        ("leward-haliard-0175", "leeward-halyard-0175"),
        ("x" * 5_000, ""),
    ],
    ids=["dropped", "swapped", "misspelt", "unlike all"],
)
def test_of_many_ids_the_nearest_five_are_listed(wanted: str, first: str) -> None:
    """The one that was meant comes first, and the others are counted."""
    ids = sorted(identifier(number) for number in range(2_000))

    said = listed(wanted, ids)

    names, _, rest = said.partition(" and ")
    assert "1,995 more" == rest
    assert 5 == len(set(names.split(", ")) & set(ids))
    assert said.startswith(first)
