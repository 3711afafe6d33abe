"""The command line: its commands, their flags and their help."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from importlib.metadata import version
from typing import Any, Final, get_args

from featherline.wire import Face, Kind, Label, PressureLevel, Surface

TIMEOUT_S: Final = 30.0

SHOE_TESTS: Final[Mapping[str, tuple[str, ...]]] = {
    "water_drop": ("soaks-in", "beads"),
    "fingernail": ("dents", "none"),
    "thread": ("sinks", "floats"),
    "marking": ("pvc-free", "pvc", "none"),
}
_SHOE_TEST_HELP: Final[Mapping[str, str]] = {
    "water_drop": "a drop of water on the bare face, after a minute",
    "fingernail": "a thumbnail pressed in for a second, after another",
    "thread": "a thread of the face in water with dish soap",
    "marking": "what the maker says of the whole shoe",
}
_EXIT_CODES: Final = """\
exit codes:
  0  ready (book: shown); roster: every row
  2  the command line or a file is not right
  3  the service refused the request, or some lines or rows of many; what is wrong
     is on standard error, or in the answer of the line or row
  4  the service could not be reached, was busy, or failed
  5  trial: try it first, as the reasons say; roster: one row or more
  6  decline: do not, for the reasons given; roster: one row or more
  1 is left to crashes, 130 to an interrupt
"""
_KEY: Final = "The API key, where the service wants one, is read from FEATHERLINE_API_KEY."
_EXAMPLES: Final[Mapping[str, str]] = {
    "quote": r"""
  featherline quote --shoe regatta-deck --size "EU 42" --panel outer-quarter \
      --film smooth --colour gorse --text "MARLOW\n7" --font plain --height "22 mm"
  featherline quote --label textile --surface knit --area "90 mm x 40 mm" \
      --curvature gentle --panel outer-quarter --film smooth --colour gorse \
      --text 7 --font plain --height "22 mm"
  featherline quote --file order.json --json""",
    "fit": r"""
  featherline fit --shoe regatta-deck --size "EU 42" --panel outer-quarter \
      --film smooth --text MARLOW --font plain --letter-height "9 mm" \
      --place "12 mm above featherline"
  featherline fit --shoe regatta-deck --size "EU 42" --panel outer-quarter \
      --film smooth --text MARLOW --font plain --height "22 mm" --place largest""",
    "recipe": r"""
  featherline recipe --shoe regatta-deck --size "EU 42" --panel outer-quarter \
      --film smooth --press clam --units us""",
    "roster": r"""
  featherline roster crew.csv --out answered.csv --shoe regatta-deck --size "EU 42" \
      --panel outer-quarter --film smooth --colour gorse --text "{name}\n{number}" \
      --font plain --letter-height "9 mm" --policy club
  featherline roster crew.csv --file order.json > answered.csv""",
    "card": r"""
  featherline card --out card.pdf --shoe regatta-deck --size "EU 42" \
      --panel outer-quarter --film smooth --colour gorse --text "MARLOW\n7" \
      --font plain --height "22 mm"
  featherline card --out card.html --file order.json""",
    "book": r"""
  featherline book
  featherline book films
  featherline book films smooth""",
    "bulk": r"""
  featherline bulk questions.jsonl > answers.jsonl
  jq -c '{kind: "quote", request: .}' order.json | featherline bulk -""",
}
_ROSTER: Final = """\
Can this list be done, how, and for how much?

FILE.csv has a row for each wearer; its first line names the columns, in any
order. Where a column's name stands in braces in the order's text, such as {name},
its cell takes that place. Five other columns count, if they are there: size
("EU 42", "8½ UK", or 42 2/3 in the system of --size), pairs, owner, shoe, and id.
All others stay in the file and are not sent. A cell that cannot be read, or that
is in a column only named like these, is a fault of its row; the others are
priced. The answer is the same file with more columns: verdict, recipe,
price_each, price_total, currency, reasons. A summary follows on the screen."""


def make_parser() -> argparse.ArgumentParser:
    """Return the parser of the command line. `command` of what it parses is the name of a command."""
    parser = argparse.ArgumentParser(
        prog="featherline",
        description="Asks a featherline service what marking finished shoes takes and costs.",
        epilog=_epilog(*_EXAMPLES.values()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"featherline {version('featherline')}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    fit_flags = (_add_request, _add_shoe, _add_film, _add_artwork, _add_place)
    order_flags = (*fit_flags, _add_old_marks, _add_order)
    _add_command(commands, "quote", "can it be done, how, and for how much?", *order_flags)
    _add_command(commands, "fit", "does an artwork fit a panel?", *fit_flags)
    _add_command(commands, "recipe", "with which press settings?", _add_request, _add_shoe, _add_recipe, _add_old_marks)

    roster = _add_command(commands, "roster", "can a list be done, how, and for how much?", *order_flags)
    roster.usage = "featherline roster FILE.csv [FLAGS | --file ORDER] [--out FILE.csv]"
    roster.description = _ROSTER
    roster.add_argument("sheet", metavar="FILE.csv", help="the list; - reads stdin")
    roster.add_argument("--out", metavar="FILE.csv", help="file of the answer (default: standard output)")
    roster.add_argument(
        "--encoding", metavar="CODE", help="of the list, such as cp1252 (default: UTF-8, or by its byte order mark)"
    )

    card = _add_command(commands, "card", "write the bench card of an order", *order_flags)
    card.usage = "featherline card [FLAGS | --file FILE] --out FILE.pdf|FILE.html"
    card.add_argument(
        "--out", metavar="FILE", required=True, help="file of the card; its ending, .pdf or .html, is its format"
    )

    book = _add_command(commands, "book", "what does the shop book hold?")
    book.usage = "featherline book [KIND [ID]]"
    book.add_argument("kind", nargs="?", choices=get_args(Kind), metavar="KIND", help="such as films or shoes")
    book.add_argument("id", nargs="?", metavar="ID", help="such as smooth")

    bulk = _add_command(commands, "bulk", "answer a file of questions, one a line")
    bulk.usage = "featherline bulk FILE"
    bulk.add_argument("file", metavar="FILE", help="lines of JSON, as /v1/bulk takes them; - reads stdin")
    bulk.set_defaults(timeout=None)  # a file may be of any length
    return parser


def _add_command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    question: str,
    *flags: Callable[[argparse.ArgumentParser], None],
) -> argparse.ArgumentParser:
    command = commands.add_parser(
        name,
        help=question,
        usage=f"featherline {name} [FLAGS | --file FILE]",
        description=question.capitalize(),
        epilog=_epilog(_EXAMPLES[name]),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument("--url", help="the service's address (else FEATHERLINE_URL, else http://127.0.0.1:8037)")
    command.add_argument("--timeout", type=float, default=TIMEOUT_S, metavar="S", help="seconds, retries included")
    command.add_argument("--json", action="store_true", help="print the answer as JSON, or the problem if refused")
    for add in flags:
        add(command)
    return command


def _epilog(*examples: str) -> str:
    return f"examples:{''.join(examples)}\n\n{_KEY}\n\n{_EXIT_CODES}"


def _add_request(command: argparse.ArgumentParser) -> None:
    command.add_argument("--file", metavar="FILE", help="the request as JSON instead of the flags below; - reads stdin")
    command.add_argument("--units", choices=("metric", "us"), help="units for people (default: metric)")
    command.add_argument("--show-request", action="store_true", help="print the request as JSON and ask nothing")


def _add_shoe(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("shoe of the book")
    group.add_argument("--shoe", metavar="ID")
    group.add_argument("--size", help='system and value, such as "EU 42" or "US-men 9.5"')
    group.add_argument(
        "--makers-consent",
        action="store_true",
        default=None,
        help="you have its maker's written consent, which certified protective footwear needs",
    )
    group = command.add_argument_group("or a walk-in, by its tongue label and a ruler")
    group.add_argument("--label", choices=literals(Label))
    group.add_argument(
        "--upper", metavar="ID", help="the upper that a trial or the maker has named, such as nylon-mesh"
    )
    group.add_argument("--surface", choices=literals(Surface), help="what eye and thumb find (default: unknown)")
    group.add_argument("--area", metavar="W x H", help='largest rectangle on the panel, such as "90 mm x 40 mm"')
    group.add_argument("--face", choices=literals(Face), help="face under the upper platen (default: outer)")
    group.add_argument(
        "--curvature",
        help='flat, gentle, tight, a radius such as "120 mm", or the rise of a ruler, "2.5 mm over 60 mm", negative '
        "where it is hollow (default: unknown)",
    )
    group.add_argument("--curvature-across", metavar="CURVATURE", help="across the shoe, where that differs")
    group.add_argument("--shoe-colour", metavar="HEX", help="such as #1d2b44")
    group.add_argument("--inside-length", metavar="LENGTH", help='such as "275 mm"')
    group.add_argument("--heel-collapses", choices=("yes", "no"))
    for test, outcomes in SHOE_TESTS.items():
        group.add_argument(f"--{test.replace('_', '-')}", choices=outcomes, help=_SHOE_TEST_HELP[test])
    group = command.add_argument_group("on either")
    group.add_argument("--panel", metavar="ID", help="such as outer-quarter")
    group.add_argument("--press", metavar="ID", help="default: the bench's")


def _add_film(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("film")
    group.add_argument("--film", metavar="ID")
    group.add_argument("--colour", metavar="ID")


def _add_artwork(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("artwork")
    group.add_argument("--text", help=r"\n begins a new line")
    group.add_argument("--font", metavar="ID")
    group.add_argument("--path", metavar="D", help="SVG path data instead of a text")
    group.add_argument("--height", help='of the whole artwork, such as "22 mm"')
    group.add_argument("--letter-height", metavar="HEIGHT", help="of a flat capital, instead of --height")
    group.add_argument(
        "--letter-spacing", type=float, metavar="SHARE", help="added between letters, in capital heights (default: 0)"
    )
    group.add_argument(
        "--fit-letters",
        choices=("asked", "space"),
        help="space: as far apart as the film needs, if letters are too near (default: asked)",
    )


def _add_place(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("place")
    group.add_argument(
        "--place",
        metavar="WHERE",
        help='centre (default), largest, or a distance from an edge, such as "12 mm above featherline" or "8 mm in '
        'front of seam"',
    )
    group.add_argument(
        "--along",
        metavar="LENGTH",
        help='with an edge: the distance along it from the panel\'s centre, towards the toe or up, such as "5 mm", or '
        '"-3 mm", written with the space',
    )


def _add_old_marks(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("films on the panel already")
    group.add_argument("--under", metavar="FILM", help="the film that the new one is pressed on")
    group.add_argument("--beside", metavar="FILM", help="a film beside the new one, which gets hot again")


def _add_order(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("order")
    group.add_argument(
        "--backing", metavar="FILM", help='a second film below, and its border, such as "smooth chalk 1.5 mm"'
    )
    group.add_argument("--sides", choices=("both", "left", "right"), help="default: both")
    group.add_argument("--pairs", type=int, metavar="N", help="default: 1")
    group.add_argument(
        "--quantities", type=int, nargs="+", metavar="N", help="other numbers of pairs, to be priced too"
    )
    group.add_argument("--reference", metavar="TEXT", help="your own word for the order, shown on its card")
    group.add_argument("--owner", choices=("customer", "shop"), help="whose pair it is (default: customer)")
    group.add_argument("--policy", metavar="ID", help="price policy (default: the bench's)")


def _add_recipe(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("film and heat")
    group.add_argument("--film", metavar="ID")
    group.add_argument("--cover", metavar="ID", help="hold the recipe to this cover sheet")
    group.add_argument("--temperature", help='hold the recipe to this temperature, such as "320 degF"')
    group.add_argument("--pressure", choices=get_args(PressureLevel), help="hold the recipe to this level")
    group.add_argument(
        "--guard", metavar="DIFFERENCE", help='keep every layer this far below its limit, such as "5 delta_degC"'
    )


def literals(annotated: Any) -> tuple[str, ...]:  # noqa: ANN401 - an annotated Literal has no type of its own
    """Return the values of an annotated Literal."""
    return get_args(get_args(annotated)[0])
