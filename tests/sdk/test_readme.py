"""What the SDK's README says to type works."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any

import httpx2
import pytest
import stamina.instrumentation
from msgspec.structs import replace

import featherline
from featherline.command import main

ROOT = Path(__file__).parents[2]
README = (ROOT / "sdk" / "README.md").read_text(encoding="utf-8")


def test_the_example_runs(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first Python example prints a verdict and a price, the second one for each of many orders."""
    one, many = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    plain = featherline.Client
    monkeypatch.setattr(featherline, "Client", lambda: plain(transport=service))
    names: dict[str, Any] = {}
    exec(compile(one, "README.md", "exec"), names)  # noqa: S102 - our own page
    assert re.match(r"ready Price\(policy='counter', each=Money\(amount='[0-9.]+'", capsys.readouterr().out)
    names["orders"] = [names["order"], replace(names["order"], press="mangle")]
    exec(compile(many, "README.md", "exec"), names)  # noqa: S102 - our own page
    assert re.match(r"1 1 Price\(.*\)\n2 1 fault in the request;", capsys.readouterr().out)


def test_the_commands_run(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Every command on the page ends well."""
    [block] = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    commands = [shlex.split(line) for line in block.replace("\\\n", "").splitlines()]
    assert [command[1] for command in commands] == ["quote", "quote", "fit", "card", "roster", "book", "bulk"]
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
