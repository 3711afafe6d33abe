"""Why a photo cannot be traced, and what to do about it."""

from __future__ import annotations

from featherline_service.messages.told import ToldError


class RefusalError(ToldError):
    """A photo cannot be traced; the message says why, and what to do."""
