"""Answer as the service of the last release: run with its SDK on the path, whose recorded answers these are.

Requests are read by the types of that release, so one that its service would refuse gets 422. Writes its port.
"""

from __future__ import annotations

import json
import sys
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import httpx2

from featherline.testing import RecordedService, UnexpectedRequest

SERVICE = RecordedService()


class Handler(BaseHTTPRequestHandler):
    """Gives each request to the recorded service."""

    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        """Answer a GET."""
        self._answer(b"")

    def do_POST(self) -> None:
        """Answer a POST, whose body may come in chunks."""
        if "chunked" not in self.headers.get("transfer-encoding", ""):
            self._answer(self.rfile.read(int(self.headers["content-length"])))
            return
        body = b""
        while size := int(self.rfile.readline(), 16):
            body += self.rfile.read(size)
            self.rfile.readline()
        self.rfile.readline()
        self._answer(body)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - as the class has it
        """Write no log."""

    def _answer(self, body: bytes) -> None:
        fields = {name: value for name, value in self.headers.items() if name.lower() != "transfer-encoding"}
        request = httpx2.Request(self.command, f"http://saltmarsh.test{self.path}", headers=fields, content=body)
        try:
            response = SERVICE.handle_request(request)
            status, media_type, content = response.status_code, response.headers["content-type"], response.read()
        except UnexpectedRequest as unexpected:
            problem = {
                "type": "urn:featherline:problem:refused",
                "title": "As the release refuses it",
                "status": 422,
                "detail": str(unexpected),
                "instance": "urn:featherline:request:in-a-test",
            }
            status, media_type, content = 422, "application/problem+json", json.dumps(problem).encode()
        self.send_response(status)
        self.send_header("content-type", media_type)
        self.send_header("content-length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)


if __name__ == "__main__":
    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    sys.stdout.write(f"{server.server_port}\n")
    sys.stdout.flush()
    server.serve_forever()
