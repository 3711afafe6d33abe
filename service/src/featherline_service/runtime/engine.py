"""The version of the service, which every answer names as the engine that computed it."""

from __future__ import annotations

from importlib.metadata import version
from typing import Final

ENGINE: Final = version("featherline-service")
