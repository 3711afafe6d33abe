"""The flags that make up a request, and the request that they make."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, TypeVar, cast, get_args

import msgspec

from featherline.wire import (
    Anchored,
    BookShoe,
    Centred,
    Edge,
    Face,
    FitRequest,
    Label,
    MeasuredPanel,
    MeasuredShoe,
    OldMark,
    Order,
    PathArtwork,
    Placement,
    Pose,
    PressureLevel,
    RecipeRequest,
    Rectangle,
    Searched,
    Shoe,
    ShoePanel,
    Side,
    Size,
    SizeSystem,
    TextArtwork,
    Units,
)

Question = TypeVar("Question", Order, FitRequest, RecipeRequest)

_PLACE: Final = re.compile(r"(?P<distance>.+?) +(?P<side>above|below|behind|in[- ]front[- ]of) +(the +)?(?P<edge>.+)")
_BYTE_ORDER_MARK: Final = b"\xef\xbb\xbf"
_BESIDES_THE_REQUEST: Final = {
    *("command", "run", "file", "url", "json", "timeout", "units", "show_request", "out", "sheet", "encoding")
}


class UsageError(Exception):
    """The command line or a file that it names is not right."""


def add_ask(command: argparse.ArgumentParser) -> None:
    """Add what every question takes."""
    command.add_argument("--file", metavar="FILE", help="the request as JSON instead of the flags below; - reads stdin")
    command.add_argument("--units", choices=("metric", "us"), help="units for people (default: metric)")
    command.add_argument("--show-request", action="store_true", help="print the request as JSON and ask nothing")


def add_shoe(command: argparse.ArgumentParser) -> None:
    """Add the flags of a shoe and its panel."""
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


def add_film(command: argparse.ArgumentParser) -> None:
    """Add the flags of a film."""
    group = command.add_argument_group("film")
    group.add_argument("--film", metavar="ID")
    group.add_argument("--colour", metavar="ID")


def add_artwork(command: argparse.ArgumentParser) -> None:
    """Add the flags of an artwork."""
    group = command.add_argument_group("artwork")
    group.add_argument("--text", help=r"\n begins a new line")
    group.add_argument("--font", metavar="ID")
    group.add_argument("--path", metavar="D", help="SVG path data instead of a text")
    group.add_argument("--height", help='of the whole artwork, such as "22 mm"')
    group.add_argument("--letter-height", metavar="HEIGHT", help="of a flat capital, instead of --height")


def add_place(command: argparse.ArgumentParser) -> None:
    """Add the flags of the place of an artwork on its panel."""
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
        help='with an edge: how far from the panel\'s centre, to the toe or up: "5 mm", or "-3 mm" with its space',
    )


def add_old_marks(command: argparse.ArgumentParser) -> None:
    """Add the flags of what is on the panel already."""
    group = command.add_argument_group("on the panel already")
    group.add_argument("--under", metavar="FILM", help="a film that the new one is pressed on")
    group.add_argument("--beside", metavar="FILM", help="a film that gets hot again beside it")


def add_order(command: argparse.ArgumentParser) -> None:
    """Add the flags of an order."""
    group = command.add_argument_group("order")
    group.add_argument("--sides", choices=("both", "left", "right"), help="default: both")
    group.add_argument("--pairs", type=int, metavar="N", help="default: 1")
    group.add_argument("--owner", choices=("customer", "shop"), help="whose pair it is (default: customer)")
    group.add_argument("--policy", metavar="ID", help="price policy (default: the bench's)")


def add_heat(command: argparse.ArgumentParser) -> None:
    """Add the flags of a recipe."""
    group = command.add_argument_group("film and heat")
    group.add_argument("--film", metavar="ID")
    group.add_argument("--cover", metavar="ID", help="hold the recipe to this cover sheet")
    group.add_argument("--temperature", help='hold the recipe to this, such as "320 degF"')
    group.add_argument("--pressure", choices=get_args(PressureLevel), help="hold the recipe to this level")
    group.add_argument("--guard", metavar="DIFFERENCE", help='stay below every limit by this, such as "5 delta_degC"')


def question(
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
        raise UsageError(f"--file is the whole request; put what {', '.join(flags)} say into it")
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
        raise UsageError(f"Cannot read {name}: {error.strerror}") from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise UsageError(f"{name} is not a JSON object in UTF-8: {error}") from None


def order_of(arguments: argparse.Namespace) -> Order:
    """Return the order that the flags make."""
    shoe = _shoe_of(arguments)
    placement = Placement(
        panel=_needed(arguments, "panel"),
        film=_needed(arguments, "film"),
        colour=_needed(arguments, "colour"),
        artwork=_artwork_of(arguments),
        pose=_pose_of(arguments),
        old_marks=_old_marks_of(arguments),
        **_given(arguments, "sides"),
    )
    return Order(shoe=shoe, placements=(placement,), **_given(arguments, "owner", "pairs", "press", "policy", "units"))


def fit_request_of(arguments: argparse.Namespace) -> FitRequest:
    """Return the fit that the flags ask for."""
    return FitRequest(
        shoe=_shoe_of(arguments),
        panel=_needed(arguments, "panel"),
        film=_needed(arguments, "film"),
        artwork=_artwork_of(arguments),
        pose=_pose_of(arguments),
        **_given(arguments, "colour", "press", "units"),
    )


def recipe_request_of(arguments: argparse.Namespace) -> RecipeRequest:
    """Return the recipe that the flags ask for."""
    return RecipeRequest(
        film=_needed(arguments, "film"),
        onto=ShoePanel(shoe=_shoe_of(arguments), panel=_needed(arguments, "panel"), old_marks=_old_marks_of(arguments)),
        **_given(arguments, "press", "cover", "temperature", "pressure", "guard", "units"),
    )


def _shoe_of(arguments: argparse.Namespace) -> Shoe:
    if (arguments.shoe is None) == (arguments.label is None):
        raise UsageError("Give --shoe and --size for a shoe of the book, or --label and --area for a walk-in")
    if arguments.label is None:
        return BookShoe(shoe=arguments.shoe, size=size_of(_needed(arguments, "size")))
    width, cross, height = _needed(arguments, "area").partition("x")
    if not cross:
        raise UsageError(f'--area is {width!r}; give width and height, such as "90 mm x 40 mm"')
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


def size_of(text: str) -> Size:
    """Return a size from its system and value, such as ``EU 42``."""
    system, _, value = text.strip().partition(" ")
    systems = {name.casefold(): name for name in _literals(SizeSystem)}
    if system.casefold() not in systems or not value:
        raise UsageError(
            f'{text!r} is no size; give a system and a value, such as "EU 42"; systems: {", ".join(systems.values())}'
        )
    return Size(system=cast("SizeSystem", systems[system.casefold()]), value=value.strip())


def _artwork_of(arguments: argparse.Namespace) -> TextArtwork | PathArtwork:
    if (arguments.text is None) == (arguments.path is None):
        raise UsageError("Give an artwork: --text and --font, or --path")
    if arguments.path is not None:
        return PathArtwork(d=arguments.path, height=_needed(arguments, "height"))
    if (arguments.height is None) == (arguments.letter_height is None):
        raise UsageError("Give the text one of --height and --letter-height, such as '22 mm'")
    return TextArtwork(
        text=arguments.text.replace("\\n", "\n"),
        font=_needed(arguments, "font"),
        **_given(arguments, "height", "letter_height"),
    )


def _pose_of(arguments: argparse.Namespace) -> Pose:
    where = "centre" if arguments.place is None else arguments.place.strip()
    found = _PLACE.fullmatch(where)
    if found is None and arguments.along is not None:
        raise UsageError('--along goes with a place at an edge, such as --place "12 mm above featherline"')
    if found is not None:
        # Which edges and distances there can be, the service says: the constructor takes any.
        side, edge = (found[name].replace(" ", "-") for name in ("side", "edge"))
        return Anchored(
            side=cast("Side", side),
            edge=cast("Edge", edge),
            distance=found["distance"],
            **_given(arguments, "along"),
        )
    if where not in {"centre", "largest"}:
        raise UsageError(f'--place is {where!r}; give centre, largest, or such as "12 mm above featherline"')
    return Centred() if where == "centre" else Searched()


def _old_marks_of(arguments: argparse.Namespace) -> tuple[OldMark, ...]:
    films = (arguments.under, True), (arguments.beside, False)
    return tuple(OldMark(film=film, under=under) for film, under in films if film is not None)


def _needed(arguments: argparse.Namespace, name: str) -> str:
    value: str | None = getattr(arguments, name)
    if value is None:
        raise UsageError(f"--{name} is needed, or the whole request as --file")
    return value


def _given(arguments: argparse.Namespace, *names: str) -> dict[str, Any]:
    return {name: getattr(arguments, name) for name in names if getattr(arguments, name) is not None}


def _literals(annotated: Any) -> tuple[str, ...]:  # noqa: ANN401 - an annotated Literal has no type of its own
    return get_args(get_args(annotated)[0])
