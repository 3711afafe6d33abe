"""The `featherline` command, in front of the real service and in front of none."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx2
import msgspec
import pytest
import stamina.instrumentation

from featherline.cli import main
from featherline.wire import FitRequest, Order, RecipeRequest

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
SHOE = ["--shoe", "regatta-deck", "--size", "EU 42", "--panel", "outer-quarter"]
WALK_IN = ["--label", "textile", "--area", "90 mm x 40 mm", "--curvature", "gentle", "--panel", "outer-quarter"]
FILM = ["--film", "smooth", "--colour", "gorse"]
TEXT = ["--text", r"MARLOW\n7", "--font", "plain", "--height", "22 mm"]
MARLOW = [*SHOE, *FILM, *TEXT, "--press", "swing", "--policy", "counter"]


@pytest.fixture(autouse=True)
def retries_as_before() -> Iterator[None]:
    """The command tells of retries by itself; put back what told of them before."""
    yield
    stamina.instrumentation.set_on_retry_hooks(None)


def example(name: str) -> bytes:
    """Return an example request."""
    return (EXAMPLES / f"{name}.json").read_bytes()


def shown(capsys: pytest.CaptureFixture[str], *argv: str) -> bytes:
    """Return the request that the flags make."""
    assert main([*argv, "--show-request"]) == 0
    return capsys.readouterr().out.encode()


def test_flags_make_the_example_order(capsys: pytest.CaptureFixture[str]) -> None:
    """The flags of the help text's example are the example order."""
    sent = msgspec.json.decode(shown(capsys, "quote", *MARLOW), type=Order)
    assert sent == msgspec.json.decode(example("quote-request"), type=Order)


def test_flags_make_the_example_fit(capsys: pytest.CaptureFixture[str]) -> None:
    """The flags of a fit are the example fit."""
    sent = msgspec.json.decode(shown(capsys, "fit", *SHOE, *FILM, *TEXT, "--press", "swing"), type=FitRequest)
    assert sent == msgspec.json.decode(example("fit-request"), type=FitRequest)


def test_flags_make_the_example_recipe(capsys: pytest.CaptureFixture[str]) -> None:
    """The flags of a recipe are the example recipe."""
    sent = msgspec.json.decode(
        shown(capsys, "recipe", *SHOE, "--film", "smooth", "--press", "swing"), type=RecipeRequest
    )
    assert sent == msgspec.json.decode(example("recipe-request"), type=RecipeRequest)


def test_flags_make_the_walk_in(capsys: pytest.CaptureFixture[str]) -> None:
    """A tongue label and a ruler are the example of a walk-in."""
    walk_in = [*WALK_IN, *FILM, *TEXT, "--inside-length", "275 mm", "--shoe-colour", "#1d2b44"]
    sent = msgspec.json.decode(shown(capsys, "quote", *walk_in), type=Order)
    assert sent == msgspec.json.decode(example("walk-in"), type=Order)


@pytest.mark.parametrize(
    ("argv", "complaint"),
    [
        (["quote"], "--shoe and --size"),
        (["quote", *SHOE, *FILM], "--text and --font, or --path"),
        (["quote", *SHOE, *FILM, "--text", "7", "--font", "plain"], "--height and --letter-height"),
        (["quote", *FILM, *TEXT, "--shoe", "regatta-deck", "--panel", "toe"], "--size is needed"),
        (["quote", *FILM, *TEXT, "--shoe", "regatta-deck", "--panel", "toe", "--size", "42"], 'such as "EU 42"'),
        (["quote", *FILM, *TEXT, "--label", "textile", "--panel", "toe", "--area", "90 mm"], "90 mm x 40 mm"),
        (["quote", *SHOE, *WALK_IN, *FILM, *TEXT], "--label and --area for a walk-in"),
        (["quote", "--file", "-", "--pairs", "3"], "--pairs"),
        (["quote", "--file", "no-such-order.json"], "no-such-order.json"),
        (["book", "hats"], "hats"),
        (["quote", "--file", "-", "--url", "nowhere"], "nowhere"),
        (["quote", "--file", "-", "--timeout", "-1"], "timeout"),
        ([], "COMMAND"),
    ],
)
def test_what_is_wrong_with_a_command_line_is_said(
    argv: list[str], complaint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A command line that cannot be is code 2, and the complaint says what to give."""
    with pytest.raises(SystemExit) as ended:
        main(argv)
    assert ended.value.code == 2
    assert complaint in capsys.readouterr().err


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"\xff\xfe{\x00}\x00", b'"order"'])
def test_a_file_that_is_no_object_is_said(content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is no JSON object is code 2, and named."""
    (tmp_path / "order.json").write_bytes(content)
    with pytest.raises(SystemExit) as ended:
        main(["quote", "--file", str(tmp_path / "order.json")])
    assert ended.value.code == 2
    assert "order.json is not a JSON object in UTF-8" in capsys.readouterr().err


def test_the_book_is_listed(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """The book's kinds, one kind's records, and one record are shown, within 80 columns where ids allow."""
    for argv, fact in (
        (["book"], "smooth, stretch"),
        (["book", "shoes"], "regatta-deck"),
        (["book", "films", "smooth"], "name: Smooth polyurethane film"),
        (["book", "rates", "bench"], "labour_per_hour: 24.00 EUR"),
    ):
        assert main(argv, service) == 0
        out = capsys.readouterr().out
        assert fact in out
        assert max(map(len, out.splitlines())) <= 80


def test_a_record_is_json_for_a_machine(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """`--json` prints the answer whole."""
    assert main(["book", "films", "smooth", "--json"], service) == 0
    assert json.loads(capsys.readouterr().out)["record"]["setting"]["hottest_c"] == 160


def test_an_unknown_record_is_refused(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """An unknown record is code 3; the complaint lists what there is, and with `--json` the problem is printed."""
    assert main(["book", "films", "velvet", "--json"], service) == 3
    captured = capsys.readouterr()
    assert "smooth" in captured.err
    assert json.loads(captured.out)["status"] == 404


def test_a_service_that_is_not_there_is_code_4(capsys: pytest.CaptureFixture[str]) -> None:
    """When nobody answers, the attempts are told on standard error, and nothing is on standard output."""

    def refuse(_: httpx2.Request) -> httpx2.Response:
        raise httpx2.ConnectError("refused")

    assert main(["book", "--timeout", "0.5"], httpx2.MockTransport(refuse)) == 4
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "trying again in" in captured.err
    assert "Cannot reach the service at http://127.0.0.1:8037" in captured.err.splitlines()[-1]


def test_the_command_is_installed() -> None:
    """`featherline --version` runs as a program of its own."""
    program = Path(sys.executable).with_name("featherline")
    done = subprocess.run([program, "--version"], capture_output=True, text=True, check=True)
    assert done.stdout == "featherline 0.1.0\n"
