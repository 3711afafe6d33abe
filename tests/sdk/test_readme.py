"""What the SDK's README says to type works."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import httpx2
import pytest
import stamina.instrumentation

import featherline
from featherline.cli import main

ROOT = Path(__file__).parents[2]
README = (ROOT / "sdk" / "README.md").read_text(encoding="utf-8")


def test_the_example_runs(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The Python example prints a verdict and a price; only what carries its requests is ours."""
    [example] = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    plain = featherline.Client
    monkeypatch.setattr(featherline, "Client", lambda: plain(transport=service))
    exec(compile(example, "README.md", "exec"), {})  # noqa: S102 - our own page
    assert re.match(r"ready Price\(policy='counter', each=Money\(amount='[0-9.]+'", capsys.readouterr().out)


def test_the_commands_run(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """Every command on the page ends well."""
    [block] = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    commands = [shlex.split(line) for line in block.replace("\\\n", "").splitlines()]
    assert [command[1] for command in commands] == ["quote", "quote", "book"]
    for command in commands:
        argv = [str(ROOT / "openapi/examples/quote-request.json") if word == "order.json" else word for word in command]
        assert main(argv[1:], service) == 0
        assert capsys.readouterr().out
    stamina.instrumentation.set_on_retry_hooks(None)
