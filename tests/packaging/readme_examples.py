"""The examples of README.md: each command or program there is followed by a block with its output, which this runs.

`python tests/packaging/readme_examples.py` runs them against a service of its own and writes what they print into the
README; the test beside this file fails where the README says something else.
"""

from __future__ import annotations

import contextlib
import http.client
import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final, NamedTuple

ROOT: Final = Path(__file__).parents[2]
README: Final = ROOT / "README.md"
ADDRESS: Final = "http://127.0.0.1:8037"
_BLOCK: Final = re.compile(
    r"^```(?P<language>sh|python)\n(?P<code>(?:(?!```)[^\n]*\n)*)```\n\n"
    r"^```text\n(?P<output>(?:(?!```)[^\n]*\n)*)```",
    re.MULTILINE,
)
_STARTED_WITHIN_S: Final = 30.0


class Example(NamedTuple):
    """A block of shell or Python, the output that the README gives, and where in the text that stands."""

    language: str
    code: str
    output: str
    span: tuple[int, int]


def examples() -> list[Example]:
    """Return the examples in the order of the README."""
    return [
        Example(found["language"], found["code"], found["output"], found.span("output"))
        for found in _BLOCK.finditer(README.read_text())
    ]


@contextlib.contextmanager
def service() -> Iterator[str]:
    """Run a service with the demo book on a free port of this machine, and give its address."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    inherited = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
    process = subprocess.Popen(
        [sys.executable, "-I", "-m", "featherline_service"],
        env={**inherited, "FEATHERLINE_PORT": str(port)},
        stderr=subprocess.DEVNULL,
    )
    try:
        deadline = time.monotonic() + _STARTED_WITHIN_S
        while not _answers(port):
            if process.poll() is not None or time.monotonic() > deadline:
                raise RuntimeError("The service did not get ready; run `python -m featherline_service` to see why")
            time.sleep(0.05)
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(_STARTED_WITHIN_S)


def run(example: Example, address: str) -> str:
    """Return what an example prints when it asks the service at an address, from the root of the clone."""
    commands = Path(sys.executable).parent
    code = example.code.replace(ADDRESS, address).replace(".venv/bin/", f"{commands}/")
    program = [sys.executable, "-c", code] if example.language == "python" else ["bash", "-c", code]
    environment = {**os.environ, "FEATHERLINE_URL": address, "PATH": f"{commands}:{os.environ['PATH']}"}
    done = subprocess.run(program, cwd=ROOT, env=environment, capture_output=True, text=True, check=False, timeout=60)
    return (done.stdout + done.stderr).replace(address, ADDRESS)


def _answers(port: int) -> bool:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    with contextlib.suppress(OSError), contextlib.closing(connection):
        connection.request("GET", "/health/ready")
        return connection.getresponse().status == http.HTTPStatus.OK
    return False


def main() -> None:
    """Write into the README what its examples print."""
    text = README.read_text()
    with service() as address:
        for example in reversed(examples()):
            begin, end = example.span
            text = text[:begin] + run(example, address) + text[end:]
    README.write_text(text)


if __name__ == "__main__":
    main()
