"""A bare Litestar application that sends a body back, or a number of bytes: the least work that any service does."""

import os

import uvicorn
from litestar import Litestar, Request, get, post
from litestar.datastructures import State

FILLING = b" " * int(os.environ.get("ANSWER_BYTES", "0"))


@post("/echo", status_code=200, media_type="application/json")
async def echo(request: Request[None, None, State]) -> bytes:
    """Send the body back, or as many bytes as are set."""
    return FILLING or await request.body()


@get("/ready", media_type="text/plain")
async def ready() -> str:
    """Say that it answers."""
    return "ready"


if __name__ == "__main__":
    uvicorn.run(
        Litestar([echo, ready], openapi_config=None),
        port=int(os.environ["PORT"]),
        loop="uvloop",
        http="httptools",
        ws="none",
        log_level="warning",
    )
