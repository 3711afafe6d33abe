"""A line on a terminal that says how far long work has come; nothing anywhere else."""

from __future__ import annotations

import time
from types import TracebackType
from typing import Final, Self, TextIO

_BAR_WIDTH: Final = 24
_EVERY_S: Final = 0.1


class Progress:
    """Says how far work has come, on one line of a terminal, a few times a second.

    Args:
        stream: Where to say it; nothing is said where that is no terminal.
        whole: How much there is to do, in whatever measure; None when nobody knows.
        shows: Whether anything is to be said at all.
    """

    def __init__(self, stream: TextIO, whole: int | None, *, shows: bool = True) -> None:
        self._stream = stream
        self._whole = whole
        self._shows = shows and stream.isatty()
        self._begun = time.monotonic()
        self._said = 0.0
        self._last = (0, 0)

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Say how far it came in the end, and leave the line."""
        if self._shows and self._said:
            self._stream.write(f"\r{self._line()}\n")
            self._stream.flush()

    def tell(self, lines: int, part: int) -> None:
        """Take note that so many lines are done, and so much of the whole."""
        if not self._shows:
            return
        self._last = (lines, part)
        now = time.monotonic()
        if now - self._said >= _EVERY_S:
            self._said = now
            self._stream.write(f"\r{self._line()}")
            self._stream.flush()

    def _line(self) -> str:
        lines, part = self._last
        pace = lines / max(time.monotonic() - self._begun, 1e-3)
        said = f"{lines:,} lines, {pace:,.0f} a second"
        if not self._whole:
            return said.ljust(40)
        share = min(1.0, part / self._whole)
        filled = round(share * _BAR_WIDTH)
        return f"[{'#' * filled}{'.' * (_BAR_WIDTH - filled)}] {share:4.0%}  {said}".ljust(70)
