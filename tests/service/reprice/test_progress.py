"""The progress of a run: a bar on a terminal, lines elsewhere."""

from __future__ import annotations

import io

from featherline_service.reprice.progress import shown
from featherline_service.reprice.runs import Totals


class Terminal(io.StringIO):
    """A terminal of which everything that is written is kept."""

    def isatty(self) -> bool:
        """Return that it is one."""
        return True


def test_elsewhere_a_line_is_written_every_ten_seconds() -> None:
    """What was skipped counts as done, and not for the rate."""
    now = 0.0
    out = io.StringIO()
    with shown(out, 5_000, lambda: now) as tell:
        for seconds, priced in ((4.0, 1_000), (10.0, 2_000), (12.0, 2_500), (25.0, 3_000)):
            now = seconds
            tell(Totals(priced=priced, skipped=1_000))

    assert "3,000 of 5,000 lines, 200 a second\n4,000 of 5,000 lines, 120 a second\n" == out.getvalue()


def test_on_a_terminal_a_bar_shows_the_share() -> None:
    """The bar ends with what was done last."""
    now = 0.0
    out = Terminal()
    with shown(out, 4_000, lambda: now) as tell:
        now = 10.0
        tell(Totals(priced=2_000, skipped=1_000))

    last = [line for line in out.getvalue().splitlines() if "lines" in line][-1]
    assert "75%" in last
    assert "3,000 of 4,000 lines, 200 a second" in last
