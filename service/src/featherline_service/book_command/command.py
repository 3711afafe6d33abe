"""The arguments of `featherline-service book`, and what each of its commands does."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, get_args

from msgspec import convert

from featherline.plugins import PluginError
from featherline.wire.records import Kind
from featherline.wire.tracings import Unit
from featherline_service import settings as environment
from featherline_service.book.faults import BookError
from featherline_service.book.loader import read_layers
from featherline_service.book.tables.layers import laid_over
from featherline_service.book.tables.merging import merged
from featherline_service.book.timetable import changed
from featherline_service.book.toml_records import DEFAULTS
from featherline_service.book_command import (
    checks,
    csv_records,
    differences,
    explanations,
    matrix_files,
    new_book,
    panel_files,
    press_readings,
)
from featherline_service.book_command.csv_records import CsvError
from featherline_service.book_command.explanations import UnknownRecordError
from featherline_service.book_command.new_book import AnswerError
from featherline_service.book_command.opened_books import OpenedBook, open_book
from featherline_service.book_command.panel_files import PanelFileError
from featherline_service.messages.catalogues import catalogues
from featherline_service.questions.matrix.matrices import SAMPLE_MM, SAMPLE_TEXT, Sample, matrix

UNUSABLE: Final = 2  # the exit code
_BOOK: Final = "folders of the book, divided by ':'; `demo` for the demo book; by default FEATHERLINE_BOOK"
_PANELS: Final = "panels"
UNITS: Final = get_args(get_args(Unit)[0])
_WRITERS: Final = ("json", "csv", "svg")


def main(arguments: Sequence[str], environ: Mapping[str, str], ask: Callable[[str], str] = input) -> int:
    """Do what the arguments say.

    Args:
        arguments: What follows `featherline-service book`.
        environ: The environment.
        ask: Shows a question and returns the answer.

    Returns:
        The exit code: 0 done, 2 the book or what was given cannot be used.
    """
    options = _parser().parse_args(arguments)
    try:
        code: int = options.run(options, environ, ask)
    except (environment.SettingsError, PluginError, BookError) as error:
        sys.stderr.write(f"The book cannot be used: {error}\n")
    except (AnswerError, CsvError, PanelFileError, UnknownRecordError) as error:
        sys.stderr.write(f"{error}\n")
    except (OSError, UnicodeDecodeError) as error:
        sys.stderr.write(f"A file cannot be used: {error}\n")
    except EOFError:
        sys.stderr.write("No more answers; give them as options, as `featherline-service book new --help` says\n")
    else:
        return code
    return UNUSABLE


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="featherline-service book", description="Work on a shop's own book.")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    new = _command(commands, "new", "write a book of one's own, from a few answers", _new)
    new.add_argument("folder", type=Path)
    for name, what in (
        ("name", "the shop's name"), ("currency", "ISO 4217 code"), ("tax", "share of the net price, such as 20%%"),
        ("hourly", "what an hour of work costs"), ("markup", "markup on the cost, such as 60%%"),
        ("language", f"of the bench's cards ({', '.join(catalogues())}); by default that of your locale"),
    ):  # fmt: skip
        new.add_argument(f"--{name}", help=what)
    for name, parts in (
        ("press", new_book.press_parts()),
        ("film", new_book.film_parts()),
        ("shoe", new_book.shoe_parts(_known())),
    ):
        what = f"{new_book.explained(parts)}. May be given several times"
        new.add_argument(f"--{name}", action="append", metavar=new_book.form(parts), help=what)

    check = _command(commands, "check", "tell every problem of a book, and what changes when", _check)
    check.add_argument("book", nargs="?", help=_BOOK)

    diff = _command(commands, "diff", "tell which example orders move from one book to another", _diff)
    diff.add_argument("before", help=_BOOK)
    diff.add_argument("after")
    _add_sample(diff)

    for name, what, run in (
        ("import", "set films, shoes or sizes from a CSV file, or a panel from a drawing (SVG, DXF)", _import),
        ("export", "write films, shoes or sizes as CSV", _export),
    ):
        command = _command(commands, name, what, run)
        kinds = tuple(csv_records.COLUMNS)
        command.add_argument("kind", choices=(*kinds, _PANELS) if run is _import else kinds)
        if run is _import:
            command.add_argument("file", type=Path)
            command.add_argument("folder", type=Path, help="the folder that is changed")
            command.add_argument("--shoe", help="of panels: the shoe that has it")
            command.add_argument("--panel", help="of panels: its id; a new one is added")
            command.add_argument(
                "--face", choices=new_book.FACES, help="of panels: where a new one is, by default outer"
            )
            command.add_argument("--unit", choices=UNITS, help="of panels: the drawing's unit, if it does not say it")
        else:
            command.add_argument("book", nargs="?", help=_BOOK)

    explain = _command(commands, "explain", "say where a record's values are from, and what they matter", _explain)
    explain.add_argument("record", help="KIND/ID, such as films/smooth")
    explain.add_argument("book", nargs="?", help=_BOOK)

    shown = _command(commands, "matrix", "tell which shoes take which films", _matrix)
    shown.add_argument("book", nargs="?", help=_BOOK)
    shown.add_argument("--as", dest="form", choices=_WRITERS, default="csv")
    shown.add_argument("--out", type=Path, help="a file; by default standard output")
    _add_sample(shown)
    return parser


Run = Callable[[argparse.Namespace, Mapping[str, str], Callable[[str], str]], int]


def _command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], name: str, what: str, run: Run
) -> argparse.ArgumentParser:
    command = commands.add_parser(name, help=what, description=f"{what[0].upper()}{what[1:]}.")
    command.set_defaults(run=run)
    return command


def _add_sample(command: argparse.ArgumentParser) -> None:
    command.add_argument("--text", default=SAMPLE_TEXT, help=f"the sample, {SAMPLE_TEXT} by default")
    command.add_argument("--height", type=float, default=SAMPLE_MM, help=f"of its letters, {SAMPLE_MM:g} mm by default")
    command.add_argument("--shoe", action="append", default=[], help="a shoe, instead of all; may be given again")
    command.add_argument("--film", action="append", default=[], help="a film, instead of all; may be given again")


def _new(options: argparse.Namespace, environ: Mapping[str, str], ask: Callable[[str], str]) -> int:
    given = vars(options)
    if options.language is None:
        given = {**given, "language": new_book.language_of(environ)}
    answers = new_book.asked(ask, given, _known())
    new_book.write(options.folder, answers)
    sys.stdout.write(f"Wrote {options.folder}, and checked it:\n")
    options.book = str(options.folder)
    code = _check(options, environ, ask)
    sys.stdout.writelines(f"{line}\n" for line in new_book.greys(answers))
    sys.stdout.write(f"Start the service with it: FEATHERLINE_BOOK={options.folder} featherline-service\n")
    return code


def _known() -> new_book.Known:
    """Return the kinds of shoes and the layers of uppers that the base book has."""
    chains = laid_over(read_layers(), None).chains
    kinds, layers = (
        {name: merged([part.table for part in chain]) for (kind, name), chain in chains.items() if kind == of}
        for of in (f"{DEFAULTS}/shoes", f"{DEFAULTS}/layers")
    )
    sizes = {name: convert(table["sizes"], new_book.Sizes) for name, table in kinds.items()}
    return new_book.Known(tuple(kinds), tuple(layers), sizes)


def _check(options: argparse.Namespace, environ: Mapping[str, str], _: Callable[[str], str]) -> int:
    opened = _open(environ, options.book)
    sys.stdout.writelines(f"{line}\n" for line in checks.revisions(opened.timetable, datetime.now(UTC)))
    sys.stdout.writelines(f"{line}\n" for line in checks.notes(opened))
    sys.stdout.writelines(f"{line}\n" for line in press_readings.notes(opened.book, datetime.now(UTC).date()))
    return 0


def _diff(options: argparse.Namespace, environ: Mapping[str, str], _: Callable[[str], str]) -> int:
    before, after = (_open(environ, folders).book for folders in (options.before, options.after))
    for kind in get_args(Kind):
        if ids := changed(before, after, kind):
            sys.stdout.write(f"{kind}: {', '.join(ids)}\n")
    moved = list(differences.moves(before, after, _sample(options), options.shoe, options.film))
    sys.stdout.writelines(f"{move}\n" for move in moved)
    sys.stdout.write(f"{len(moved)} of the example orders move\n")
    return 0


def _import(options: argparse.Namespace, environ: Mapping[str, str], _: Callable[[str], str]) -> int:
    folder = str(options.folder)
    opened = _open(environ, folder)
    if options.kind == _PANELS:
        done = list(panel_files.import_into(options.folder, opened, options.file, _wanted(options)))
    else:
        text = options.file.read_text("utf-8-sig")
        done = list(csv_records.import_into(options.folder, opened, options.kind, text))
    sys.stdout.writelines(f"{line}\n" for line in done)
    options.book = folder
    return _check(options, environ, _)


def _wanted(options: argparse.Namespace) -> panel_files.Wanted:
    if options.shoe is None or options.panel is None:
        raise AnswerError("Say which panel it is: --shoe SHOE --panel PANEL")
    return panel_files.Wanted(options.shoe, options.panel, options.face or "outer", options.unit)


def _export(options: argparse.Namespace, environ: Mapping[str, str], _: Callable[[str], str]) -> int:
    sys.stdout.write(csv_records.export(_open(environ, options.book), options.kind))
    return 0


def _explain(options: argparse.Namespace, environ: Mapping[str, str], _: Callable[[str], str]) -> int:
    kind, _slash, name = options.record.partition("/")
    explained = explanations.explain(_open(environ, options.book), kind, name)
    sys.stdout.writelines(f"{line}\n" for line in explanations.told(explained))
    return 0


def _matrix(options: argparse.Namespace, environ: Mapping[str, str], _: Callable[[str], str]) -> int:
    book = _open(environ, options.book).book
    found = matrix(book, _sample(options), options.shoe, options.film)
    match options.form:
        case "json":
            text = matrix_files.as_json(found)
        case "csv":
            text = matrix_files.as_csv(found)
        case _:
            text = matrix_files.as_svg(book, found)
    if options.out is None:
        sys.stdout.write(text)
    else:
        options.out.write_text(text, "utf-8")
    return 0


def _sample(options: argparse.Namespace) -> Sample:
    return Sample(options.text, options.height)


def _open(environ: Mapping[str, str], folders: str | None) -> OpenedBook:
    return open_book(environ, folders, datetime.now(UTC).timestamp())
