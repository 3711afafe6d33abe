"""A client generated from the OpenAPI description, in front of the running service."""

from __future__ import annotations

import importlib
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import httpx
import pytest

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "openapi" / "examples"
PACKAGE = "generated_for_saltmarsh"
QUESTIONS = [
    ("resolve_recipe", "RecipeRequest", "recipe-request", "/v1/recipes"),
    ("check_fit", "FitRequest", "fit-request", "/v1/fits"),
    ("estimate_cost", "OrderWork", "cost-request", "/v1/costs"),
    ("estimate_cost", "Measured", "cost-request-measures", "/v1/costs"),
    ("compose_quote", "Order", "quote-request", "/v1/quotes"),
    ("compose_quote", "Order", "walk-in", "/v1/quotes"),
    ("compose_quote", "Order", "clog", "/v1/quotes"),
]


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Generate a client with openapi-python-client into a folder on the path; yield the generator's output."""
    folder = tmp_path_factory.mktemp("generated")
    (folder / "config.yml").write_text("post_hooks: []\n")  # the style of the code does not matter here
    program = Path(sys.executable).with_name("openapi-python-client")
    options = ["--meta", "none", "--path", ROOT / "openapi" / "openapi.json", "--output-path", folder / PACKAGE]
    done = subprocess.run(
        [program, "generate", *options, "--config", folder / "config.yml"], capture_output=True, text=True, check=True
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(folder)
        yield done.stdout + done.stderr


def part(path: str) -> ModuleType:
    """Return a module of the generated client."""
    return importlib.import_module(f"{PACKAGE}.{path}")


def example(name: str) -> Any:  # noqa: ANN401 - JSON
    """Return an example request."""
    return json.loads((EXAMPLES / f"{name}.json").read_bytes())


def test_only_bulk_is_beyond_the_generator(generated: str) -> None:
    """It generates a function for every operation but bulk, whose media type it does not know."""
    assert ["POST /v1/bulk"] == re.findall(r"parsing (\S+ \S+) within", generated)
    assert "Unable to process schema" not in generated


@pytest.mark.usefixtures("generated")
@pytest.mark.parametrize(("operation", "model", "name", "path"), QUESTIONS)
def test_a_generated_client_asks_and_reads(running: Any, operation: str, model: str, name: str, path: str) -> None:  # noqa: ANN401 - of conftest.py
    """The answer to an example request, in the generated classes, has every field of the JSON."""
    request = getattr(part("models"), model).from_dict(example(name))
    with part("client").Client(base_url=running.url) as client:
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
    with part("client").Client(base_url=running.url) as client:
        order = part("models").Order.from_dict(content)
        problem = part("api.questions.compose_quote").sync(client=client, body=order)

    assert (422, ["/press"]) == (problem.status, [fault.pointer for fault in problem.errors])
