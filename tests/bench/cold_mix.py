"""Questions that were not asked before, as in a shop's day and on a price list, and the share of time of each stage.

The share of each stage is sampled: a timer that counts processor time interrupts the computation every so often, and
the innermost module of the service that runs then is the stage that has the time. What numpy or GEOS do counts for
whoever called them.
"""

from __future__ import annotations

import itertools
import random
import signal
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any, Final, cast

import msgspec

from featherline.wire import BookShoe, Order, Placement, Size, TextArtwork
from featherline_service.book.shop_book import Book
from featherline_service.web.answering.question import Question
from featherline_service.web.http.negotiation import JSON
from featherline_service.web.routes import questions
from featherline_service.web.routes.seals import Seals

EXAMPLES: Final = Path(__file__).parents[2] / "openapi" / "examples"
EVERY_S: Final = 0.001
# Of ten questions; our own guess of a web shop's day.
MIX: Final[Mapping[str, int]] = {"fit": 4, "quote": 3, "recipe": 1, "cost": 1, "trial": 1}
STAGES: Final[Mapping[str, str]] = {
    "heat": "heat", "evidence": "heat", "shape": "shape", "cost": "cost", "contrast.py": "contrast",
    "drawing": "drawing", "tracing": "tracing", "book": "book", "book_command": "book",
    "identifiers.py": "reading and writing",
    "questions": "questions", "runtime": "cache", "signatures.py": "signatures", "plugins.py": "plug-ins",
    "web": "reading and writing", "quantities.py": "reading and writing", "messages": "reading and writing",
}  # fmt: skip
_PACKAGE: Final = "featherline_service/"
_OPERATIONS: Final = {
    "fit": questions.CHECK_FIT,
    "quote": questions.COMPOSE_QUOTE,
    "offer": questions.OFFER_ORDER,
    "recipe": questions.RESOLVE_RECIPE,
    "cost": questions.ESTIMATE_COST,
    "trial": questions.PLAN_TRIAL,
}
_LETTERS: Final = "ABCDEFGHIJKLMNOPRSTUVWY"


def new_questions(seed: int = 8037) -> Iterator[tuple[str, bytes]]:
    """Yield kinds of questions and their bodies without end, each with a new name, size or thickness."""
    draw = random.Random(seed)  # noqa: S311 - repeatable, not a secret
    examples = {kind: (EXAMPLES / f"{kind}-request.json").read_bytes() for kind in MIX}
    kinds = [kind for kind, share in MIX.items() for _ in range(share)]
    for number in itertools.count():
        asked: dict[str, Any] = msgspec.json.decode(examples[kinds[number % len(kinds)]])
        name = "".join(draw.choices(_LETTERS, k=6))
        for artwork in _artworks(asked):
            artwork |= {"text": f"{name}\n{number % 100}", "height": f"{draw.uniform(18, 22):.3f} mm"}
        if kinds[number % len(kinds)] == "recipe":
            layers = [{"material": "upper-leather", "thickness": f"{1.2 + number / 1e5:.5f} mm"}]
            asked["onto"] = {"kind": "stack", "surface": "leather", "layers": layers}
        if kinds[number % len(kinds)] == "trial":
            asked["shoe"]["panels"][0]["shape"]["width"] = f"{60 + number / 1e3:.3f} mm"
        yield kinds[number % len(kinds)], msgspec.json.encode(asked)


def price_list_texts(book: Book) -> Iterator[list[bytes]]:
    """Yield for each of texts without end the orders of a price list: of every shoe with its first panel, and film."""
    for number in itertools.count():
        text = f"{_LETTERS[number % len(_LETTERS)]}{number // len(_LETTERS)}"
        artwork = TextArtwork(text=text, font="plain", letter_height="14 mm")
        yield [
            msgspec.json.encode(
                Order(
                    shoe=BookShoe(shoe=shoe.id, size=Size(system=shoe.sizes.system, value=f"{shoe.sizes.smallest:g}")),
                    placements=(
                        Placement(panel=shoe.panels[0].id, film=film.id, colour=film.colours[0].id, artwork=artwork),
                    ),
                    owner="shop",
                )
            )
            for shoe, film in itertools.product(book.shoes.values(), book.films.values())
        ]


def _artworks(asked: Any) -> Iterator[dict[str, Any]]:  # noqa: ANN401 - JSON data
    """Yield the artworks of a question that are texts by their height."""
    if isinstance(asked, dict):
        if asked.get("kind") == "text" and asked.get("height"):
            yield asked
        for value in asked.values():
            yield from _artworks(value)
    elif isinstance(asked, list):
        for value in asked:
            yield from _artworks(value)


def answering(book: Book, seals: Seals) -> Callable[[str, bytes], bytes]:
    """Return a function from a question's body to the bytes of its answer, as the service computes them."""
    asked: dict[str, Question] = {kind: questions.questions(each, seals)[JSON] for kind, each in _OPERATIONS.items()}

    def answer(kind: str, body: bytes) -> bytes:
        question = asked[kind]
        request = question.body.decode(body)
        answer = question.compute(book, request, "en")
        sealer = question.sealer
        if sealer is None or answer.sealable is None:
            return answer.body
        return sealer.attach(answer.body, sealer.seal(answer.sealable, sealer.period(), None))

    return answer


@contextmanager
def sampled() -> Iterator[Counter[str]]:
    """Count which stage has the processor while the block runs."""
    found: Counter[str] = Counter()

    def look(_signal: int, frame: FrameType | None) -> None:
        found[_stage(frame)] += 1

    before = signal.signal(signal.SIGPROF, look)
    signal.setitimer(signal.ITIMER_PROF, EVERY_S, EVERY_S)
    try:
        yield found
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, cast("Any", before))


def _stage(frame: FrameType | None) -> str:
    while frame is not None:
        _, _, inside = frame.f_code.co_filename.rpartition(_PACKAGE)
        if inside and _PACKAGE in frame.f_code.co_filename:
            return STAGES.get(inside.partition("/")[0], inside)
        frame = frame.f_back
    return "the rest"
