"""A book of one's own: the few things that only the shop knows, asked or given, written as a small folder of TOML."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any, Final, NamedTuple, TypeVar, get_args, get_type_hints

import tomlkit
from msgspec import Struct, to_builtins
from msgspec.structs import replace

from featherline.wire.records import Film, PeelWhen, Press, PressureLevel
from featherline.wire.shoes import Face
from featherline_service.book.toml_records import CODE, CURRENCIES
from featherline_service.book_command.csv_records import rectangle
from featherline_service.book_command.toml_edits import plain_table
from featherline_service.identifiers import listed
from featherline_service.messages.catalogues import ENGLISH, catalogues
from featherline_service.shape.shoe_sizes import SCALES, foot_length

Answer = TypeVar("Answer")
Ask = Callable[[str], str]
"""Shows a question and returns the answer."""

FAMILIES: Final = get_args(get_type_hints(Film)["family"])
OPENINGS: Final = get_args(get_type_hints(Press)["opening"])
PRESSURES: Final = get_args(PressureLevel)
PEELS: Final = get_args(PeelWhen)
FACES: Final = get_args(get_args(Face)[0])
_GREY: Final = "#808080"
"""What is written for a colour that nobody was asked for, or that was not given."""
_SYSTEMS: Final[Mapping[str, tuple[str, str]]] = {
    "GBP": ("UK", "UK-child"),
    "USD": ("US-men", "US-child"),
    "CAD": ("US-men", "US-child"),
    "JPY": ("JP", "JP"),
}
"""The size systems that shoes are marked in where a currency is used, of adults and of children; from memory."""
_SMALLEST_ADULT_MM: Final = 235.0
"""[mm] A kind of shoe whose largest foot is shorter is a child's."""
_FOLD: Final = re.compile(r"[^a-z0-9]+")


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


class Sizes(Struct, frozen=True):
    """The sizes that a shoe is made in."""

    system: str
    smallest: float
    largest: float


class ShoeAnswer(Struct, frozen=True):
    """A shoe: its kind, the layers of its upper from outside, what a pair is worth, and a panel as a rectangle.

    Sizes that are not said are those of its kind, in the system that goes with the currency.
    """

    name: str
    kind: str
    layers: tuple[str, ...]
    pair_value: str
    face: str
    sides_mm: tuple[float, float]
    protective: bool
    sizes: Sizes | None = None


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
    language: str = ENGLISH


class Known(Struct, frozen=True):
    """What the service's base book has: kinds of shoes with their wearers and sizes, and layers of uppers."""

    kinds: tuple[str, ...]
    layers: tuple[str, ...]
    sizes: Mapping[str, Sizes]


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


def language(text: str) -> str:
    """Return a language that the bench's cards can be in."""
    return _one_of(text.strip().lower(), tuple(catalogues()))


def language_of(environment: Mapping[str, str]) -> str:
    """Return the language of a user's environment, where the bench's cards can be in it; else English.

    References:
        POSIX.1-2017, Base Definitions, section 8.2: LC_ALL, LC_MESSAGES and LANG, the first that is set.
    """
    locale = next(filter(None, (environment.get(name) for name in ("LC_ALL", "LC_MESSAGES", "LANG"))), "")
    spoken = re.split(r"[_.@]", locale)[0].lower()
    return spoken if spoken in catalogues() else ENGLISH


def amount(text: str) -> str:
    """Return an amount of money."""
    if not re.fullmatch(r"[0-9]{1,12}(\.[0-9]{1,4})?", text.strip()):
        raise AnswerError(f"{text!r} is not an amount; write it with a point, such as 24.50")
    return text.strip()


def share(text: str) -> str:
    """Return a share, given as such or in percent, as a decimal text.

    A plain number from 1 on is refused: 20 may be meant as 20 % or as 20 times.
    """
    plain = text.strip().removesuffix("%").strip()
    value = amount(plain)
    if not text.strip().endswith("%"):
        if float(value) >= 1.0:
            raise AnswerError(f"{value!r} may be percent or times; write {value}% for percent, or a share below 1")
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


class Part(NamedTuple):
    """A part of an answer: what it is called in a form, how it is asked for, how it is read, and what else it is."""

    form: str
    question: str
    read: Callable[[str], object]
    otherwise: str | None = None


def press_parts() -> tuple[Part, ...]:
    """Return the parts of a press."""
    return (
        Part("NAME", "its name", name_of),
        Part("OPENING", f"how it opens ({', '.join(OPENINGS)})", choice(OPENINGS)),
    )


def film_parts() -> tuple[Part, ...]:
    """Return the parts of a film."""
    return (
        Part("NAME", "its name", name_of),
        Part("FAMILY", f"its family ({', '.join(FAMILIES)})", choice(FAMILIES)),
        Part("DEGREES_C", "the temperature on its maker's sheet, in degrees Celsius", number),
        Part("SECONDS", "the dwell on the sheet, in seconds", number),
        Part("PRESSURE", f"the pressure on the sheet ({', '.join(PRESSURES)})", choice(PRESSURES)),
        Part("PEEL", f"when its carrier is peeled ({', '.join(PEELS)})", choice(PEELS)),
        Part("ROLL_WIDTH_MM", "the width of a roll, in millimetres", number),
        Part("ROLL_LENGTH_M", "the length of a roll, in metres", number),
        Part("ROLL_PRICE", "the price of a roll", amount),
        Part("COLOUR", "a colour that you have of it", name_of),
        Part("#HEX", "that colour as #rrggbb (nothing: a grey)", hex_of, _GREY),
    )


def shoe_parts(known: Known) -> tuple[Part, ...]:
    """Return the parts of a shoe."""
    layers = f"the layers of its upper from outside, with + between them ({', '.join(known.layers)})"
    return (
        Part("NAME", "its name", name_of),
        Part("KIND", f"its kind ({', '.join(known.kinds)})", choice(known.kinds)),
        Part("LAYER+LAYER", layers, lambda text: tuple(choice(known.layers)(one.strip()) for one in text.split("+"))),
        Part("PAIR_VALUE", "the worth of a pair", amount),
        Part("FACE", f"where it is marked ({', '.join(FACES)})", choice(FACES)),
        Part("WIDTHxHEIGHT_MM", "the largest rectangle on that panel, in millimetres, such as 95x42", rectangle_of),
        Part("protective", "certified protective footwear (yes or no)", truth, "no"),
        Part("SIZES", "the sizes that it is made in, such as UK 4-12 (nothing: those of its kind)", sizes_of, ""),
    )


def form(parts: Sequence[Part]) -> str:
    """Return how an answer is written in a line."""
    return "".join(
        f"{':' if number else ''}{part.form}" if part.otherwise is None else f"[:{part.form}]"
        for number, part in enumerate(parts)
    )


def explained(parts: Sequence[Part]) -> str:
    """Return what each part of an answer in a line is."""
    return "; ".join(f"{part.form} {part.question}" for part in parts)


def read(parts: Sequence[Part], text: str) -> list[Any]:
    """Return the values of an answer in a line."""
    texts = [one.strip() for one in text.split(":")]
    least = sum(part.otherwise is None for part in parts)
    if not least <= len(texts) <= len(parts):
        raise AnswerError(f"{text!r} has {len(texts)} parts; write {form(parts)}")
    texts += [part.otherwise or "" for part in parts[len(texts) :]]
    return [part.read(one) for part, one in zip(parts, texts, strict=True)]


def name_of(text: str) -> str:
    """Return a name that an id can be made of."""
    identifier(text)
    return text.strip()


def hex_of(text: str) -> str:
    """Return a colour in hexadecimal digits."""
    if not re.fullmatch(r"#[0-9a-f]{6}", text.strip().lower()):
        raise AnswerError(f"{text!r} is not a colour; write it as #1d2b44")
    return text.strip().lower()


def rectangle_of(text: str) -> tuple[float, float]:
    """Return the sides of a rectangle."""
    width, _, height = text.partition("x")
    return number(width), number(height)


def sizes_of(text: str) -> Sizes | None:
    """Return a system and its smallest and largest size; None for nothing."""
    if not text.strip():
        return None
    match = re.fullmatch(r"\s*(\S+)\s+([0-9]+(?:\.5)?)\s*-\s*([0-9]+(?:\.5)?)\s*", text)
    if match is None or match[1] not in SCALES:
        raise AnswerError(f"{text!r} are no sizes; write a system ({', '.join(SCALES)}) and two sizes, such as UK 4-12")
    return Sizes(match[1], float(match[2]), float(match[3]))


def in_system(usual: Sizes, currency_: str) -> Sizes | None:
    """Return usual sizes in the system that goes with a currency, in whole sizes; None where that is their own."""
    adult, child = _SYSTEMS.get(currency_, ("", ""))
    is_child = foot_length(usual.system, usual.largest) < _SMALLEST_ADULT_MM
    system = child if is_child else adult
    if system in {"", usual.system}:
        return None
    scale = SCALES[system]
    smallest, largest = (
        min(round((foot_length(usual.system, size) - scale.zero) / scale.interval), int(scale.largest))
        for size in (usual.smallest, usual.largest)
    )
    return Sizes(system, float(smallest), float(largest))


def truth(text: str) -> bool:
    """Return a yes or a no."""
    return choice(("yes", "no", "protective"))(text) != "no"


def choice(values: Sequence[str]) -> Callable[[str], str]:
    """Return a reader of one of some values."""
    return lambda text: _one_of(text.strip(), values)


def asked(ask: Ask, given: Mapping[str, object], known: Known) -> Answers:
    """Return the answers: those that are given, and the others as they are asked for, each until it can be used."""

    def one(name: str, question: str, reader: Callable[[str], str]) -> str:
        value = given.get(name)
        return _until(ask, question, reader) if value is None else _option(name, str(value), reader)

    spoken = given.get("language")
    answers = Answers(
        name=one("name", "The shop's name", name_of),
        currency=one("currency", "Currency, such as GBP", currency),
        tax=one("tax", "Tax on sales, such as 20% (0: none)", share),
        hourly=one("hourly", "What an hour of work costs you, all in", amount),
        markup=one("markup", "Markup on the cost, such as 60%", share),
        presses=tuple(PressAnswer(*one) for one in _several(ask, given.get("press"), "press", press_parts())),
        films=tuple(FilmAnswer(*one) for one in _several(ask, given.get("film"), "film", film_parts())),
        shoes=tuple(ShoeAnswer(*one) for one in _several(ask, given.get("shoe"), "shoe", shoe_parts(known))),
        language=ENGLISH if spoken is None else _option("language", str(spoken), language),
    )
    sized = (
        replace(shoe, sizes=shoe.sizes or in_system(known.sizes[shoe.kind], answers.currency)) for shoe in answers.shoes
    )
    return replace(answers, shoes=tuple(sized))


def greys(answers: Answers) -> Iterator[str]:
    """Yield what is written as grey as its colour is not known: contrast and pictures go by it."""
    shoes = ", ".join(identifier(one.name) for one in answers.shoes)
    films = ", ".join(identifier(one.name) for one in answers.films if one.hex == _GREY)
    yield (f"Note: grey until you give their `colour` in shoes/shoes.toml: {shoes}. Contrast and pictures go by it.")
    if films:
        yield f"Note: grey until you give the `hex` of their colours in films/films.toml: {films}."


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
    spoken = {} if answers.language == ENGLISH else {"language": answers.language}
    tax = {} if float(answers.tax) == 0.0 else {"tax": {"rate": answers.tax, "shown": "gross"}}
    return {
        "book.toml": _one({"mode": "own", "currency": answers.currency}),
        "benches/bench.toml": _one(
            {"id": "bench", "name": answers.name, **spoken, "press": identifier(answers.presses[0].name)}
        ),
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
    outline = rectangle(*answer.sides_mm)
    return {
        "id": identifier(answer.name),
        "name": answer.name,
        "kind": answer.kind,
        "protective": answer.protective,
        "upper": list(answer.layers),
        "colour": _GREY,
        **({} if answer.sizes is None else {"sizes": to_builtins(answer.sizes)}),
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


def _until(ask: Ask, question: str, reader: Callable[[str], Answer], otherwise: str | None = None) -> Answer:
    """Return an answer that can be used; nothing is `otherwise`."""
    prompt = question
    while True:
        text = ask(f"{prompt}: ")
        try:
            return reader(otherwise if otherwise is not None and not text.strip() else text)
        except AnswerError as error:
            prompt = f"{error}\n{question}"


def _several(ask: Ask, given: object, what: str, parts: Sequence[Part]) -> Iterator[list[Any]]:
    """Yield answers: those given in lines, or as many as are told part by part, at least one."""
    if isinstance(given, Sequence) and given:
        yield from (_option(what, str(text), partial(read, parts)) for text in given)
        return
    first, *others = parts
    name = _until(ask, f"A {what}: {first.question}", first.read)
    while name is not None:
        yield [name, *(_until(ask, f"  {part.question}", part.read, part.otherwise) for part in others)]
        name = _until(ask, f"Another {what}: {first.question} (nothing: no more)", _or_none(first.read), "")


def _option(name: str, text: str, reader: Callable[[str], Answer]) -> Answer:
    """Return the answer of an option; one that cannot be used is told with the option."""
    try:
        return reader(text)
    except AnswerError as error:
        message = f"--{name} {text!r}: {error}; `featherline-service book new --help` has every choice"
        raise AnswerError(message) from None


def _or_none(reader: Callable[[str], Answer]) -> Callable[[str], Answer | None]:
    return lambda text: reader(text) if text else None


def _one_of(text: str, values: Sequence[str] | frozenset[str], advice: str = "") -> str:
    if text not in values:
        raise AnswerError(f"{text!r} {advice or f'is not one of {listed(text, values)}'}")
    return text
