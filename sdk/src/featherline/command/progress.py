"""The progress of long work, as a line on a terminal."""

from __future__ import annotations

import time
from types import TracebackType
from typing import Final, Self, TextIO

_BAR_WIDTH: Final = 24
_INTERVAL_S: Final = 0.1


class Progress:
    """Shows the progress of work on one line of a terminal, a few times a second.

    Args:
        stream: The terminal; on any other stream nothing is shown.
        total: The amount of work, in any measure; None if it is not known.
        shown: Whether to show anything at all.
    """

    def __init__(self, stream: TextIO, total: int | None, *, shown: bool = True) -> None:
        self._stream = stream
        self._total = total
        self._shown = shown and stream.isatty()
        self._start = time.monotonic()
        self._last_shown = 0.0
        self._lines = 0
        self._done = 0

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Show the last state, and end the line."""
        if self._shown and self._last_shown:
            self._stream.write(f"\r{self._line()}\n")
            self._stream.flush()

    def update(self, lines: int, done: int) -> None:
        """Set the number of lines answered, and the amount of work done."""
        if not self._shown:
            return
        self._lines, self._done = lines, done
        now = time.monotonic()
        if now - self._last_shown >= _INTERVAL_S:
            self._last_shown = now
            self._stream.write(f"\r{self._line()}")
            self._stream.flush()

    def _line(self) -> str:
        rate = self._lines / max(time.monotonic() - self._start, 1e-3)
        count = f"{self._lines:,} lines, {rate:,.0f} a second"
        if not self._total:
            return count.ljust(40)
        share = min(1.0, self._done / self._total)
        filled = round(share * _BAR_WIDTH)
        return f"[{'#' * filled}{'.' * (_BAR_WIDTH - filled)}] {share:4.0%}  {count}".ljust(70)
