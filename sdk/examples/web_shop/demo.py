"""A web shop on this machine in one command: keys, featherline with its invented demo book, and the shop's page.

    .venv/bin/python sdk/examples/web_shop/demo.py           # then open the address that it prints; Ctrl-C ends it

A real shop starts `shop.server` alone, with the keys that its featherline gave it.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Generator, Mapping
from http.server import ThreadingHTTPServer
from pathlib import Path

from shop import ForPage, Handler, Shop, serve

from featherline import Client

PAGE = '["price"]\npolicies = ["{policy}"]\nowner = "customer"\ncurrency = "EUR"\norigins = ["{origin}"]'
POLICY = "counter"
COMMAND = (sys.executable, "-m", "featherline_service")


def new_key(name: str, scopes: str) -> tuple[str, str]:
    """Return a key, and its entry in the file of keys with these scopes and pins."""
    made = subprocess.run([*COMMAND, "--new-key", name], capture_output=True, text=True, check=True)
    return made.stderr.splitlines()[1], made.stdout.replace('["ask"]', scopes, 1)


def keys_for(origin: str) -> tuple[str, str, str]:
    """Return the page's key, the checkout's, and the entries of both for the file of keys."""
    page, page_entry = new_key("page", PAGE.format(policy=POLICY, origin=origin))
    checkout, checkout_entry = new_key("checkout", '["ask"]')
    return page, checkout, page_entry + checkout_entry


@contextlib.contextmanager
def service(environment: Mapping[str, str], log: Path) -> Generator[str]:
    """Run featherline, and yield its address; its log is a file."""
    with log.open("w") as written, subprocess.Popen(COMMAND, env=environment, stderr=written) as process:
        try:
            yield address(process, log)
        finally:
            process.terminate()


def address(process: subprocess.Popen[bytes], log: Path) -> str:
    """Return the address at which the service is ready, as its log says."""
    while process.poll() is None:
        for event in map(json.loads, log.read_text().splitlines(keepends=False)[:-1]):
            if event["event"] == "service.ready":
                return f"http://127.0.0.1:{event['port']}"
        time.sleep(0.05)
    raise SystemExit(f"featherline did not start; its log says:\n{log.read_text()}")


def main(port: int) -> None:
    """Serve the shop until Ctrl-C."""
    with tempfile.TemporaryDirectory() as name, ThreadingHTTPServer(("127.0.0.1", port), Handler) as listening:
        folder, origin = Path(name), f"http://127.0.0.1:{listening.server_port}"
        page, checkout, entries = keys_for(origin)
        (folder / "keys.toml").write_text(entries)
        environment = os.environ | {
            "FEATHERLINE_KEYS": str(folder / "keys.toml"),
            "FEATHERLINE_CORS_ORIGINS": origin,
            "FEATHERLINE_PORT": "0",
        }
        with service(environment, folder / "log.jsonl") as url, Client(url, key=checkout) as client:
            print(f"The shop is open at {origin}/ (Ctrl-C ends it)", flush=True)
            serve(listening, Shop(client, ForPage(url, page), audience="page", policy=POLICY, currency="EUR"))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="A web shop on this machine, with featherline behind it.")
    parser.add_argument("--port", type=int, default=8040, help="the port of the shop (8040)")
    with contextlib.suppress(KeyboardInterrupt):
        main(parser.parse_args().port)
