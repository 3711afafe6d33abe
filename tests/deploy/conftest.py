"""The files of deploy/, parsed."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

DEPLOY = Path(__file__).parents[2] / "deploy"

sys.path.append(str(Path(__file__).parent))  # the module beside this one is no package


@pytest.fixture(scope="session")
def compose() -> dict[str, Any]:
    """Return the compose file."""
    found: dict[str, Any] = yaml.safe_load((DEPLOY / "compose.yaml").read_text(encoding="utf-8"))
    return found


@pytest.fixture(scope="session")
def manifests() -> dict[str, dict[str, Any]]:
    """Return the Kubernetes manifests by their kind; there is one of each."""
    kustomization = yaml.safe_load((DEPLOY / "kubernetes" / "kustomization.yaml").read_text(encoding="utf-8"))
    files = ["kustomization.yaml", *kustomization["resources"]]
    read = [yaml.safe_load((DEPLOY / "kubernetes" / name).read_text(encoding="utf-8")) for name in files]
    return {manifest["kind"]: manifest for manifest in read}
