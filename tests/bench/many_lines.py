"""Ask for quotes on many lines through one client; print how many had a price, and this process's peak memory.

``python many_lines.py URL LINES ORDERS``, so many different orders in turns; on Linux, which tells a process's peak.
"""

from __future__ import annotations

import sys
from pathlib import Path

import msgspec
from msgspec.structs import replace

from featherline import Client
from featherline.wire import Order

EXAMPLE = Path(__file__).parents[2] / "openapi" / "examples" / "quote-request.json"


def main(url: str, lines: int, different: int) -> None:
    """Ask, and print."""
    order = msgspec.json.decode(EXAMPLE.read_bytes(), type=Order)
    orders = (replace(order, pairs=1 + number % different) for number in range(lines))
    with Client(url) as client:
        print(sum(reply.answer.price is not None for reply in client.bulk(orders)))
    print(Path("/proc/self/status").read_text(encoding="utf-8"))


if __name__ == "__main__":
    main(sys.argv[1], *map(int, sys.argv[2:]))
