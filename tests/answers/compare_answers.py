"""Show that every answer of the service stayed the same between two commits: exit status 1 where one did not.

``python tests/answers/compare_answers.py BASE [HEAD]``; without HEAD, the working tree as it is. Both are asked the
requests stored beside this file, every request of ``openapi/examples`` and what can be read of the book, each by its
own code in a process of its own, in the environment that runs this. So the engine's version is that of the installed
metadata on both sides. Seals and their expiry, ids of requests and lengths of bodies are not compared.

With ``--words``, prose that reads otherwise is listed and does not fail. Prose in which nothing but a number changed is
another answer, and fails. The book's revision, a digest of its prose too, counts as prose; what else the book says is
read, and compared. Where words of a picture or a card changed, its layout is not compared.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Final

from differences import Difference, of_answers

ROOT: Final = Path(__file__).parents[2]
EXAMPLES: Final = ROOT / "openapi" / "examples"
STORED: Final = Path(__file__).with_name("requests.jsonl")
ASKING: Final = Path(__file__).with_name("ask_requests.py")
UNREPEATABLE: Final = frozenset({"/.well-known/jwks.json"})
"""What is made anew by each run."""
LONGEST_SHOWN: Final = 160

Json = dict[str, Any]


def stored() -> list[Json]:
    """Return the stored requests."""
    return [json.loads(line) for line in STORED.read_text("utf-8").splitlines()]


def examples() -> Iterator[Json]:
    """Yield every request of the examples."""
    index = json.loads((EXAMPLES / "recorded" / "index.json").read_text("utf-8"))
    for each in index["asked"]:
        kind = each["request"].rpartition(".")[2]
        yield {
            "path": each["path"],
            "raw": (EXAMPLES / each["request"]).read_text("utf-8"),
            "type": f"application/{kind}",
        }
    for each in index["read"]:
        if each["path"] not in UNREPEATABLE:
            yield {"method": "GET", "path": each["path"]}


def readings() -> Iterator[Json]:
    """Yield what can be read of the book: every kind of record, a record of each, and what there is not."""
    for shelf in json.loads((EXAMPLES / "book-answer.json").read_text("utf-8"))["kinds"]:
        yield {"method": "GET", "path": f"/v1/book/{shelf['kind']}"}
        yield {"method": "GET", "path": f"/v1/book/{shelf['kind']}/{shelf['ids'][-1]}"}
    for path in ("/v1/book/hats", "/v1/book/films/cellophane", "/v1/hats", "/v1/quotes", "/v1/book?kind=films"):
        yield {"method": "GET", "path": path}


def requests() -> list[Json]:
    """Return all that both sides are asked."""
    return [*stored(), *examples(), *readings()]


@contextmanager
def tree_of(commit: str | None) -> Iterator[Path]:
    """Give the source tree of a commit for a while; the working tree for none."""
    if commit is None:
        yield ROOT
        return
    with tempfile.TemporaryDirectory(prefix="featherline-") as folder:
        tree = Path(folder) / "tree"
        git = ("git", "-C", str(ROOT), "worktree")
        subprocess.run([*git, "add", "--quiet", "--detach", str(tree), commit], check=True)
        try:
            yield tree
        finally:
            subprocess.run([*git, "remove", "--force", str(tree)], check=True)


def start(tree: Path, asked: Path, into: Path) -> subprocess.Popen[bytes]:
    """Start to ask the code of a source tree."""
    path = os.pathsep.join(str(tree / sources) for sources in ("sdk/src", "service/src"))
    environment = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
    return subprocess.Popen(
        [sys.executable, str(ASKING), str(tree), str(asked), str(into)],
        env={**environment, "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"},
        cwd=into.parent,
    )


def ask(trees: Mapping[str, Path], asked: Sequence[Json], folder: Path) -> dict[str, list[Json]]:
    """Return the answers of the code of some source trees by their names, asked side by side.

    Args:
        trees: where the source trees are.
        asked: the requests.
        folder: where requests and answers are written, as JSON lines.

    Raises:
        RuntimeError: a service could not be asked; what it said is in the standard error.
    """
    given = folder / "requests.jsonl"
    given.write_text("".join(f"{json.dumps(request)}\n" for request in asked), "utf-8")
    running = {name: start(tree, given, folder / f"{name}.jsonl") for name, tree in trees.items()}
    try:
        failed = [name for name, process in running.items() if process.wait()]
    finally:
        for process in running.values():
            process.kill()
    if failed:
        raise RuntimeError(f"The service of {' and of '.join(failed)} could not be asked")
    return {name: [json.loads(line) for line in _lines(folder / f"{name}.jsonl")] for name in trees}


def _lines(file: Path) -> list[str]:
    return file.read_text("utf-8").splitlines()


def compare(base: Sequence[Json], head: Sequence[Json]) -> list[tuple[int, Difference]]:
    """Return every difference of the answers to the same requests, with the request's place."""
    pairs = enumerate(zip(base, head, strict=True))
    return [(index, difference) for index, (one, other) in pairs for difference in of_answers(one, other)]


class Occurrences:
    """What occurs in answers: how wide the requests reach."""

    def __init__(self, asked: Sequence[Json], answers: Sequence[Json]) -> None:
        self.answered: Counter[tuple[str, str, int, str]] = Counter()
        self.verdicts: Counter[tuple[str, str]] = Counter()
        self.codes: Counter[str] = Counter()
        self.cautions: Counter[str] = Counter()
        self.problems: Counter[str] = Counter()
        self.faults: Counter[tuple[str, str]] = Counter()
        for request, answer in zip(asked, answers, strict=True):
            media_type = answer["headers"].get("content-type", "").partition(";")[0]
            path = request["path"].partition("?")[0]
            self.answered[request.get("method", "POST"), path, answer["status"], media_type] += 1
            if "json" in media_type:
                for line in answer["text"].splitlines():
                    self._count(path, json.loads(line))

    def _count(self, path: str, body: Json) -> None:
        parts = [body, *(part for name in ("recipe", "fit", "trial") if isinstance(part := body.get(name), dict))]
        self.verdicts.update((path, part["verdict"]) for part in (*parts, *body.get("films", ())) if "verdict" in part)
        if "declined" in body:
            self.verdicts[path, "decline" if body["declined"] else "priced"] += 1
        for inside in _objects(body):
            match inside:
                case {"code": str(code), "verdict": _}:
                    self.codes[code] += 1
                case {"code": str(code), "source": _}:
                    self.cautions[code] += 1
                case {"pointer": str(pointer), "detail": str(detail)}:
                    self.faults[pointer, detail] += 1
                case {"type": str(kind), "instance": _}:
                    self.problems[kind.rpartition(":")[2]] += 1
                case _:
                    pass


def _objects(value: Any) -> Iterator[Json]:  # noqa: ANN401 - JSON
    """Yield every object in a value of JSON."""
    if isinstance(value, dict):
        yield value
    for inside in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from _objects(inside)


def reached(occurrences: Occurrences) -> Iterator[str]:
    """Yield what was answered, and what occurs in it, line by line."""
    yield f"{sum(occurrences.answered.values())} answers compared:"
    for (method, path, status, media_type), count in sorted(occurrences.answered.items()):
        if path.count("/") < 3 or method == "POST":
            yield f"  {count:4} {method} {path} {status} {media_type}"
    records = sum(
        count for (method, path, *_), count in occurrences.answered.items() if path.count("/") > 2 and method == "GET"
    )
    yield f"  {records:4} GET of the book's kinds, of records, of health and of well-known places"
    for what, counted in (
        ("verdicts", {f"{path} {verdict}": count for (path, verdict), count in occurrences.verdicts.items()}),
        ("reason codes", occurrences.codes),
        ("cautions", occurrences.cautions),
        ("problem types", occurrences.problems),
    ):
        yield f"{len(counted)} {what}: " + ", ".join(f"{name} {count}" for name, count in sorted(counted.items()))
    pointers = len({pointer for pointer, _ in occurrences.faults})
    yield f"{len(occurrences.faults)} different faults, at {pointers} different pointers"


def shown(value: Any) -> str:  # noqa: ANN401 - JSON
    """Return a value for people, cut to a line."""
    text = repr(value)
    return text if len(text) <= LONGEST_SHOWN else f"{text[: LONGEST_SHOWN - 1]}…"


def report(
    asked: Sequence[Json], differing: Sequence[tuple[int, Difference]], *, words: bool, most: int
) -> Iterator[str]:
    """Yield the differences line by line; with `words`, those of prose as pairs, each with how often it occurs."""
    prose = [each for _, each in differing if each.is_prose]
    listed = [(index, each) for index, each in differing if not (words and each.is_prose)]
    for index, each in listed[:most]:
        request = asked[index]
        what = f"{request.get('method', 'POST')} {request['path']} {request.get('accept', '')}".strip()
        kind = "words" if each.is_prose else "answer"
        yield f"#{index} {what} {each.pointer or '/'} ({kind}): {shown(each.base)} -> {shown(each.head)}"
    if len(listed) > most:
        yield f"... and {len(listed) - most} more differences; --most shows more"
    if words:
        for (base, head), count in Counter((str(each.base), str(each.head)) for each in prose).most_common():
            yield f"{count:4} x {base!r}\n    -> {head!r}"
    requests_apart = len({index for index, each in differing if not each.is_prose})
    yield (
        f"{len(differing) - len(prose)} differences of answers, in {requests_apart} of {len(asked)}; "
        f"{len(prose)} of words, in {len({index for index, each in differing if each.is_prose})}"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Ask both sides, compare and print; return the exit status."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("base", help="the commit whose answers are right")
    parser.add_argument("head", nargs="?", help="the commit to compare with it; without it, the working tree as it is")
    parser.add_argument("--words", action="store_true", help="list prose that reads otherwise, and do not fail on it")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="keep requests and answers in this folder")
    parser.add_argument("--most", type=int, default=100, metavar="N", help="differences that are shown (100)")
    given = parser.parse_args(arguments)
    asked = requests()
    with ExitStack() as stack:
        trees = {"base": stack.enter_context(tree_of(given.base)), "head": stack.enter_context(tree_of(given.head))}
        folder = given.keep or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="featherline-")))
        folder.mkdir(parents=True, exist_ok=True)
        answers = ask(trees, asked, folder.resolve())
    differing = compare(answers["base"], answers["head"])
    for line in (
        *reached(Occurrences(asked, answers["base"])),
        *report(asked, differing, words=given.words, most=given.most),
    ):
        print(line)
    return int(any(not (given.words and each.is_prose) for _, each in differing))


if __name__ == "__main__":
    sys.exit(main())
