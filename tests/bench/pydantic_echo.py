"""The usual stack elsewhere: FastAPI reads the order into pydantic models and answers with a model of as many bytes."""

import os
from typing import Literal

import uvicorn
from fastapi import FastAPI
from pydantic import BaseModel, ConfigDict, Field

FILLING = "x" * max(0, int(os.environ.get("ANSWER_BYTES", "0")) - 500)  # beside what is echoed


class Closed(BaseModel):
    """An object that takes no further fields, as ours."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Size(Closed):
    """A shoe size."""

    system: Literal["EU", "UK", "US", "JP"]
    value: str = Field(max_length=8)


class Shoe(Closed):
    """A shoe of the book."""

    kind: Literal["book"]
    shoe: str = Field(max_length=48, pattern="^[a-z0-9-]+$")
    size: Size


class Artwork(Closed):
    """A text."""

    kind: Literal["text"]
    text: str = Field(min_length=1, max_length=200)
    font: str = Field(max_length=48, pattern="^[a-z0-9-]+$")
    height: str = Field(max_length=32, pattern="^[0-9.]+ [a-z]+$")


class Pose(Closed):
    """The middle of the panel."""

    kind: Literal["centred"]


class Placement(Closed):
    """A mark."""

    panel: str = Field(max_length=48, pattern="^[a-z0-9-]+$")
    sides: Literal["both", "left", "right"] = "both"
    film: str = Field(max_length=48, pattern="^[a-z0-9-]+$")
    colour: str = Field(max_length=48, pattern="^[a-z0-9-]+$")
    artwork: Artwork
    pose: Pose


class Order(Closed):
    """What the example order has."""

    shoe: Shoe
    owner: Literal["customer", "shop"] = "customer"
    pairs: int = Field(1, ge=1, le=10_000)
    press: str | None = None
    policy: str | None = None
    units: Literal["metric", "us"] = "metric"
    placements: tuple[Placement, ...] = Field(min_length=1, max_length=12)


class Answer(BaseModel):
    """The order, and as many bytes more as the answer has."""

    order: Order
    filling: str


app = FastAPI(openapi_url=None)


@app.post("/echo")
async def echo(order: Order) -> Answer:
    """Send the order back among the bytes."""
    return Answer(order=order, filling=FILLING)


@app.get("/ready")
async def ready() -> str:
    """Say that it answers."""
    return "ready"


if __name__ == "__main__":
    uvicorn.run(
        app, port=int(os.environ["PORT"]), loop="uvloop", http="httptools", ws="none", log_level="warning",
    )  # fmt: skip
