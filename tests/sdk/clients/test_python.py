"""A client generated from the OpenAPI description, in front of the running service."""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

import httpx
import pytest

HERE = Path(__file__).parent
ROOT = HERE.parents[2]
EXAMPLES = ROOT / "openapi" / "examples"
PACKAGE = "featherline_client"
LINES = EXAMPLES / "bulk-request.jsonl"
QUESTIONS = [
    ("resolve_recipe", "RecipeRequest", "recipe-request", "/v1/recipes"),
    ("check_fit", "FitRequest", "fit-request", "/v1/fits"),
    ("estimate_cost", "OrderWork", "cost-request", "/v1/costs"),
    ("estimate_cost", "Measured", "cost-request-measures", "/v1/costs"),
    ("compose_quote", "Order", "quote-request", "/v1/quotes"),
    ("compose_quote", "Order", "walk-in", "/v1/quotes"),
    ("compose_quote", "Order", "clog", "/v1/quotes"),
]


CONFIGURATION = """\
post_hooks: []  # the style of the code does not matter here
content_type_overrides:  # the generator knows lines, pictures and documents as bytes alone
  application/jsonl: application/octet-stream
  application/pdf: application/octet-stream
  image/jpeg: application/octet-stream
  image/png: application/octet-stream
  image/svg+xml: application/octet-stream
"""


class Generated(NamedTuple):
    """The folder with the generated package, and what the generator said."""

    folder: Path
    said: str


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Generated]:
    """Generate a client with openapi-python-client into a folder on the path."""
    folder = tmp_path_factory.mktemp("generated")
    (folder / "config.yml").write_text(CONFIGURATION)
    program = Path(sys.executable).with_name("openapi-python-client")
    options = ["--meta", "none", "--path", ROOT / "openapi" / "openapi.json", "--output-path", folder / PACKAGE]
    done = subprocess.run(
        [program, "generate", *options, "--config", folder / "config.yml"], capture_output=True, text=True, check=True
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(folder)
        yield Generated(folder, done.stdout + done.stderr)


def part(path: str) -> ModuleType:
    """Return a module of the generated client."""
    return importlib.import_module(f"{PACKAGE}.{path}")


def example(name: str) -> Any:  # noqa: ANN401 - JSON
    """Return an example request."""
    return json.loads((EXAMPLES / f"{name}.json").read_bytes())


def test_nothing_is_beyond_the_generator(generated: Generated) -> None:
    """It generates a function for every operation, and has nothing to say."""
    assert [f"Generating {generated.folder / PACKAGE}"] == generated.said.splitlines()


def test_a_client_is_constructed_and_reads(running: Any, generated: Generated, expected: dict[str, object]) -> None:  # noqa: ANN401 - of conftest.py
    """A program that constructs its requests gets a price for a text, reads a decline, and so on, as our SDK does."""
    done = subprocess.run(
        [sys.executable, HERE / "python" / "checkout.py", running.url, LINES],
        capture_output=True, text=True, check=True, env=os.environ | {"PYTHONPATH": str(generated.folder)},
    )  # fmt: skip

    assert expected == json.loads(done.stdout)


@pytest.mark.slow
def test_the_client_is_typed_strictly(generated: Generated, tmp_path: Path) -> None:
    """Every generated module, and the program that uses them, pass mypy at its strictest."""
    typed = (HERE / "python" / "checkout.py", generated.folder / PACKAGE)
    done = subprocess.run(
        [Path(sys.executable).with_name("mypy"), "--config-file=", "--strict", "--cache-dir", tmp_path, *typed],
        capture_output=True, text=True, check=False, env=os.environ | {"MYPYPATH": str(generated.folder)},
    )  # fmt: skip

    assert (0, "Success") == (done.returncode, done.stdout[:7]), done.stdout


@pytest.mark.usefixtures("generated")
@pytest.mark.parametrize(("operation", "model", "name", "path"), QUESTIONS)
def test_a_generated_client_asks_and_reads(running: Any, operation: str, model: str, name: str, path: str) -> None:  # noqa: ANN401 - of conftest.py
    """The answer to an example request, in the generated classes, has every field of the JSON."""
    request = getattr(part("models"), model).from_dict(example(name))
    with part("client").AuthenticatedClient(base_url=running.url, token="unasked") as client:  # noqa: S106 - no key
        read = part(f"api.questions.{operation}").sync(client=client, body=request)
    plain = httpx.post(f"{running.url}{path}", json=example(name)).json()

    assert without_seal(plain) == without_seal(read.to_dict())


def without_seal(answer: dict[str, Any]) -> dict[str, Any]:
    """Return an answer without its seal, which differs each time."""
    return {key: value for key, value in answer.items() if key != "seal"}


@pytest.mark.usefixtures("generated")
def test_a_generated_client_reads_problems(running: Any) -> None:  # noqa: ANN401 - of conftest.py
    """A refused request is decoded as a problem with its pointers."""
    content = example("quote-request") | {"press": "mangle"}
    with part("client").AuthenticatedClient(base_url=running.url, token="unasked") as client:  # noqa: S106 - no key
        order = part("models").Order.from_dict(content)
        problem = part("api.questions.compose_quote").sync(client=client, body=order)

    assert (422, ["/press"]) == (problem.status, [fault.pointer for fault in problem.errors])
