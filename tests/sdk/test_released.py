"""Versions that meet over HTTP: the released SDK and today's, and services of the release, of today and newer ones.

The release is the wheel in `released`, which also has the requests and answers of its service.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
import zipfile
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, Final

import httpx2
import pytest
from msgspec import inspect
from newer_answers import grown, unheard

from featherline._endpoints import QUESTIONS
from featherline.testing.recordings import ENDPOINTS

RELEASED: Final = Path(__file__).parent / "released"
(WHEEL,) = RELEASED.glob("featherline-*.whl")
OPENAPI: Final = Path(__file__).parents[2] / "openapi"
OF_ITS_TIME: Final = {"seal", "book", "engine"}
"""Fields of an answer that differ from one time to another, and from one version to another."""


def environment(sdk: str) -> dict[str, str]:
    """Return the environment in which Python imports an SDK: that of the release, or today's."""
    kept = {name: value for name, value in os.environ.items() if name not in {"PYTHONPATH", "FEATHERLINE_URL"}}
    return kept | ({"PYTHONPATH": str(WHEEL)} if sdk == "released" else {})


def ask(sdk: str, url: str) -> dict[str, Any]:
    """Return what an SDK read of all that the release asks."""
    command = [sys.executable, RELEASED / "ask.py", url, WHEEL]
    done = subprocess.run(command, env=environment(sdk), capture_output=True, text=True, check=False)
    assert (0, "") == (done.returncode, done.stderr)
    read: dict[str, Any] = json.loads(done.stdout)
    assert (sdk == "released") == read["sdk"].startswith(str(WHEEL))
    return read


def requests() -> list[tuple[str, bytes, bytes]]:
    """Return the path, request and answer of the questions that the release has examples of, by the answer's file."""
    with zipfile.ZipFile(WHEEL) as archive:
        folder = "featherline/examples"
        index = json.loads(archive.read(f"{folder}/recorded/index.json"))
        return [
            (entry["path"], archive.read(f"{folder}/{entry['request']}"), archive.read(f"{folder}/{entry['answer']}"))
            for entry in index["asked"]
            if entry["path"] not in {"/v1/bulk", "/v1/seals/check"}
        ]


def released_records() -> dict[str, int]:
    """Return how many records of each kind the release has in its examples."""
    with zipfile.ZipFile(WHEEL) as archive:
        return {
            kind: len(json.loads(archive.read(f"featherline/examples/recorded/{kind}.json"))["records"])
            for kind in ("films", "rates", "shoes", "sources")
        }


@contextlib.contextmanager
def newer(url: str) -> Iterator[str]:
    """Pass on to a service, whose answers come back with fields, and texts of sets, that nobody knows."""

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            self._pass_on(b"")

        def do_POST(self) -> None:
            if (length := self.headers.get("content-length")) is not None:
                self._pass_on(self.rfile.read(int(length)))
                return
            body = b""
            while size := int(self.rfile.readline(), 16):
                body += self.rfile.read(size)
                self.rfile.readline()
            self.rfile.readline()
            self._pass_on(body)

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - as the class has it
            """Write no log."""

        def _pass_on(self, body: bytes) -> None:
            media_type = self.headers.get("content-type", "application/json")
            answer = client.request(self.command, self.path, content=body, headers={"content-type": media_type})
            content = answer.content
            if self.path == "/v1/bulk":
                content = b"".join(newer_line(line) for line in content.splitlines())
            elif answer.is_success:
                content = json.dumps(newer_answer(self.path, answer.json())).encode()
            self.send_response(answer.status_code)
            self.send_header("content-type", answer.headers["content-type"])
            self.send_header("content-length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    serving = threading.Thread(target=server.serve_forever)
    serving.start()
    try:
        with httpx2.Client(base_url=url, timeout=60) as client:
            yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        serving.join()
        server.server_close()


def newer_answer(path: str, data: Any) -> Any:  # noqa: ANN401 - JSON
    """Return an answer as a newer service may give it; what is asserted below by name only grows."""
    closed = path.startswith(("/v1/seals/", "/v1/book", "/.well-known/"))
    return grown(data if closed else unheard(data, inspect.type_info(ENDPOINTS[path].answer)))


def newer_line(line: bytes) -> bytes:
    """Return a line of bulk as a newer service may give it."""
    data = json.loads(line)
    (path,) = (endpoint.path for endpoint in QUESTIONS if endpoint.bulk_kind == data["kind"])
    return json.dumps(grown({**data, "answer": newer_answer(path, data["answer"])})).encode() + b"\n"


@contextlib.contextmanager
def released() -> Iterator[str]:
    """Run what answers as the service of the release."""
    command = [sys.executable, RELEASED / "serve.py"]
    with subprocess.Popen(command, env=environment("released"), stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield f"http://127.0.0.1:{int(process.stdout.readline())}"
        finally:
            process.kill()


def unlike(read: Any, sent: Any, at: str = "", *, is_older: bool) -> Iterator[str]:  # noqa: ANN401 - JSON
    """Yield where what was read is not what was sent; what an older service sends is read to the last field."""
    match read, sent:
        case dict(), dict():
            names = sent.keys() - OF_ITS_TIME
            yield from (f"{at}/{name}: not read" for name in names - read.keys() if is_older)
            for name in names & read.keys():
                yield from unlike(read[name], sent[name], f"{at}/{name}", is_older=is_older)
        case list(), list() if len(read) == len(sent):
            for index, pair in enumerate(zip(read, sent, strict=True)):
                yield from unlike(*pair, f"{at}/{index}", is_older=is_older)
        case _:
            if read != sent:
                yield f"{at}: {read!r} of {sent!r}"


# Not the two pairs of one age: the rest of the tests has today's, and that of the release was tested when it was made.
@pytest.mark.parametrize(
    ("sdk", "service"),
    [("released", "present"), ("released", "newer"), ("present", "released"), ("present", "newer")],
)
def test_versions_meet(sdk: str, service: str, running: Any) -> None:  # noqa: ANN401 - of conftest.py
    """Prices, declines, rosters, bulk, records and refusals are read as they were sent, and seals are verified."""
    examples = requests()
    if service == "released":
        with released() as url:
            read = ask(sdk, url)
        sent, records = [json.loads(answer) for _, _, answer in examples], released_records()
    else:
        with newer(running.url) if service == "newer" else contextlib.nullcontext(running.url) as url:
            read = ask(sdk, url)
            headers = {"content-type": "application/json"}
            answers = [httpx2.post(url + path, content=body, headers=headers, timeout=60) for path, body, _ in examples]
            book = httpx2.get(f"{url}/v1/book").raise_for_status().json()
        sent = [answer.raise_for_status().json() for answer in answers]
        records = {shelf["kind"]: len(shelf["ids"]) for shelf in book["kinds"] if shelf["kind"] in released_records()}
    bulk_paths = {endpoint.path for endpoint in QUESTIONS if endpoint.bulk_kind is not None}
    of_bulk = [answer for (path, _, _), answer in zip(examples, sent, strict=True) if path in bulk_paths]
    pairs = [*zip(read["answers"], sent, strict=True), *zip(read["bulk"], of_bulk, strict=True)]

    assert len(pairs) > 20
    assert [] == [at for got, was in pairs for at in unlike(got, was, is_older=service == "released")]
    assert records == read["records"]
    assert {"status": 422, "type": "urn:featherline:problem:refused"} == read["refused"]
    assert ("valid", [True]) == (read["seal"], [bool(codes) for codes in read["declined"]])
    assert {"released": "valid"}.get(service, "unknown-key") == read["seal of the release"]


@pytest.mark.parametrize(
    ("read", "expected"),
    [
        ({"total": "9.90", "lines": [{"id": "film"}]}, []),
        ({"total": "9.91", "lines": [{"id": "film"}]}, ["/total: '9.91' of '9.90'"]),
        ({"total": "9.90", "lines": []}, ["/lines: [] of [{'id': 'film'}]"]),
        ({"total": "9.90", "lines": [{}]}, ["/lines/0/id: not read"]),
    ],
)
def test_a_difference_is_told(read: Any, expected: list[str]) -> None:  # noqa: ANN401 - JSON
    """Another value, another number of items, and a field of an older service that was not read."""
    assert expected == list(unlike(read, {"total": "9.90", "lines": [{"id": "film"}]}, is_older=True))


def test_the_release_is_whole() -> None:
    """The wheel has the version of the released description, and requests of every question that it describes."""
    described = json.loads((OPENAPI / "released.json").read_text(encoding="utf-8"))
    posted = {path for path, methods in described["paths"].items() if "post" in methods}

    assert described["info"]["version"] == WHEEL.name.split("-")[1]
    assert posted - {"/v1/bulk", "/v1/seals/check"} == {path for path, _, _ in requests()}
