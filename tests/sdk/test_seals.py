"""Seals without the extra; the rest is tested with the service that makes them."""

from __future__ import annotations

import importlib
import sys

import pytest


@pytest.mark.parametrize("missing", ["rfc8785", "joserfc"])
def test_a_missing_extra_is_named(monkeypatch: pytest.MonkeyPatch, missing: str) -> None:
    """The error names the extra to install."""
    monkeypatch.delitem(sys.modules, "featherline.seals", raising=False)
    monkeypatch.setitem(sys.modules, missing, None)
    with pytest.raises(ModuleNotFoundError, match=rf"needs {missing}.*pip install 'featherline\[seals\]'"):
        importlib.import_module("featherline.seals")
