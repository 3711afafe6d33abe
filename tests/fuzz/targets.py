"""Fuzz targets: the decoder of bodies and the readers of drawings, with the properties that hold for all inputs."""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import msgspec

from featherline_service.questions.checks import RefusedError
from featherline_service.runtime import cache, deadline
from featherline_service.shape.outlines import figures
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.figures import Figure
from featherline_service.web.http.bodies import Body
from featherline_service.web.http.problems import ProblemError
from featherline_service.web.openapi.description import OPERATIONS

EXAMPLES: Final = Path(__file__).parents[2] / "openapi" / "examples"
BODIES: Final = tuple(Body[Any](each.asked) for each in OPERATIONS if each.asked is not None)
DRAWN_WITHIN_S: Final = 20.0

Target = Callable[[bytes], None]


def decoder(data: bytes) -> None:
    """Decode a body as the type that its first byte chooses: a value that is read again as itself, or a refusal."""
    body = BODIES[data[0] % len(BODIES)] if data else BODIES[0]
    try:
        value = body.decode(data[1:])
    except RefusedError as error:
        if not error.faults or any(not fault.detail for fault in error.faults):
            raise AssertionError("A refusal without a reason") from error
        msgspec.json.encode(error.faults)
    except ProblemError as error:
        if not error.detail:
            raise AssertionError("A problem without a reason") from error
        msgspec.json.encode(error.faults)
    else:
        written = msgspec.json.encode(value)
        if body.decode(written) != value:
            raise AssertionError("What was read is not read again as itself")
        json.loads(data[1:])  # another reader has to take it, too


def path(data: bytes) -> None:
    """Draw path data: the outcome is a figure with finite measures, or a refusal in words."""
    _draw(lambda: figures.of_path(data.decode("utf-8", "surrogatepass"), "nonzero" if len(data) % 2 else "evenodd"))


def svg(data: bytes) -> None:
    """Draw an SVG drawing: the outcome is a figure with finite measures, or a refusal in words."""
    _draw(lambda: figures.of_svg(data.decode("utf-8", "surrogatepass")))


def _draw(draw: Callable[[], Figure]) -> None:
    cache.clear()  # each input is drawn for itself
    begun = time.process_time()
    try:
        with deadline.limited(DRAWN_WITHIN_S):
            figure = draw()
    except UnicodeDecodeError:
        return  # no text of JSON is ever that
    except deadline.DeadlineError:
        pass
    except DrawingError as error:
        str(error).encode()
    else:
        if not (all(map(math.isfinite, figure.box)) and figure.detail.area > 0.0):
            raise AssertionError("A figure without measures")
    if time.process_time() - begun > 2.0 * DRAWN_WITHIN_S:
        raise AssertionError("It was not given up in time")


TARGETS: Final[Mapping[str, Target]] = {"decoder": decoder, "path": path, "svg": svg}

_PATHS: Final = (
    "M0 0H60V30H0Z",
    "M0,0 C0,10 10,10 10,0 S20-10 20,0 z",
    "M0 0A5 5 30 1 1 10 0a5 3 0 0 1-10 0Z",
    "m 0 0 q 5 5 10 0 t 10 0 l-3.5.5.5-7e-1 v2 h-4 z m 3 3 h1 v1 h-1 z",
    "M0 0L10 0L10 10Z M2 2L8 2L8 8Z",
)
_DRAWINGS: Final = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 20"><path d="M0 0H40V20H0Z"/></svg>',
    (
        '<svg viewBox="-50 -50 150 150"><g transform="translate(3 4) rotate(30 1 1) scale(2,-1) skewX(5)" '
        'fill-rule="evenodd">'
        '<rect x="1" y="2" width="30px" height="10" rx="2"/><circle cx="5" cy="5" r="4"/></g></svg>'
    ),
    (
        '<svg><title>Tide</title><ellipse cx="9" cy="4" rx="9" ry="4"/><polygon points="0,0 9 0 9,9"/>'
        '<polyline points="20 0 29 0 29 9" style="fill:#000;fill-rule:nonzero"/></svg>'
    ),
    (
        '<?xml version="1.0"?><!-- tide --><s:svg xmlns:s="http://www.w3.org/2000/svg"><s:g fill="none"/>'
        '<s:path d="M0 0h9v9z" fill="black"/></s:svg>'
    ),
    (
        '<svg width="30mm" height="1in"><defs><symbol/></defs><g style="fill:rgb(0,0,0);opacity:1;stroke:none" '
        'color="#123456ff"><rect width="3pt" height="1pc" visibility="visible"/></g></svg>'
    ),
)


def seeds(target: str) -> Sequence[bytes]:
    """Return valid inputs of a target, to start from."""
    match target:
        case "decoder":
            texts = sorted(EXAMPLES.glob("*.json")), sorted(EXAMPLES.glob("*.jsonl"))
            requests = [each.read_bytes() for each in texts[0] if "answer" not in each.name]
            lines = [line for each in texts[1] if "answer" not in each.name for line in each.read_bytes().splitlines()]
            return [bytes([kind]) + text for text in (*requests, *lines) for kind in range(len(BODIES))]
        case "path":
            return [each.encode() for each in _PATHS]
        case _:
            return [each.encode() for each in _DRAWINGS]
