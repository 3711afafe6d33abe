"""The server of a web shop: its page, what the page is to know, and the checkout.

The page asks featherline itself, with a key that everybody may see. The server has the other key, which checks seals.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from decimal import Decimal
from functools import partial
from http import HTTPStatus
from http.cookies import SimpleCookie
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Final

import msgspec
from checkout import CartLine, Sold, at_checkout
from msgspec import Struct

from featherline import Client, FeatherlineError
from featherline.wire import Money

FILES: Final = {
    "/": ("index.html", "text/html; charset=utf-8"),
    "/page.css": ("page.css", "text/css; charset=utf-8"),
    **{
        f"/{name}.js": (f"{name}.js", "text/javascript; charset=utf-8")
        for name in ("page", "asking", "basket", "choices", "elements", "texts")
    },
}
FOLDER: Final = Path(__file__).parent
LARGEST_CART: Final = 65536  # bytes
MOST_CARTS: Final = 10_000
COOKIE: Final = "cart"


class ForPage(Struct, frozen=True):
    """What the page is to know: where featherline is, and the page's key."""

    service: str
    key: str


class Paid(Struct, frozen=True):
    """What each line of a cart costs, and the total; None for a line that needs a new offer, and for the total then."""

    lines: tuple[Money | None, ...]
    total: Money | None


class Shop:
    """The page's key with what is sold by it, the carts that were begun, and the client of the checkout's key."""

    def __init__(self, client: Client, page: ForPage, *, audience: str, policy: str, currency: str) -> None:
        self.page = page
        self._client = client
        self._audience, self._policy, self._currency = audience, policy, currency
        self._books: dict[str, str] = {}

    def begin(self) -> str:
        """Begin a cart by the book that is in force; return the cart's name, which nobody can guess."""
        if len(self._books) >= MOST_CARTS:
            self._books.pop(next(iter(self._books)))
        cart = secrets.token_urlsafe(16)
        self._books[cart] = self._client.catalogue().book
        return cart

    def pay(self, cart: str, lines: tuple[CartLine, ...]) -> Paid:
        """Return what the lines of a cart cost; all lines of a cart that was not begun here need new offers."""
        book = self._books.get(cart)
        if book is None:
            return Paid((None,) * len(lines), None)
        sold = Sold(audience=self._audience, policy=self._policy, book=book)
        costs = tuple(at_checkout(self._client, line, sold) for line in lines)
        amounts = [cost.amount for cost in costs if cost is not None]
        if len(amounts) < len(costs) or not costs:
            return Paid(costs, None)
        return Paid(costs, Money(amount=str(sum(map(Decimal, amounts))), currency=self._currency))


class Handler(BaseHTTPRequestHandler):
    """Answers the requests of browsers."""

    protocol_version = "HTTP/1.1"
    timeout = 30

    def __init__(self, shop: Shop, *arguments: object) -> None:
        self._shop = shop
        super().__init__(*arguments)  # type: ignore[arg-type] # as http.server passes them on

    def do_GET(self) -> None:
        """Send a file of the page, or what the page is to know; that begins a cart."""
        if self.path == "/shop.json":
            self._answer(self._begin)
        elif self.path in FILES:
            name, kind = FILES[self.path]
            self._send(HTTPStatus.OK, (FOLDER / name).read_bytes(), kind)
        else:
            self._send(HTTPStatus.NOT_FOUND)

    def do_POST(self) -> None:
        """Send what the lines of a cart cost."""
        length = self.headers.get("Content-Length", "")
        if self.path != "/checkout":
            self._send(HTTPStatus.NOT_FOUND)
        elif not length.isdecimal() or int(length) > LARGEST_CART:
            self._send(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        else:
            body = self.rfile.read(int(length))
            self._answer(partial(self._pay, body))

    def _begin(self) -> tuple[object, str | None]:
        return self._shop.page, self._shop.begin()

    def _pay(self, body: bytes) -> tuple[object, str | None]:
        cookie = SimpleCookie(self.headers.get("Cookie", "")).get(COOKIE)
        lines = msgspec.json.decode(body, type=tuple[CartLine, ...])
        return self._shop.pay("" if cookie is None else cookie.value, lines), None

    def _answer(self, make: Callable[[], tuple[object, str | None]]) -> None:
        try:
            answer, cart = make()
        except msgspec.MsgspecError:
            self._send(HTTPStatus.UNPROCESSABLE_ENTITY)
        except FeatherlineError:  # it cannot be reached, or is busy: the page asks again
            self._send(HTTPStatus.SERVICE_UNAVAILABLE)
        else:
            self._send(HTTPStatus.OK, msgspec.json.encode(answer), "application/json", cart)

    def _send(self, status: HTTPStatus, body: bytes = b"", kind: str = "text/plain", cart: str | None = None) -> None:
        service = self._shop.page.service
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Cache-Control", "no-store" if kind == "application/json" else "no-cache")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Referrer-Policy", "no-referrer")
        self.send_header(
            "Content-Security-Policy",
            f"default-src 'none'; script-src 'self'; style-src 'self'; img-src blob: {service};"
            f" connect-src 'self' {service}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
        )
        if cart is not None:
            self.send_header("Set-Cookie", f"{COOKIE}={cart}; HttpOnly; SameSite=Strict; Path=/checkout")
        self.end_headers()
        self.wfile.write(body)


def serve(listening: ThreadingHTTPServer, shop: Shop) -> None:
    """Answer browsers at an address that is listened on already, until an exception such as Ctrl-C ends it."""
    listening.RequestHandlerClass = partial(Handler, shop)
    listening.serve_forever()
