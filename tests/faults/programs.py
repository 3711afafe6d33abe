"""Replicas that are another program than the service as it is installed."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from replicas import Replica

SERVICE: Final = (sys.executable, "-I", "-m", "featherline_service")


class ProgramReplica(Replica):
    """A replica that is started by a command, which may be another each time, in an environment with more variables."""

    def __init__(self, name: str, log: Path, command: Sequence[str], more: Mapping[str, str] | None = None) -> None:
        super().__init__(name, log)
        self.command = tuple(command)
        self.more = dict(more or {})

    def start(self, **settings: object) -> None:
        """Start, and do not wait."""
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                self.command,
                env={**self.environment(settings), **self.more},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
