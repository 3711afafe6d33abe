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
from typing import TYPE_CHECKING, Any, BinaryIO, Final, TypeVar, cast, get_args

import msgspec

from featherline import screen
from featherline.client import KINDS, Client
from featherline.errors import FeatherlineError, RequestRefused
from featherline.wire import (
    BookShoe,
    Face,
    FitRequest,
    Kind,
    Label,
    MeasuredPanel,
    MeasuredShoe,
    Order,
    PathArtwork,
    Placement,
    RecipeRequest,
    Record,
    Rectangle,
    Shoe,
    ShoePanel,
    Size,
    SizeSystem,
    TextArtwork,
    Units,
)

if TYPE_CHECKING:
    import httpx2
    from stamina.instrumentation import RetryDetails

Question = TypeVar("Question", Order, FitRequest, RecipeRequest)

_EXIT_CODES: Final = """\
exit codes:
  0  ready (or, for book, shown)
  2  the command line or the file is not right
  3  the service refused the request, or some of many; what is wrong is on standard
     error, or in the line's answer
  4  the service could not be reached, was busy, or failed
  5  trial: try it first, as the reasons say
  6  decline: do not, for the reasons given
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
      --film smooth --text MARLOW --font plain --letter-height "9 mm" """
_RECIPE_EXAMPLES: Final = r"""
  featherline recipe --shoe regatta-deck --size "EU 42" --panel outer-quarter \
      --film smooth --press clam --units us"""
_BOOK_EXAMPLES: Final = r"""
  featherline book
  featherline book films
  featherline book films smooth"""
_BULK_EXAMPLES: Final = r"""
  featherline bulk questions.jsonl > answers.jsonl
  jq -c '{kind: "quote", request: .}' order.json | featherline bulk -"""
_USAGES: Final[Mapping[str, str]] = {"book": "[KIND [ID]]", "bulk": "FILE"}
_REFUSED: Final = 3
_NO_ANSWER: Final = 4
_VERDICTS: Final[Mapping[str, int]] = {"ready": 0, "trial": 5, "decline": 6}
_INTERRUPTED: Final = 130
_TIMEOUT_S: Final = 30.0
_BYTE_ORDER_MARK: Final = b"\xef\xbb\xbf"
_BESIDES_THE_REQUEST: Final = {"command", "run", "file", "url", "json", "timeout", "units", "show_request"}


class _UsageError(Exception):
    """The command line or the file is not right."""


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
    except (_UsageError, ValueError) as error:
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
        epilog=_epilog(_QUOTE_EXAMPLES, _FIT_EXAMPLES, _RECIPE_EXAMPLES, _BOOK_EXAMPLES, _BULK_EXAMPLES),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"featherline {version('featherline')}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    quote = _command(commands, "quote", _quote, "can it be done, how, and for how much?", _QUOTE_EXAMPLES)
    for group in (_ask, _shoe, _film, _artwork, _order):
        group(quote)
    fit = _command(commands, "fit", _fit, "does an artwork fit a panel?", _FIT_EXAMPLES)
    for group in (_ask, _shoe, _film, _artwork):
        group(fit)
    recipe = _command(commands, "recipe", _recipe, "with which press settings?", _RECIPE_EXAMPLES)
    for group in (_ask, _shoe, _heat):
        group(recipe)
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


def _ask(command: argparse.ArgumentParser) -> None:
    command.add_argument("--file", metavar="FILE", help="the request as JSON instead of the flags below; - reads stdin")
    command.add_argument("--units", choices=("metric", "us"), help="units for people (default: metric)")
    command.add_argument("--show-request", action="store_true", help="print the request as JSON and ask nothing")


def _shoe(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("shoe of the book")
    group.add_argument("--shoe", metavar="ID")
    group.add_argument("--size", help='system and value, such as "EU 42" or "US-men 9.5"')
    group = command.add_argument_group("or a walk-in, by its tongue label and a ruler")
    group.add_argument("--label", choices=_literals(Label))
    group.add_argument("--area", metavar="W x H", help='largest rectangle on the panel, such as "90 mm x 40 mm"')
    group.add_argument("--face", choices=_literals(Face), help="face under the upper platen (default: outer)")
    group.add_argument("--curvature", help='flat, gentle, tight, or a radius such as "120 mm" (default: unknown)')
    group.add_argument("--shoe-colour", metavar="HEX", help="such as #1d2b44")
    group.add_argument("--inside-length", metavar="LENGTH", help='such as "275 mm"')
    group.add_argument("--heel-collapses", choices=("yes", "no"))
    group = command.add_argument_group("on either")
    group.add_argument("--panel", metavar="ID", help="such as outer-quarter")
    group.add_argument("--press", metavar="ID", help="default: the bench's")


def _film(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("film")
    group.add_argument("--film", metavar="ID")
    group.add_argument("--colour", metavar="ID")


def _artwork(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("artwork")
    group.add_argument("--text", help=r"\n begins a new line")
    group.add_argument("--font", metavar="ID")
    group.add_argument("--path", metavar="D", help="SVG path data instead of a text")
    group.add_argument("--height", help='of the whole artwork, such as "22 mm"')
    group.add_argument("--letter-height", metavar="HEIGHT", help="of a flat capital, instead of --height")


def _order(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("order")
    group.add_argument("--sides", choices=("both", "left", "right"), help="default: both")
    group.add_argument("--pairs", type=int, metavar="N", help="default: 1")
    group.add_argument("--owner", choices=("customer", "shop"), help="whose pair it is (default: customer)")
    group.add_argument("--policy", metavar="ID", help="price policy (default: the bench's)")


def _heat(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("film and heat")
    group.add_argument("--film", metavar="ID")
    group.add_argument("--cover", metavar="ID", help="hold the recipe to this cover sheet")
    group.add_argument("--temperature", help='hold the recipe to this, such as "320 degF"')
    group.add_argument("--guard", metavar="DIFFERENCE", help='stay below every limit by this, such as "5 delta_degC"')


def _quote(arguments: argparse.Namespace, client: Client) -> int:
    question, units = _question(arguments, _order_of)
    if arguments.show_request:
        return _print_json(question)
    answer = client.quote(question)
    return _print_answer(arguments, answer, answer.verdict, screen.quote(answer, units))


def _fit(arguments: argparse.Namespace, client: Client) -> int:
    question, units = _question(arguments, _fit_request_of)
    if arguments.show_request:
        return _print_json(question)
    answer = client.fit(question)
    return _print_answer(arguments, answer, answer.fit.verdict, screen.fit(answer, units))


def _recipe(arguments: argparse.Namespace, client: Client) -> int:
    question, units = _question(arguments, _recipe_request_of)
    if arguments.show_request:
        return _print_json(question)
    answer = client.recipe(question)
    return _print_answer(arguments, answer, answer.recipe.verdict, screen.recipe(answer, units))


def _book(arguments: argparse.Namespace, client: Client) -> int:
    if arguments.kind is None:
        book = client.book()
        return _print_answer(arguments, book, "ready", screen.book(book))
    kind: type[Record] = next(record for record, name in KINDS.items() if name == arguments.kind)
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
        _lines(arguments.file) as file,
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
def _lines(name: str) -> Iterator[BinaryIO]:
    """Open a file of lines; - is standard input."""
    if name == "-":
        yield sys.stdin.buffer
        return
    try:
        file = Path(name).open("rb")  # noqa: SIM115 - closed below
    except OSError as error:
        raise _UsageError(f"Cannot read {name}: {error.strerror}") from None
    with file:
        yield file


def _question(
    arguments: argparse.Namespace, of_flags: Callable[[argparse.Namespace], Question]
) -> tuple[Question, Units]:
    """Return the request that the flags or the file make, and the units to print in."""
    if arguments.file is None:
        return of_flags(arguments), arguments.units or "metric"
    flags = [
        f"--{name.replace('_', '-')}"
        for name, value in vars(arguments).items()
        if value is not None and name not in _BESIDES_THE_REQUEST
    ]
    if flags:
        raise _UsageError(f"--file is the whole request; put what {', '.join(flags)} say into it")
    content = _file(arguments.file)
    if arguments.units is not None:
        content["units"] = arguments.units
    # Sent as it was read: the service judges it, and names every fault by its place in the file.
    request: Any = msgspec.Raw(msgspec.json.encode(content))
    return request, "us" if content.get("units") == "us" else "metric"


def _file(name: str) -> dict[str, Any]:
    try:
        content = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
        return msgspec.json.decode(content.removeprefix(_BYTE_ORDER_MARK), type=dict[str, Any])
    except OSError as error:
        raise _UsageError(f"Cannot read {name}: {error.strerror}") from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise _UsageError(f"{name} is not a JSON object in UTF-8: {error}") from None


def _order_of(arguments: argparse.Namespace) -> Order:
    shoe = _shoe_of(arguments)
    placement = Placement(
        panel=_needed(arguments, "panel"),
        film=_needed(arguments, "film"),
        colour=_needed(arguments, "colour"),
        artwork=_artwork_of(arguments),
        **_given(arguments, "sides"),
    )
    return Order(shoe=shoe, placements=(placement,), **_given(arguments, "owner", "pairs", "press", "policy", "units"))


def _fit_request_of(arguments: argparse.Namespace) -> FitRequest:
    return FitRequest(
        shoe=_shoe_of(arguments),
        panel=_needed(arguments, "panel"),
        film=_needed(arguments, "film"),
        artwork=_artwork_of(arguments),
        **_given(arguments, "colour", "press", "units"),
    )


def _recipe_request_of(arguments: argparse.Namespace) -> RecipeRequest:
    return RecipeRequest(
        film=_needed(arguments, "film"),
        onto=ShoePanel(shoe=_shoe_of(arguments), panel=_needed(arguments, "panel")),
        **_given(arguments, "press", "cover", "temperature", "guard", "units"),
    )


def _shoe_of(arguments: argparse.Namespace) -> Shoe:
    if (arguments.shoe is None) == (arguments.label is None):
        raise _UsageError("Give --shoe and --size for a shoe of the book, or --label and --area for a walk-in")
    if arguments.label is None:
        return BookShoe(shoe=arguments.shoe, size=_size(_needed(arguments, "size")))
    width, cross, height = _needed(arguments, "area").partition("x")
    if not cross:
        raise _UsageError(f'--area is {width!r}; give width and height, such as "90 mm x 40 mm"')
    panel = MeasuredPanel(
        panel=_needed(arguments, "panel"),
        shape=Rectangle(width=width.strip(), height=height.strip()),
        colour=arguments.shoe_colour,
        **_given(arguments, "face", "curvature"),
    )
    collapses = None if arguments.heel_collapses is None else arguments.heel_collapses == "yes"
    return MeasuredShoe(
        label=arguments.label, panels=(panel,), inside_length=arguments.inside_length, heel_collapses=collapses
    )


def _size(text: str) -> Size:
    system, _, value = text.strip().partition(" ")
    systems = {name.casefold(): name for name in _literals(SizeSystem)}
    if system.casefold() not in systems or not value:
        raise _UsageError(
            f'--size is {text!r}; give a system and a value, such as "EU 42"; systems: {", ".join(systems.values())}'
        )
    return Size(system=cast("SizeSystem", systems[system.casefold()]), value=value.strip())


def _artwork_of(arguments: argparse.Namespace) -> TextArtwork | PathArtwork:
    if (arguments.text is None) == (arguments.path is None):
        raise _UsageError("Give an artwork: --text and --font, or --path")
    if arguments.path is not None:
        return PathArtwork(d=arguments.path, height=_needed(arguments, "height"))
    if (arguments.height is None) == (arguments.letter_height is None):
        raise _UsageError("Give the text one of --height and --letter-height, such as '22 mm'")
    return TextArtwork(
        text=arguments.text.replace("\\n", "\n"),
        font=_needed(arguments, "font"),
        **_given(arguments, "height", "letter_height"),
    )


def _needed(arguments: argparse.Namespace, name: str) -> str:
    value: str | None = getattr(arguments, name)
    if value is None:
        raise _UsageError(f"--{name} is needed, or the whole request as --file")
    return value


def _given(arguments: argparse.Namespace, *names: str) -> dict[str, Any]:
    return {name: getattr(arguments, name) for name in names if getattr(arguments, name) is not None}


def _literals(annotated: Any) -> tuple[str, ...]:  # noqa: ANN401 - an annotated Literal has no type of its own
    return get_args(get_args(annotated)[0])


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
