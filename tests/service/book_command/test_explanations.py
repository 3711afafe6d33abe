from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from featherline_service.book_command.explanations import explain, told
from featherline_service.book_command.opened_books import OpenedBook, open_book

Command = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def opened(written: Path) -> OpenedBook:
    """Return a book of one's own."""
    return open_book({}, str(written), datetime.now(UTC).timestamp())


def test_a_film_says_what_is_by_its_class(opened: OpenedBook) -> None:
    """Each value has its file, line and source; what is by class is a guess, and the guesses that matter come first."""
    lines = [line.strip() for line in told(explain(opened, "films", "gull"))]
    assert "setting.coolest_c = 155.0  [maker-sheet; films/films.toml:5]" in lines
    assert "setting.hottest_c = 155.0  [maker-sheet; films/films.toml:5]" in lines
    assert "roll.price.amount = 150.00  [the shop's own; films/films.toml:7]" in lines
    assert "colours[0].effect = none  [the shop's own; films/films.toml:8]" in lines
    assert "adhesive.onset_c = 112.0  [class-default, a guess; defaults/films.toml:12]" in lines
    assert lines[1].startswith("guesses that are most of the doubt of a verdict: needed_share.low (")
    after = lines[next(at for at, line in enumerate(lines) if line.startswith("needed_share.low")) + 1]
    assert "over its band the shortest dwell that bonds changes by -18 to +23 %" in after


@pytest.mark.parametrize(
    ("record", "said"),
    [
        ("materials/upper-leather", ["named by ", "uppers/leather-lined", "limit.peak_c = 168.0  [common-practice;"]),
        ("contacts/platen-cover", ["conductance_w_m2k", "guesses that are most of the doubt", "of the doubt; "]),
        ("uppers/cob", ["layers[0].thickness_mm = 1.4", "K nearer to its limit or farther from it", "by its class"]),
        ("covers/silicone-thin", ["named by benches/bench", "layers[0].thickness_mm = 0.2"]),
        ("pads/silicone-foam", ["thickness_mm = 8.0", "named by platens/shoe-form"]),
        ("presses/our-press", ["platen_spread_k = 8.0", "over its band the shortest dwell that bonds"]),
        ("policies/counter", ["named by benches/bench", "share = 0.60", "rows = alike  [the shop's own; where a rec"]),
        ("shoes/cob", ["width_mm = 102.0  [class-default, a guess; defaults/shoes.toml:"]),
        ("contacts/cover-film", ["conductance_w_m2k"]),
    ],
)
def test_records_of_every_kind_are_explained(opened: OpenedBook, record: str, said: list[str]) -> None:
    """What names the record, where its values are from, and what those that are uncertain do in a pressing."""
    kind, _, name = record.partition("/")
    text = "\n".join(told(explain(opened, kind, name)))
    for part in said:
        assert part in text


def test_what_no_film_can_be_pressed_on_has_no_effect(own: Path) -> None:
    """Foam that stands no pressing has values and sources, but matters to no setting."""
    with (own / "shoes" / "shoes.toml").open("a", encoding="utf-8") as file:
        file.write(
            '\n[[record]]\nid = "clog"\nname = "Clog"\nkind = "clog"\nprotective = false\nupper = "eva-foam"\n'
            'colour = "#ffffff"\npair_value = "30.00"\n'
            'panels = [{ id = "outer", face = "outer", outline = "M0 0H95V42H0Z" }]\n'
        )
    opened = open_book({}, str(own), datetime.now(UTC).timestamp())
    explained = explain(opened, "materials", "eva-foam")
    assert () == explained.pressings
    assert not any("over its band" in line for line in told(explained))


def test_a_book_is_explained_by_the_command(command: Command, written: Path) -> None:
    """The command prints the explanation, and names a record that is not there."""
    code, out, err = command("explain", "cutters/cutter", written)
    assert (0, "") == (code, err)
    assert out.startswith("cutters/cutter\n  named by benches/bench\n")
    code, out, err = command("explain", "films/gul", written)
    assert (2, "") == (code, out)
    assert err.startswith("There is no films/gul in the book; name a record, such as films/gull, ")
    code, out, err = command("explain", "gull", written)
    assert (2, "") == (code, out)
    assert err.startswith("There is no gull in the book; name a record, such as films/gull, ")
