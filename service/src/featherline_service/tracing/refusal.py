"""Why a photo cannot be traced, and what to do about it."""

from __future__ import annotations


class RefusalError(Exception):
    """A photo cannot be traced; the message says why, and what to do."""
