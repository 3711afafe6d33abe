from __future__ import annotations

import sys
from types import SimpleNamespace
from typing import Any

import msgspec
import pytest

from featherline_service.cost.nesting import outline_search
from featherline_service.cost.nesting.outline_search import SEED, Laid, Piece, Search

SQUARE = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))
ASKED = Search(
    pieces=(Piece(SQUARE, 2, (0.0, 90.0)), Piece(SQUARE[:3], 1, (0.0,))), strip_mm=50.0, gap_mm=2.0, budget_s=3
)


class Library:
    """Stands for the search library: takes down what it is asked, and lays one copy."""

    def __init__(self) -> None:
        self.items: list[tuple[Any, ...]] = []
        self.config: dict[str, Any] = {}
        self.strip: tuple[Any, ...] = ()

    def Item(self, *item: Any) -> tuple[Any, ...]:  # noqa: ANN401, N802 - the library's name
        """Return an item."""
        self.items.append(item)
        return item

    def StripPackingConfig(self, **config: Any) -> dict[str, Any]:  # noqa: ANN401, N802 - as above
        """Return a configuration."""
        self.config = config
        return config

    def StripPackingInstance(self, name: str, strip_mm: float, items: list[Any]) -> SimpleNamespace:  # noqa: N802
        """Return an instance that solves itself."""
        self.strip = name, strip_mm, len(items)
        placed = SimpleNamespace(id="1", rotation=90.0, translation=(3.0, 4.0))
        return SimpleNamespace(solve=lambda _: SimpleNamespace(placed_items=[placed]))


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Library:
    """Return the library that is imported."""
    stand_in = Library()
    monkeypatch.setitem(sys.modules, "spyrrow", stand_in)  # type: ignore[arg-type]
    return stand_in


def test_a_search_asks_for_every_piece_and_is_repeatable(library: Library) -> None:
    """By its index, in its angles; with one thread and one seed, for as long as is asked."""
    assert [Laid(1, 90.0, 3.0, 4.0)] == outline_search.search(ASKED)
    assert [("0", SQUARE, 2, (0.0, 90.0)), ("1", SQUARE[:3], 1, (0.0,))] == library.items
    assert {"min_items_separation": 2.0, "total_computation_time": 3, "num_workers": 1, "seed": SEED} == library.config
    assert 50.0 == library.strip[1]


def test_without_a_gap_nothing_is_kept_between_pieces(library: Library) -> None:
    """The library takes none, not zero."""
    outline_search.search(msgspec.structs.replace(ASKED, gap_mm=0.0))

    assert library.config["min_items_separation"] is None
