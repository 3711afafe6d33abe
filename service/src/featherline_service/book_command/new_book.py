"""A book of one's own: the few things that only the shop knows, asked or given, written as a small folder of TOML."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final, TypeVar, get_args, get_type_hints

import tomlkit
from msgspec import Struct

from featherline.wire.records import Film, PeelWhen, Press, PressureLevel
from featherline.wire.shoes import Face
from featherline_service.book.toml_records import CODE, CURRENCIES
from featherline_service.book_command.csv_records import rectangle
from featherline_service.book_command.toml_edits import plain_table
from featherline_service.identifiers import listed

Answer = TypeVar("Answer")
Ask = Callable[[str], str]
"""Shows a question and returns the answer."""

FAMILIES: Final = get_args(get_type_hints(Film)["family"])
OPENINGS: Final = get_args(get_type_hints(Press)["opening"])
PRESSURES: Final = get_args(PressureLevel)
PEELS: Final = get_args(PeelWhen)
FACES: Final = get_args(get_args(Face)[0])
_FOLD: Final = re.compile(r"[^a-z0-9]+")

NEW_PRESS: Final = "NAME:OPENING"
NEW_FILM: Final = "NAME:FAMILY:DEGREES_C:SECONDS:PRESSURE:PEEL:ROLL_WIDTH_MM:ROLL_LENGTH_M:ROLL_PRICE:COLOUR[:#HEX]"
NEW_SHOE: Final = "NAME:KIND:LAYER+LAYER:PAIR_VALUE:FACE:WIDTHxHEIGHT_MM[:protective|unprotected]"


class AnswerError(ValueError):
    """An answer cannot be used; the message says what would do."""


class PressAnswer(Struct, frozen=True):
    """A press: its name, and how it opens."""

    name: str
    opening: str


class FilmAnswer(Struct, frozen=True):
    """A film: its family, and what its maker's sheet and its price list say."""

    name: str
    family: str
    temperature_c: float
    dwell_s: float
    pressure: str
    peel: str
    width_mm: float
    length_m: float
    price: str
    colour: str
    hex: str


class ShoeAnswer(Struct, frozen=True):
    """A shoe: its kind, the layers of its upper from outside, what a pair is worth, and a panel as a rectangle."""

    name: str
    kind: str
    layers: tuple[str, ...]
    pair_value: str
    face: str
    width_mm: float
    height_mm: float
    protective: bool


class Answers(Struct, frozen=True):
    """All that is asked."""

    name: str
    currency: str
    tax: str
    hourly: str
    markup: str
    presses: tuple[PressAnswer, ...]
    films: tuple[FilmAnswer, ...]
    shoes: tuple[ShoeAnswer, ...]


class Known(Struct, frozen=True):
    """What the service's base book has to choose from: kinds of shoes, and layers of uppers."""

    kinds: tuple[str, ...]
    layers: tuple[str, ...]


def identifier(name: str) -> str:
    """Return the id of a record by its name.

    Raises:
        AnswerError: The name has no letter or digit.
    """
    folded = _FOLD.sub("-", name.lower()).strip("-")[:48].strip("-")
    if not folded:
        raise AnswerError("Give a name with letters or digits")
    return folded


def currency(text: str) -> str:
    """Return a currency in use."""
    return _one_of(text.strip().upper(), CURRENCIES, f"is not a currency in use; {CODE}")


def amount(text: str) -> str:
    """Return an amount of money."""
    if not re.fullmatch(r"[0-9]{1,12}(\.[0-9]{1,4})?", text.strip()):
        raise AnswerError(f"{text!r} is not an amount; write it with a point, such as 24.50")
    return text.strip()


def share(text: str) -> str:
    """Return a share, given as such or in percent, as a decimal text."""
    plain = text.strip().removesuffix("%").strip()
    value = amount(plain)
    if not text.strip().endswith("%"):
        return value
    whole, _, part = value.partition(".")
    digits = (whole + part).rjust(len(part) + 3, "0")
    at = len(digits) - len(part) - 2
    return f"{digits[:at]}.{digits[at:]}"


def number(text: str) -> float:
    """Return a number above zero."""
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.0 < value < 1e9:  # noqa: PLR2004 - the largest number of a record
        raise AnswerError(f"{text!r} is not a number above zero; write it with a point, such as 155.5")
    return value


def press(text: str) -> PressAnswer:
    """Return a press from `NEW_PRESS`."""
    name, opening = _parts(text, NEW_PRESS, 2, 2)
    identifier(name)
    return PressAnswer(name, _one_of(opening, OPENINGS))


def film(text: str) -> FilmAnswer:
    """Return a film from `NEW_FILM`."""
    name, family, degrees, seconds, pressure, peel, width, length, price, colour, *hexes = _parts(
        text, NEW_FILM, 10, 11
    )
    identifier(name)
    identifier(colour)
    return FilmAnswer(
        name,
        _one_of(family, FAMILIES),
        number(degrees),
        number(seconds),
        _one_of(pressure, PRESSURES),
        _one_of(peel, PEELS),
        number(width),
        number(length),
        amount(price),
        colour,
        hexes[0] if hexes else "#808080",
    )


def shoe(text: str, known: Known) -> ShoeAnswer:
    """Return a shoe from `NEW_SHOE`."""
    name, kind, layers, value, face, size, *worn = _parts(text, NEW_SHOE, 6, 7)
    identifier(name)
    width, _, height = size.partition("x")
    return ShoeAnswer(
        name,
        _one_of(kind, known.kinds),
        tuple(_one_of(layer, known.layers) for layer in layers.split("+")),
        amount(value),
        _one_of(face, FACES),
        number(width),
        number(height),
        _one_of(worn[0] if worn else "unprotected", ("protective", "unprotected")) == "protective",
    )


def asked(ask: Ask, given: Mapping[str, object], known: Known) -> Answers:
    """Return the answers: those that are given, and the others as they are asked for, each until it can be used."""

    def one(name: str, question: str, read: Callable[[str], str]) -> str:
        value = given.get(name)
        return _until(ask, question, read) if value is None else read(str(value))

    return Answers(
        name=one("name", "The shop's name", lambda text: identifier(text) and text.strip()),
        currency=one("currency", "Currency (GBP, EUR, ...)", currency),
        tax=one("tax", "Tax on sales (20%; 0 for none)", share),
        hourly=one("hourly", "What an hour of work costs, all in", amount),
        markup=one("markup", "Markup on the cost (60%)", share),
        presses=tuple(_several(ask, given.get("press"), "A press", NEW_PRESS, press, OPENINGS)),
        films=tuple(_several(ask, given.get("film"), "A film", NEW_FILM, film, FAMILIES)),
        shoes=tuple(_several(ask, given.get("shoe"), "A shoe", NEW_SHOE, lambda text: shoe(text, known), known.kinds)),
    )


def write(folder: Path, answers: Answers) -> None:
    """Write a book of a shop of its own.

    Raises:
        AnswerError: There is a book in the folder already.
    """
    if (folder / "book.toml").exists():
        raise AnswerError(f"There is a book in {folder} already; name another folder, or edit that one")
    for file, text in files(answers).items():
        (folder / file).parent.mkdir(parents=True, exist_ok=True)
        (folder / file).write_text(text, "utf-8")


def files(answers: Answers) -> dict[str, str]:
    """Return the files of a book by their paths."""
    most = max((one.pair_value for one in answers.shoes), key=float, default="0")
    tax = {} if float(answers.tax) == 0.0 else {"tax": {"rate": answers.tax, "shown": "gross"}}
    return {
        "book.toml": _one({"mode": "own", "currency": answers.currency}),
        "benches/bench.toml": _one({"id": "bench", "name": answers.name, "press": identifier(answers.presses[0].name)}),
        "cutters/cutter.toml": _one({"id": "cutter", "name": "Cutter"}),
        "rates/rates.toml": _one(
            {
                "id": "rates",
                "name": "Rates",
                "labour_per_hour": answers.hourly,
                "spoilage": {"customer_pair_value": most},
            }
        ),
        "policies/counter.toml": _one(
            {"id": "counter", "name": "Counter", "method": "markup", "share": answers.markup, **tax}
        ),
        "presses/presses.toml": _rows(_press(one) for one in answers.presses),
        "films/films.toml": _rows(_film(one) for one in answers.films),
        "shoes/shoes.toml": _rows(_shoe(one) for one in answers.shoes),
    }


def _press(answer: PressAnswer) -> dict[str, object]:
    return {"id": identifier(answer.name), "name": answer.name, "opening": answer.opening}


def _film(answer: FilmAnswer) -> dict[str, object]:
    colour = {"id": identifier(answer.colour), "name": answer.colour, "hex": answer.hex}
    return {
        "id": identifier(answer.name),
        "name": answer.name,
        "family": answer.family,
        "setting": {"coolest_c": answer.temperature_c, "shortest_s": answer.dwell_s, "pressure": answer.pressure},
        "peel": {"when": answer.peel},
        "roll": {"width_mm": answer.width_mm, "length_m": answer.length_m, "price": answer.price},
        "colours": [colour],
        "source": "maker-sheet",
    }


def _shoe(answer: ShoeAnswer) -> dict[str, object]:
    outline = rectangle(answer.width_mm, answer.height_mm)
    return {
        "id": identifier(answer.name),
        "name": answer.name,
        "kind": answer.kind,
        "protective": answer.protective,
        "upper": list(answer.layers),
        "colour": "#808080",
        "pair_value": answer.pair_value,
        "panels": [{"id": answer.face, "face": answer.face, "outline": outline}],
        "source": "measured",
    }


def _one(values: Mapping[str, object]) -> str:
    return tomlkit.dumps(plain_table(values))


def _rows(records: Iterator[dict[str, object]]) -> str:
    rows = tomlkit.aot()
    for record in records:
        rows.append(plain_table(record))
    document = tomlkit.document()
    document.add("record", rows)
    return tomlkit.dumps(document)


def _until(ask: Ask, question: str, read: Callable[[str], str]) -> str:
    while True:
        try:
            return read(ask(f"{question}: "))
        except AnswerError as error:
            question = f"{error}\n{question.rpartition(chr(10))[2]}"


def _several(  # noqa: PLR0917 - one question
    ask: Ask, given: object, what: str, form: str, read: Callable[[str], Answer], choices: Sequence[str]
) -> Iterator[Answer]:
    """Yield answers: those given, or as many as are told, at least one."""
    if isinstance(given, Sequence) and given:
        yield from (read(str(text)) for text in given)
        return
    told = 0
    prompt = f"{what} as {form}\n({', '.join(choices)})"
    while True:
        text = ask(f"{prompt}: ")
        if not text.strip() and told:
            return
        try:
            yield read(text)
        except AnswerError as error:
            prompt = f"{error}\n{what} as {form}"
        else:
            told += 1
            prompt = f"Another, or nothing for no more; {what.lower()} as {form}"


def _parts(text: str, form: str, least: int, most: int) -> list[str]:
    parts = [part.strip() for part in text.split(":")]
    if not least <= len(parts) <= most:
        raise AnswerError(f"{text!r} has {len(parts)} parts; write {form}")
    return parts


def _one_of(text: str, values: Sequence[str] | frozenset[str], advice: str = "") -> str:
    if text not in values:
        raise AnswerError(f"{text!r} {advice or f'is not one of {listed(text, values)}'}")
    return text
