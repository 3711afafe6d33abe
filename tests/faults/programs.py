"""Replicas that are another program than the service as it is installed."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from replicas import DRAIN_S, Replica

SERVICE: Final = (sys.executable, "-I", "-m", "featherline_service")


class ProgramReplica(Replica):
    """A replica that is started by a command, which may be another each time, in an environment with more variables."""

    def __init__(self, name: str, log: Path, command: Sequence[str], more: Mapping[str, str] | None = None) -> None:
        super().__init__(name, log)
        self.command = tuple(command)
        self.more = dict(more or {})

    def start(self, **settings: object) -> None:
        """Start, and do not wait."""
        named = {f"FEATHERLINE_{name.upper()}": str(value) for name, value in settings.items()}
        inherited = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
        own = {"FEATHERLINE_PORT": str(self.port), "FEATHERLINE_DRAIN": str(DRAIN_S)}
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                self.command,
                env={**inherited, **self.more, **own, **named},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
