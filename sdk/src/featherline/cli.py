"""The `featherline` command: asks a service from the shell, and prints the answer for a person or for a machine."""
# ruff: noqa: T201 - a command prints

from __future__ import annotations

import argparse
import os
import stat
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from importlib.metadata import version
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Final, get_args

import msgspec

from featherline import flags, screen
from featherline._client import Client
from featherline._endpoints import QUOTES, RECORD_KINDS
from featherline.errors import FeatherlineError, RequestRefused
from featherline.wire import Kind, Record

if TYPE_CHECKING:
    import httpx2
    from stamina.instrumentation import RetryDetails

_EXIT_CODES: Final = """\
exit codes:
  0  ready (or, for book, shown); of a roster, every row
  2  the command line or the file is not right
  3  the service refused the request, or some of many; what is wrong is on standard
     error, or in the line's or row's answer
  4  the service could not be reached, was busy, or failed
  5  trial: try it first, as the reasons say; of a roster, one row or more
  6  decline: do not, for the reasons given; of a roster, one row or more
  1  is left to crashes, 130 to an interrupt
"""
_QUOTE_EXAMPLES: Final = r"""
  featherline quote --shoe regatta-deck --size "EU 42" --panel outer-quarter \
      --film smooth --colour gorse --text "MARLOW\n7" --font plain --height "22 mm"
  featherline quote --label textile --area "90 mm x 40 mm" --curvature gentle \
      --panel outer-quarter --film smooth --colour gorse --text 7 --font plain \
      --height "22 mm"
  featherline quote --file order.json --json"""
_FIT_EXAMPLES: Final = r"""
  featherline fit --shoe regatta-deck --size "EU 42" --panel outer-quarter \
      --film smooth --text MARLOW --font plain --letter-height "9 mm" \
      --place "12 mm above featherline"
  featherline fit --shoe regatta-deck --size "EU 42" --panel outer-quarter \
      --film smooth --text MARLOW --font plain --height "22 mm" --place largest"""
_RECIPE_EXAMPLES: Final = r"""
  featherline recipe --shoe regatta-deck --size "EU 42" --panel outer-quarter \
      --film smooth --press clam --units us"""
_ROSTER_EXAMPLES: Final = r"""
  featherline roster crew.csv --out answered.csv --shoe regatta-deck --size "EU 42" \
      --panel outer-quarter --film smooth --colour gorse --text "{name}\n{number}" \
      --font plain --letter-height "9 mm" --policy club
  featherline roster crew.csv --file order.json > answered.csv"""
_CARD_EXAMPLES: Final = r"""
  featherline card --out card.pdf --shoe regatta-deck --size "EU 42" \
      --panel outer-quarter --film smooth --colour gorse --text "MARLOW\n7" \
      --font plain --height "22 mm"
  featherline card --out card.html --file order.json"""
_ROSTER_SAYS: Final = """\
Can this list be done, how, and for how much?

FILE.csv has a line for each wearer; its first line names the columns, in any
order. A column whose name stands in braces in the order's text, such as {name},
fills it. Of the others five count, where they are there: size ("EU 42", or 42 in
the system of --size), pairs, owner, shoe, and id. The rest are kept, and not sent.
The answer is the same file with columns more: verdict, recipe, price_each,
price_total, currency, reasons. A summary follows on the screen."""
_BOOK_EXAMPLES: Final = r"""
  featherline book
  featherline book films
  featherline book films smooth"""
_BULK_EXAMPLES: Final = r"""
  featherline bulk questions.jsonl > answers.jsonl
  jq -c '{kind: "quote", request: .}' order.json | featherline bulk -"""
_USAGES: Final[Mapping[str, str]] = {
    "roster": "FILE.csv [FLAGS | --file ORDER] [--out FILE.csv]",
    "card": "[FLAGS | --file FILE] --out FILE.pdf|FILE.html",
    "book": "[KIND [ID]]",
    "bulk": "FILE",
}
_REFUSED: Final = 3
_NO_ANSWER: Final = 4
_VERDICTS: Final[Mapping[str, int]] = {"ready": 0, "trial": 5, "decline": 6}
_CARDS: Final[Mapping[str, str]] = {".pdf": "application/pdf", ".html": "text/html"}
_INTERRUPTED: Final = 130
_TIMEOUT_S: Final = 30.0


def main(argv: Sequence[str] | None = None, transport: httpx2.BaseTransport | None = None) -> int:
    """Run the command and return its exit code.

    Args:
        argv: The arguments, else those of the process.
        transport: Carries the requests instead of the network, in tests.
    """
    parser = _parser()
    arguments = parser.parse_args(argv)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal may lack a letter of an artwork
    try:
        with Client(
            arguments.url, timeout=_TIMEOUT_S if arguments.timeout is None else arguments.timeout, transport=transport
        ) as client:
            _tell_of_retries()
            code: int = arguments.run(arguments, client)
            sys.stdout.flush()
            return code
    except (flags.UsageError, ValueError) as error:
        return parser.error(str(error))
    except RequestRefused as error:
        if arguments.json:
            _print_json(error.problem)
        return _complain(error, _REFUSED)
    except FeatherlineError as error:
        return _complain(error, _NO_ANSWER)
    except KeyboardInterrupt:
        return _INTERRUPTED
    except BrokenPipeError:
        # Whoever read the output has read enough; nothing may be flushed into the closed pipe at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="featherline",
        description="Asks a featherline service what marking finished shoes takes and costs.",
        epilog=_epilog(
            *(_QUOTE_EXAMPLES, _FIT_EXAMPLES, _RECIPE_EXAMPLES, _ROSTER_EXAMPLES, _CARD_EXAMPLES),
            *(_BOOK_EXAMPLES, _BULK_EXAMPLES),
        ),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"featherline {version('featherline')}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    of_fit = (flags.add_ask, flags.add_shoe, flags.add_film, flags.add_artwork, flags.add_place)
    of_order = (*of_fit, flags.add_old_marks, flags.add_order)
    quote = _command(commands, "quote", _quote, "can it be done, how, and for how much?", _QUOTE_EXAMPLES)
    for group in of_order:
        group(quote)
    fit = _command(commands, "fit", _fit, "does an artwork fit a panel?", _FIT_EXAMPLES)
    for group in of_fit:
        group(fit)
    recipe = _command(commands, "recipe", _recipe, "with which press settings?", _RECIPE_EXAMPLES)
    for group in (flags.add_ask, flags.add_shoe, flags.add_heat, flags.add_old_marks):
        group(recipe)
    roster = _command(commands, "roster", _roster, "can a list be done, how, and for how much?", _ROSTER_EXAMPLES)
    roster.description = _ROSTER_SAYS
    roster.add_argument("sheet", metavar="FILE.csv", help="the list; - reads stdin")
    roster.add_argument("--out", metavar="FILE.csv", help="where the answer goes (default: standard output)")
    roster.add_argument("--encoding", metavar="CODE", help="of the list, such as cp1252 (default: UTF-8, or as marked)")
    for group in of_order:
        group(roster)
    card = _command(commands, "card", _card, "write the bench card of an order", _CARD_EXAMPLES)
    card.add_argument("--out", metavar="FILE", required=True, help="its ending says what it is: .pdf or .html")
    for group in of_order:
        group(card)
    book = _command(commands, "book", _book, "what does the shop book hold?", _BOOK_EXAMPLES)
    book.add_argument("kind", nargs="?", choices=get_args(Kind), metavar="KIND", help="such as films or shoes")
    book.add_argument("id", nargs="?", help="such as smooth")
    bulk = _command(commands, "bulk", _bulk, "answer a file of questions, one a line", _BULK_EXAMPLES)
    bulk.add_argument("file", metavar="FILE", help="lines of JSON, as /v1/bulk takes them; - reads stdin")
    bulk.set_defaults(timeout=None)  # however long it takes
    return parser


def _epilog(*examples: str) -> str:
    key = "The API key, where the service wants one, is read from FEATHERLINE_API_KEY."
    return f"examples:{''.join(map(str.rstrip, examples))}\n\n{key}\n\n{_EXIT_CODES}"


def _command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    run: Callable[[argparse.Namespace, Client], int],
    says: str,
    examples: str,
) -> argparse.ArgumentParser:
    command = commands.add_parser(
        name,
        help=says,
        usage=f"featherline {name} {_USAGES.get(name, '[FLAGS | --file FILE]')}",
        description=says[0].upper() + says[1:],
        epilog=_epilog(examples),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.set_defaults(run=run)
    command.add_argument("--url", help="the service's address (else FEATHERLINE_URL, else http://127.0.0.1:8037)")
    command.add_argument(
        "--timeout", type=float, default=_TIMEOUT_S, metavar="S", help="seconds in all, retries included"
    )
    command.add_argument("--json", action="store_true", help="print the answer as JSON, or the problem if refused")
    return command


def _quote(arguments: argparse.Namespace, client: Client) -> int:
    question, units = flags.question(arguments, flags.order_of)
    if arguments.show_request:
        return _print_json(question)
    answer = client.quote(question)
    return _print_answer(arguments, answer, answer.verdict, screen.quote(answer, units))


def _fit(arguments: argparse.Namespace, client: Client) -> int:
    question, units = flags.question(arguments, flags.fit_request_of)
    if arguments.show_request:
        return _print_json(question)
    answer = client.fit(question)
    return _print_answer(arguments, answer, answer.fit.verdict, screen.fit(answer, units))


def _recipe(arguments: argparse.Namespace, client: Client) -> int:
    question, units = flags.question(arguments, flags.recipe_request_of)
    if arguments.show_request:
        return _print_json(question)
    answer = client.recipe(question)
    return _print_answer(arguments, answer, answer.recipe.verdict, screen.recipe(answer, units))


def _roster(arguments: argparse.Namespace, client: Client) -> int:
    from featherline import sheets  # noqa: PLC0415 - few need it

    with _open(arguments.sheet) as file:
        sheet = sheets.read(file.read(), arguments.encoding)
    if arguments.shoe is not None and arguments.size is None:
        arguments.size = " ".join(msgspec.structs.astuple(sheets.first_size(sheet)))
    order, units = flags.question(arguments, flags.order_of)
    rows = tuple(sheets.rows(sheet, *sheets.asked(order)))
    roster: Any = msgspec.Raw(msgspec.json.encode({"order": order, "rows": rows}))
    if arguments.show_request:
        return _print_json(roster)
    try:
        answer = client.roster(roster)
    except RequestRefused as error:
        raise RequestRefused(sheets.in_file(error.problem, sheet)) from error
    answered = sheets.write(sheet, answer, units)
    if arguments.out is not None:
        _write(arguments.out, answered)
    elif not arguments.json:
        sys.stdout.buffer.write(answered)
    if arguments.json:
        _print_json(answer)
    else:
        lines = [line.number for line in sheet.lines]
        print(screen.roster(answer, lines), file=sys.stderr if arguments.out is None else sys.stdout)
    counts = answer.counts
    return (
        _REFUSED if counts.faulty else _VERDICTS["decline" if counts.declined else "trial" if counts.trial else "ready"]
    )


def _card(arguments: argparse.Namespace, client: Client) -> int:
    media_type = _CARDS.get(Path(arguments.out).suffix.lower())
    if media_type is None:
        raise flags.UsageError(f"--out is {arguments.out}; give a file that ends in {' or '.join(_CARDS)}")
    order, _ = flags.question(arguments, flags.order_of)
    if arguments.show_request:
        return _print_json(order)
    quote = client.quote(order)
    _write(arguments.out, client._draw(QUOTES, order, media_type, None))  # noqa: SLF001 - of this package
    return _print_answer(arguments, quote, quote.verdict, f"{arguments.out}: {quote.verdict}")


def _write(name: str, content: bytes) -> None:
    try:
        Path(name).write_bytes(content)
    except OSError as error:
        raise flags.UsageError(f"Cannot write {name}: {error.strerror}") from None


def _book(arguments: argparse.Namespace, client: Client) -> int:
    if arguments.kind is None:
        book = client.book()
        return _print_answer(arguments, book, "ready", screen.book(book))
    kind: type[Record] = next(record for record, name in RECORD_KINDS.items() if name == arguments.kind)
    if arguments.id is None:
        records = client.records(kind)
        return _print_answer(arguments, records, "ready", screen.records(records))
    record = client.record(kind, arguments.id)
    return _print_answer(arguments, record, "ready", screen.record(record))


def _bulk(arguments: argparse.Namespace, client: Client) -> int:
    from featherline import line_files  # noqa: PLC0415 - few need it
    from featherline.progress import Progress  # noqa: PLC0415 - the same

    answers = sys.stdout  # a terminal that gets them gets no line about them
    with (
        _open(arguments.file) as file,
        Progress(sys.stderr, _bytes_of(file), shows=not answers.isatty()) as progress,
    ):
        lines = line_files.read_lines(file)
        count, wrong = line_files.answer_lines(client, lines, answers.buffer, progress, arguments.timeout)
    if wrong:
        print(f"featherline: {wrong:,} of {count:,} lines have a problem instead of an answer", file=sys.stderr)
    return _REFUSED if wrong else 0


def _bytes_of(file: BinaryIO) -> int | None:
    """Return the bytes of a file, None where it is a pipe or a terminal and nobody knows."""
    try:
        status = os.fstat(file.fileno())
    except OSError:
        return None
    return status.st_size if stat.S_ISREG(status.st_mode) else None


@contextmanager
def _open(name: str) -> Iterator[BinaryIO]:
    """Open a file; - is standard input."""
    if name == "-":
        yield sys.stdin.buffer
        return
    try:
        file = Path(name).open("rb")  # noqa: SIM115 - closed below
    except OSError as error:
        raise flags.UsageError(f"Cannot read {name}: {error.strerror}") from None
    with file:
        yield file


def _print_answer(arguments: argparse.Namespace, answer: msgspec.Struct, verdict: str, text: str) -> int:
    if arguments.json:
        _print_json(answer)
    else:
        print(text)
    return _VERDICTS[verdict]


def _print_json(value: msgspec.Struct) -> int:
    print(msgspec.json.format(msgspec.json.encode(value), indent=2).decode())
    return 0


def _complain(error: Exception, code: int) -> int:
    print(f"featherline: {error}", file=sys.stderr)
    return code


def _tell_of_retries() -> None:
    """Say on standard error that a question is asked again; left alone, the retries would log, even to the answer."""
    from stamina.instrumentation import set_on_retry_hooks  # noqa: PLC0415 - imported when first needed

    def tell(details: RetryDetails) -> None:
        what = type(details.caused_by).__name__
        print(f"featherline: no answer yet ({what}), trying again in {details.wait_for:.1f} s", file=sys.stderr)

    set_on_retry_hooks([tell])
