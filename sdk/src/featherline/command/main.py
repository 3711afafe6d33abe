"""The commands: each reads its request, asks the service, and prints the answer."""
# ruff: noqa: T201 - a command prints

from __future__ import annotations

import argparse
import os
import stat
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Final

import msgspec

from featherline._client import Client
from featherline._endpoints import QUOTES, RECORD_KINDS
from featherline.command import requests, text
from featherline.command.parser import TIMEOUT_S, make_parser
from featherline.command.requests import UsageError, read_request
from featherline.errors import FeatherlineError, RequestRefused
from featherline.wire import Record, Verdict

if TYPE_CHECKING:
    import httpx2
    from stamina.instrumentation import RetryDetails

_REFUSED: Final = 3
_NO_ANSWER: Final = 4
_INTERRUPTED: Final = 130
_VERDICTS: Final[Mapping[Verdict, int]] = {"ready": 0, "trial": 5, "decline": 6}
_CARD_FORMATS: Final[Mapping[str, str]] = {".pdf": "application/pdf", ".html": "text/html"}


def main(argv: Sequence[str] | None = None, transport: httpx2.BaseTransport | None = None) -> int:
    """Run the command and return its exit code.

    Args:
        argv: The arguments, else those of the process.
        transport: Carries the requests instead of the network, in tests.
    """
    parser = make_parser()
    arguments = parser.parse_args(argv)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal may lack a letter of an artwork
    timeout = TIMEOUT_S if arguments.timeout is None else arguments.timeout
    try:
        with Client(arguments.url, timeout=timeout, transport=transport) as client:
            _report_retries()
            code = _COMMANDS[arguments.command](arguments, client)
            sys.stdout.flush()
            return code
    except (UsageError, ValueError) as error:
        return parser.error(str(error))
    except RequestRefused as error:
        if arguments.json:
            _print_json(error.problem)
        return _print_error(error, _REFUSED)
    except FeatherlineError as error:
        return _print_error(error, _NO_ANSWER)
    except KeyboardInterrupt:
        return _INTERRUPTED
    except BrokenPipeError:
        # The reader has read enough, and Python must not flush into the closed pipe at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def _quote(arguments: argparse.Namespace, client: Client) -> int:
    order, units = read_request(arguments, requests.order)
    if arguments.show_request:
        return _print_json(order)
    answer = client.quote(order)
    return _print_answer(arguments, answer, answer.verdict, text.quote(answer, units))


def _fit(arguments: argparse.Namespace, client: Client) -> int:
    request, units = read_request(arguments, requests.fit)
    if arguments.show_request:
        return _print_json(request)
    answer = client.fit(request)
    return _print_answer(arguments, answer, answer.fit.verdict, text.fit(answer, units))


def _recipe(arguments: argparse.Namespace, client: Client) -> int:
    request, units = read_request(arguments, requests.recipe)
    if arguments.show_request:
        return _print_json(request)
    answer = client.recipe(request)
    return _print_answer(arguments, answer, answer.recipe.verdict, text.recipe(answer, units))


def _roster(arguments: argparse.Namespace, client: Client) -> int:
    from featherline.command import roster_csv, roster_rows  # noqa: PLC0415 - no other command needs them

    if arguments.file is None:
        request, fields = None, roster_rows.fields_of([arguments.text or ""])
    else:
        request = read_request(arguments, requests.order)
        fields, _ = roster_rows.fields_and_size(request[0])
    with _open(arguments.sheet) as file:
        sheet = roster_csv.read(file.read(), arguments.encoding, (*fields, *roster_rows.COLUMNS))
    has_default = arguments.shoe is None or arguments.size is not None
    if not has_default:
        arguments.size = " ".join(msgspec.structs.astuple(roster_rows.first_size(sheet)))
    order, units = request or read_request(arguments, requests.order)
    fields, size = roster_rows.fields_and_size(order)
    rows = tuple(roster_rows.rows(sheet, fields, size, has_default=has_default))
    roster: Any = msgspec.Raw(msgspec.json.encode({"order": order, "rows": rows}))
    if arguments.show_request:
        return _print_json(roster)
    try:
        answer = client.roster(roster)
    except RequestRefused as error:
        raise RequestRefused(roster_csv.with_line_numbers(error.problem, sheet)) from error
    told = roster_rows.with_empty_cells(answer, sheet, fields)
    answered = roster_csv.write(sheet, told, units)
    if arguments.out is not None:
        _write(arguments.out, answered)
    elif not arguments.json:
        sys.stdout.buffer.write(answered)
    if arguments.json:
        _print_json(answer)
    else:
        numbers = [line.number for line in sheet.lines]
        remarks = roster_rows.remarks(sheet, fields, size if has_default else None)
        print(text.roster(told, numbers, remarks), file=sys.stderr if arguments.out is None else sys.stdout)
    counts = answer.counts
    if counts.faulty:
        return _REFUSED
    return _VERDICTS["decline" if counts.declined else "trial" if counts.trial else "ready"]


def _card(arguments: argparse.Namespace, client: Client) -> int:
    media_type = _CARD_FORMATS.get(Path(arguments.out).suffix.lower())
    if media_type is None:
        raise UsageError(f"--out is {arguments.out}; give a file that ends in {' or '.join(_CARD_FORMATS)}")
    order, _ = read_request(arguments, requests.order)
    if arguments.show_request:
        return _print_json(order)
    quote = client.quote(order)
    # Not `client.picture`, which knows requests by their class: an order from a file is JSON.
    _write(arguments.out, client._draw(QUOTES, order, media_type, None))  # noqa: SLF001 - of this package
    return _print_answer(arguments, quote, quote.verdict, f"{arguments.out}: {quote.verdict}")


def _book(arguments: argparse.Namespace, client: Client) -> int:
    if arguments.kind is None:
        book = client.book()
        return _print_answer(arguments, book, "ready", text.book(book))
    kind: type[Record] = next(record for record, name in RECORD_KINDS.items() if name == arguments.kind)
    if arguments.id is None:
        records = client.records(kind)
        return _print_answer(arguments, records, "ready", text.records(records))
    record = client.record(kind, arguments.id)
    return _print_answer(arguments, record, "ready", text.record(record))


def _bulk(arguments: argparse.Namespace, client: Client) -> int:
    from featherline.command import bulk_files  # noqa: PLC0415 - no other command needs it
    from featherline.command.progress import Progress  # noqa: PLC0415 - the same

    out = sys.stdout  # if it is a terminal, it shows the answers, and no progress
    with _open(arguments.file) as file, Progress(sys.stderr, _size(file), shown=not out.isatty()) as progress:
        lines = bulk_files.read_lines(file)
        count, failed = bulk_files.answer_lines(client, lines, out.buffer, progress, arguments.timeout)
    if failed:
        print(f"featherline: {failed:,} of {count:,} lines have a problem instead of an answer", file=sys.stderr)
    return _REFUSED if failed else 0


_COMMANDS: Final[Mapping[str, Callable[[argparse.Namespace, Client], int]]] = {
    "quote": _quote,
    "fit": _fit,
    "recipe": _recipe,
    "roster": _roster,
    "card": _card,
    "book": _book,
    "bulk": _bulk,
}


@contextmanager
def _open(name: str) -> Iterator[BinaryIO]:
    """Open a file to read; - is standard input."""
    if name == "-":
        yield sys.stdin.buffer
        return
    try:
        file = Path(name).open("rb")  # noqa: SIM115 - closed below
    except OSError as error:
        raise UsageError(f"Cannot read {name}: {error.strerror}") from None
    with file:
        yield file


def _size(file: BinaryIO) -> int | None:
    """Return the size of a file [bytes], or None for a pipe or a terminal."""
    try:
        status = os.fstat(file.fileno())
    except OSError:
        return None
    return status.st_size if stat.S_ISREG(status.st_mode) else None


def _write(name: str, content: bytes) -> None:
    try:
        Path(name).write_bytes(content)
    except OSError as error:
        raise UsageError(f"Cannot write {name}: {error.strerror}") from None


def _print_answer(arguments: argparse.Namespace, answer: msgspec.Struct, verdict: Verdict, page: str) -> int:
    """Print an answer as JSON or as text, and return the exit code of its verdict."""
    if arguments.json:
        _print_json(answer)
    else:
        print(page)
    return _VERDICTS[verdict]


def _print_json(value: msgspec.Struct) -> int:
    print(msgspec.json.format(msgspec.json.encode(value), indent=2).decode())
    return 0


def _print_error(error: Exception, code: int) -> int:
    print(f"featherline: {text.with_flags(str(error))}", file=sys.stderr)
    return code


def _report_retries() -> None:
    """Report every retry on standard error; by default stamina would log it, maybe between the answers."""
    from stamina.instrumentation import set_on_retry_hooks  # noqa: PLC0415 - imported when first needed

    def report(details: RetryDetails) -> None:
        cause = type(details.caused_by).__name__
        print(f"featherline: no answer yet ({cause}), trying again in {details.wait_for:.1f} s", file=sys.stderr)

    set_on_retry_hooks([report])
