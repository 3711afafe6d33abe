"""The methods of both clients, and the cost of importing them."""

from __future__ import annotations

import inspect
import subprocess
import sys
from pathlib import Path
from typing import get_args

import msgspec
import pytest

from featherline import AsyncClient, Client
from featherline._endpoints import RECORD_KINDS
from featherline.wire import FitRequest, Kind, Money, Order, Record, TrialRequest

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
METHODS = [name for name in dir(AsyncClient) if not name.startswith("_")]


def test_both_clients_have_the_same_methods() -> None:
    """Every method of `AsyncClient` is listed in `Client`, too."""
    assert METHODS == [name for name in dir(Client) if not name.startswith("_")]


@pytest.mark.parametrize("name", [*METHODS, "__init__"])
def test_both_clients_are_called_and_described_the_same(name: str) -> None:
    """A method has the same parameters, answer and docstring in both clients; only what carries requests differs."""
    blocking, asynchronous = getattr(Client, name), getattr(AsyncClient, name)
    assert str(inspect.signature(blocking)) == str(inspect.signature(asynchronous)).replace("Async", "")
    assert inspect.getdoc(blocking) == inspect.getdoc(asynchronous)
    assert inspect.iscoroutinefunction(asynchronous) == (name not in {"__init__", "bulk", "pinned"})  # bulk is iterated
    assert not inspect.iscoroutinefunction(blocking)


def test_every_kind_of_record_can_be_asked_for() -> None:
    """Every class of records has its own kind in the service's paths."""
    assert set(RECORD_KINDS) == set(get_args(Record))
    assert sorted(RECORD_KINDS.values()) == sorted(get_args(Kind))


def test_other_classes_are_refused() -> None:
    """A class that is not a kind of record is refused without a request."""
    with Client() as client, pytest.raises(ValueError, match=r"featherline\.wire\.records\.Film"):
        client.records(Money)  # type: ignore[type-var]


@pytest.mark.parametrize(
    ("name", "kind", "media_type", "complaint"),
    [
        ("fit-request", FitRequest, "application/pdf", r"of FitRequest as 'application/pdf'; ask for image/svg\+xml"),
        ("quote-request", Order, "image/png", r"ask for application/pdf or text/html or image/svg\+xml"),
        ("trial-request", TrialRequest, "image/svg+xml", "give one of RecipeRequest, FitRequest, Order"),
    ],
)
def test_an_impossible_picture_is_refused(name: str, kind: type, media_type: str, complaint: str) -> None:
    """A picture that does not exist is refused before anything is sent; the message lists the possible ones."""
    request = msgspec.json.decode((EXAMPLES / f"{name}.json").read_bytes(), type=kind)
    with Client() as client, pytest.raises(ValueError, match=complaint):
        client.picture(request, media_type)


def test_importing_the_sdk_imports_no_http_client() -> None:
    """`import featherline` is fast: the HTTP client is imported when the first client is made."""
    heavy = "{'httpx2', 'stamina', 'asyncio', 'ssl', 'litestar', 'featherline_service', 'pint', 'numpy'}"
    script = f"import sys, featherline; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
