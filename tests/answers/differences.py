"""Where two answers of the service differ: as answers, or in their wording alone.

Numbers are equal within 1e-8 of the larger, or 1e-9 around zero; everything else must be the same. A difference is one
of wording where the field holds prose and more than its numbers differ. Prose that differs in nothing but a number is
another answer.
"""

from __future__ import annotations

import base64
import io
import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import zip_longest
from typing import Any, Final, NamedTuple

from pypdf import PdfReader

RELATIVE: Final = 1e-8
ABSOLUTE: Final = 1e-9
PROSE: Final = frozenset({
    "sentence", "detail", "title", "name", "tell", "convention", "note", "harm",
    "before", "stop", "afterwards", "declined", "warnings",
})  # fmt: skip
"""Fields that hold sentences and names for people, alone or in a list."""
TEXT_OF_BOOK: Final = frozenset({"book", "etag"})
"""A digest of all that the book says, its prose too, and the tag made from it: what else changed shows elsewhere."""
CHANGING: Final = frozenset({"seal", "expires", "instance"})
"""Fields that differ from one asking to the next: they hold the clock, a key of the run, or the request's id."""

BESIDE: Final = 60
"""Characters that are shown on both sides of where two texts differ."""

_NUMBER: Final = re.compile(r"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
_TAG: Final = re.compile(r"(<style>.*?</style>|<[^>]*>)", re.DOTALL)


class _Missing:
    """What stands for a field or an item that one of two answers lacks."""

    def __repr__(self) -> str:
        return "(missing)"


MISSING: Final = _Missing()


class Difference(NamedTuple):
    """Where two answers differ: a JSON Pointer, both values, and whether it is one of wording alone."""

    pointer: str
    base: Any
    head: Any
    is_prose: bool = False


def of_answers(base: Mapping[str, Any], head: Mapping[str, Any]) -> Iterator[Difference]:
    """Yield where two stored answers differ: status, header fields, and bodies by their media type."""
    for field in ("status", "headers"):
        yield from of_values(base[field], head[field], f"/{field}")
    media_type = str(base["headers"].get("content-type", "")).partition(";")[0]
    if base["headers"].get("content-type") != head["headers"].get("content-type"):
        return
    if media_type.endswith("json"):
        yield from of_values(json.loads(base["text"]), json.loads(head["text"]))
    elif media_type.endswith("jsonl"):
        lines, others = ([json.loads(line) for line in one["text"].splitlines()] for one in (base, head))
        yield from of_values(lines, others)
    elif media_type in {"image/svg+xml", "text/html"}:
        yield from of_pages(base["text"], head["text"])
    elif media_type == "application/pdf":
        yield from of_pdfs(base64.b64decode(base["base64"]), base64.b64decode(head["base64"]))
    else:
        yield from of_values(base.get("base64"), head.get("base64"), "/body")


def of_values(base: Any, head: Any, pointer: str = "", field: str = "") -> Iterator[Difference]:  # noqa: ANN401 - JSON
    """Yield where two values of JSON differ; the order of an object's names is of no matter.

    Args:
        base: the value before.
        head: the value after.
        pointer: where they are.
        field: the name of the field that they are in, or in a list of.
    """
    if isinstance(base, dict) and isinstance(head, dict):
        for name in (*base, *(name for name in head if name not in base)):
            where = f"{pointer}/{name.replace('~', '~0').replace('/', '~1')}"
            one, other = base.get(name, MISSING), head.get(name, MISSING)
            if MISSING in (one, other):
                yield Difference(where, one, other)
            elif name not in CHANGING or type(one) is not type(other):
                yield from of_values(one, other, where, name)
    elif isinstance(base, list) and isinstance(head, list):
        for index, (one, other) in enumerate(zip_longest(base, head, fillvalue=MISSING)):
            yield from of_values(one, other, f"{pointer}/{index}", field)
    elif isinstance(base, str) and isinstance(head, str):
        if base != head:
            yield Difference(pointer, base, head, _is_prose(base, head, field))
    elif not _same(base, head):
        yield Difference(pointer, base, head, field in PROSE and _are_texts(base, head))


def _are_texts(*values: Any) -> bool:  # noqa: ANN401 - JSON
    """Whether values are texts, or missing: a list of sentences may grow by one."""
    return all(isinstance(value, str | _Missing) for value in values)


def _is_prose(base: str, head: str, field: str) -> bool:
    return field in TEXT_OF_BOOK or (field in PROSE and skeleton(base) != skeleton(head))


def skeleton(text: str) -> str:
    """Return a text without its numbers."""
    return _NUMBER.sub("#", text)


def _same(base: Any, head: Any) -> bool:  # noqa: ANN401 - JSON
    if _is_number(base) and _is_number(head):
        return math.isclose(base, head, rel_tol=RELATIVE, abs_tol=ABSOLUTE)
    return type(base) is type(head) and bool(base == head)


def _is_number(value: Any) -> bool:  # noqa: ANN401 - JSON
    return isinstance(value, int | float) and not isinstance(value, bool)


def same_text(base: str, head: str) -> bool:
    """Whether texts are the same but for numbers that are as good as equal."""
    if base == head:
        return True
    return skeleton(base) == skeleton(head) and all(
        one == other or (math.isfinite(float(one)) and _same(float(one), float(other)))
        for one, other in zip(_NUMBER.findall(base), _NUMBER.findall(head), strict=True)
    )


def of_pages(base: str, head: str) -> Iterator[Difference]:
    """Yield where two documents of SVG or HTML differ, in their words and in their tags.

    Where words differ, lines break elsewhere and all below them moves: then the tags are not compared.
    """
    texts, tags = ([_TAG.split(page)[start::2] for page in (base, head)] for start in (0, 1))
    words = [" ".join(" ".join(parts).split()) for parts in texts]
    if skeleton(words[0]) != skeleton(words[1]):
        yield Difference("/words", *_around(words[0], words[1]), is_prose=True)
        return
    yield from _of_parts("/texts", *texts)
    yield from _of_parts("/tags", *tags)


def of_pdfs(base: bytes, head: bytes) -> Iterator[Difference]:
    """Yield where two PDF documents differ: in the words of their pages, else in what is drawn on them."""
    if base == head:
        return
    readers = [PdfReader(io.BytesIO(document)) for document in (base, head)]
    words = [" ".join(" ".join(page.extract_text() for page in reader.pages).split()) for reader in readers]
    if skeleton(words[0]) != skeleton(words[1]):
        yield Difference("/words", *_around(words[0], words[1]), is_prose=True)
        return
    yield from _of_parts("/boxes", *([str(page.mediabox) for page in reader.pages] for reader in readers))
    yield from _of_parts("/drawn", *([line for page in reader.pages for line in _drawn(page)] for reader in readers))


def _drawn(page: Any) -> list[str]:  # noqa: ANN401 - a page of pypdf
    contents = page.get_contents()
    return [] if contents is None else contents.get_data().decode("latin-1").splitlines()


def _of_parts(pointer: str, base: Sequence[str], head: Sequence[str]) -> Iterator[Difference]:
    """Yield where two lists of texts differ; numbers in them are compared as numbers."""
    for index, (one, other) in enumerate(zip_longest(base, head)):
        if one is None or other is None:
            yield Difference(pointer, f"{len(base)} parts", f"{len(head)} parts")
            return
        if not same_text(one, other):
            yield Difference(f"{pointer}/{index}", *_around(one, other))


def _around(base: str, head: str) -> tuple[str, str]:
    """Return where two texts begin and end to differ, with a little of what is beside it."""
    first = next((at for at, (one, other) in enumerate(zip(base, head, strict=False)) if one != other), -1)
    first = min(len(base), len(head)) if first < 0 else first
    last = 0
    while last < min(len(base), len(head)) - first and base[-1 - last] == head[-1 - last]:
        last += 1
    low = max(0, first - BESIDE)
    return base[low : max(first, len(base) - last) + BESIDE], head[low : max(first, len(head) - last) + BESIDE]
