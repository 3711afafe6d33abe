"""The examples of the SDK's README, in front of the real service."""

from __future__ import annotations

import re
import shlex
import tomllib
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import httpx2
import pytest
import stamina.instrumentation
from structlog.testing import capture_logs

import featherline
from featherline.command import main
from featherline.plugins import GROUPS

ROOT = Path(__file__).parents[2]
README = (ROOT / "sdk" / "README.md").read_text(encoding="utf-8")


class Example(NamedTuple):
    """A block of code, and the block of its output after it, if there is one."""

    code: str
    output: str | None


def blocks(language: str) -> list[Example]:
    """Return the blocks of a language, in their order."""
    found = re.findall(rf"^```{language}\n(.*?)^```(?:\n\n```text\n(.*?)^```)?", README, re.DOTALL | re.MULTILINE)
    return [Example(code, output or None) for code, output in found]


def test_the_python_examples_run(
    app: Any,  # noqa: ANN401 - of conftest.py
    service: httpx2.BaseTransport,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Run one after another, they print the output on the page; the plug-in keeps the laws."""
    url = "http://saltmarsh.test"
    monkeypatch.setattr(featherline, "Client", partial(featherline.Client, url, transport=service))
    monkeypatch.setattr(
        featherline, "AsyncClient", partial(featherline.AsyncClient, url, transport=httpx2.ASGITransport(app))
    )
    examples = blocks("python")
    assert 6 == len(examples)
    assert README.count("```text\n") == len([example for example in examples if example.output])
    names: dict[str, Any] = {}
    for example in examples:
        with capture_logs():  # of the service in this process
            exec(compile(example.code, "README.md", "exec"), names)  # noqa: S102 - our own page
        assert (example.output or "") == capsys.readouterr().out

    tests = names["TestClubColours"]()
    laws = [name for name in dir(tests) if name.startswith("test_")]
    assert len(laws) >= 3
    for law in laws:
        getattr(tests, law)()


def test_the_entry_point_is_of_a_kind() -> None:
    """The group of the example is that of checks."""
    [(code, _)] = blocks("toml")
    assert {GROUPS["check"]} == set(tomllib.loads(code)["project"]["entry-points"])


def test_the_commands_run(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Every command on the page ends with code 0 and prints something."""
    install, block = (example.code for example in blocks("sh"))
    assert install.startswith("pip install featherline ")
    commands = [shlex.split(line) for line in block.replace("\\\n", "").splitlines()]
    assert [command[1] for command in commands] == [
        *("quote", "quote", "fit", "recipe", "card", "roster", "book", "bulk"),
    ]
    questions = tmp_path / "questions.jsonl"
    questions.write_bytes((ROOT / "openapi/examples/bulk-request.jsonl").read_bytes().splitlines()[0])
    crew = tmp_path / "crew.csv"
    crew.write_text("name;number;size\nMARLOW;7;EU 42,5\n")
    files = {
        "order.json": str(ROOT / "openapi/examples/quote-request.json"),
        **{file.name: str(file) for file in (questions, crew, tmp_path / "card.pdf", tmp_path / "answered.csv")},
    }
    for command in commands:
        argv = [files.get(word, word) for word in command if word not in {">", "answers.jsonl"}]
        assert main(argv[1:], service) == 0
        assert capsys.readouterr().out
    stamina.instrumentation.set_on_retry_hooks(None)
