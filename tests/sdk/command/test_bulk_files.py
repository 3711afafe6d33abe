"""The command `bulk`: files of questions, one a line."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import httpx2
import pytest
from command_lines import EXAMPLES

from featherline.command import main


def test_every_line_has_its_answer(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """An answer has the number of its line in the file, with blank lines counted; a byte order mark does no harm."""
    good, bad, other = (EXAMPLES / "bulk-request.jsonl").read_bytes().splitlines()
    file = tmp_path / "questions.jsonl"
    file.write_bytes(b"\xef\xbb\xbf" + good + b"\r\n\n  \n" + bad + b"\nnonsense\n" + other)

    assert main(["bulk", str(file)], service) == 3
    captured = capsys.readouterr()
    answers = [json.loads(line) for line in captured.out.splitlines()]
    expected = [json.loads(line) for line in (EXAMPLES / "bulk-answer.jsonl").read_bytes().splitlines()]

    assert [(1, "bow-7", 200), (4, "bow-8", 422), (5, None, 400), (6, None, 200)] == [
        (line["line"], line["id"], line["status"]) for line in answers
    ]
    assert ["fit", "problem", "problem", "cost"] == [line["kind"] for line in answers]
    assert [expected[0]["answer"], expected[2]["answer"]] == [answers[0]["answer"], answers[3]["answer"]]
    assert "/request/film" == answers[1]["problem"]["errors"][0]["pointer"]
    assert "featherline: 2 of 4 lines have a problem instead of an answer\n" == captured.err


def test_lines_from_a_pipe(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], set_stdin: Callable[[bytes], None]
) -> None:
    """Without problems the code is 0, and standard error is empty."""
    good, _, other = (EXAMPLES / "bulk-request.jsonl").read_bytes().splitlines()
    set_stdin(good + b"\n" + other + b"\n")

    assert main(["bulk", "-"], service) == 0
    captured = capsys.readouterr()
    assert (2, "") == (len(captured.out.splitlines()), captured.err)


def test_a_broken_stream_is_code_4(capsys: pytest.CaptureFixture[str]) -> None:
    """The answers that arrived are written; standard error says why there are no more."""
    first = (EXAMPLES / "bulk-answer.jsonl").read_bytes().splitlines()[0] + b"\n"
    answers = iter([first])

    def answer(_: httpx2.Request) -> httpx2.Response:
        content = next(answers, b"")
        return httpx2.Response(200, content=content, headers={"content-type": "application/jsonl"})

    lines = str(EXAMPLES / "bulk-request.jsonl")
    assert main(["bulk", lines, "--timeout", "1"], httpx2.MockTransport(answer)) == 4
    captured = capsys.readouterr()
    assert 1 == len(captured.out.splitlines())
    assert "The answer ended after 0 of 2 lines" in captured.err.splitlines()[-1]


def test_a_missing_file_is_code_2(capsys: pytest.CaptureFixture[str]) -> None:
    """The complaint names the file."""
    with pytest.raises(SystemExit, match="2"):
        main(["bulk", "nothing/here.jsonl"], httpx2.MockTransport(lambda _: httpx2.Response(500)))
    assert "Cannot read nothing/here.jsonl" in capsys.readouterr().err
