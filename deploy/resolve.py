"""Resolve the dependencies and write deploy/requirements*.txt: one exact version for Python 3.11 to 3.14, with hashes.

`deploy/lock` keeps the versions that are locked and still fit; `deploy/lock --upgrade` takes the newest. The ranges
stand in the three pyproject.toml files alone. The environment of the checks is resolved first, and bounds the others,
so that the service runs on the very versions that it was checked with.
"""

from __future__ import annotations

import os
import subprocess
import sys

from environments import DEPLOY, ROOT, DeployError, finish, index, step, uv

_OWN = ("--no-emit-package", "featherline", "--no-emit-package", "featherline-service")
_DISTRIBUTIONS = ("sdk/pyproject.toml", "service/pyproject.toml")


def main() -> int:
    """Write every lock file."""
    if sys.argv[1:] not in ([], ["--upgrade"]):
        raise DeployError("Usage: deploy/lock [--upgrade]")
    upgrade = ("--upgrade",) if sys.argv[1:] == ["--upgrade"] else ()
    check = "requirements-check.txt"
    _compile(check, *_DISTRIBUTIONS, "--group", "dev", *_OWN, *upgrade)
    _compile("requirements.txt", *_DISTRIBUTIONS, "--constraint", f"deploy/{check}", *_OWN, *upgrade)
    for extra in ("otlp", "reprice"):
        with_extra = (*_DISTRIBUTIONS, "--extra", extra, "--constraint", f"deploy/{check}")
        _compile(f"requirements-{extra}.txt", *with_extra, *_OWN, *upgrade)
    _compile("requirements-build.txt", "--group", "build", "--constraint", f"deploy/{check}", *upgrade)
    _compile("requirements-uv.txt", "--group", "uv", *upgrade)
    _compile("requirements-clients.txt", "--group", "clients", *upgrade)
    print("Now run deploy/check, and commit the files that changed.")
    return 0


def _compile(name: str, *arguments: str) -> None:
    universal = ("--universal", "--python-version", "3.11", "--fork-strategy", "fewest")
    options, variables = index()
    with step(f"Resolving deploy/{name}"):
        done = subprocess.run(
            [
                uv(),
                *("pip", "compile", "--quiet", *options, *universal, "--generate-hashes"),
                *("--no-emit-index-url", "--no-annotate", "--output-file", str(DEPLOY / name), *arguments),
            ],
            cwd=ROOT,
            env={**os.environ, **variables, "UV_CUSTOM_COMPILE_COMMAND": "deploy/lock"},
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode != 0:
            raise DeployError(f"uv could not resolve deploy/{name}. It said:\n{done.stderr.strip()}")


if __name__ == "__main__":
    finish(main)
