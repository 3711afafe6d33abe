"""Requests from flags or from a file."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, TypeVar, cast

import msgspec

from featherline.command import shoe_sizes
from featherline.command.parser import SHOE_TESTS
from featherline.wire import (
    Anchored,
    Backing,
    BookShoe,
    Centred,
    Edge,
    FitRequest,
    MeasuredPanel,
    MeasuredShoe,
    OldMark,
    Order,
    PathArtwork,
    Placement,
    Pose,
    RecipeRequest,
    Rectangle,
    Rise,
    Searched,
    Shoe,
    ShoePanel,
    ShoeTests,
    Side,
    TextArtwork,
    Units,
)

Request = TypeVar("Request", Order, FitRequest, RecipeRequest)

_ANCHOR: Final = re.compile(r"(?P<distance>.+?) +(?P<side>above|below|behind|in[- ]front[- ]of) +(the +)?(?P<edge>.+)")
_BYTE_ORDER_MARK: Final = b"\xef\xbb\xbf"
_OTHER_FLAGS: Final = {
    *("command", "file", "url", "json", "timeout", "units", "show_request", "out", "sheet", "encoding")
}
_WALK_IN: Final = (
    *("upper", "surface", "face", "curvature", "curvature_across", "shoe_colour", "inside_length", "heel_collapses"),
    *SHOE_TESTS,
)
_TEXT: Final = ("letter_spacing", "fit_letters")


class UsageError(Exception):
    """The command line or a file that it names is not right."""


def read_request(
    arguments: argparse.Namespace, from_flags: Callable[[argparse.Namespace], Request]
) -> tuple[Request, Units]:
    """Return the request of the flags or of the file, and the units for people.

    A request from a file is its JSON, not decoded: the service judges it, and points at every fault in the file.

    Raises:
        UsageError: A flag is missing or wrong, or the file is not a JSON object.
    """
    if arguments.file is None:
        return from_flags(arguments), arguments.units or "metric"
    flags = [
        f"--{name.replace('_', '-')}"
        for name, value in vars(arguments).items()
        if value is not None and name not in _OTHER_FLAGS
    ]
    if flags:
        raise UsageError(f"--file is the whole request; write into it what {', '.join(flags)} would say")
    content = _read_object(arguments.file)
    if arguments.units is not None:
        content["units"] = arguments.units
    request: Any = msgspec.Raw(msgspec.json.encode(content))
    return request, "us" if content.get("units") == "us" else "metric"


def _read_object(name: str) -> dict[str, Any]:
    try:
        content = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
        return msgspec.json.decode(content.removeprefix(_BYTE_ORDER_MARK), type=dict[str, Any])
    except OSError as error:
        raise UsageError(f"Cannot read {name}: {error.strerror}") from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise UsageError(f"{name} is not a JSON object in UTF-8: {error}") from None


def order(arguments: argparse.Namespace) -> Order:
    """Return the order of the flags."""
    shoe = _shoe(arguments)
    placement = Placement(
        panel=_required(arguments, "panel"),
        film=_required(arguments, "film"),
        colour=_required(arguments, "colour"),
        artwork=_artwork(arguments),
        pose=_pose(arguments),
        old_marks=_old_marks(arguments),
        backing=_backing(arguments),
        **_optional(arguments, "sides"),
    )
    return Order(
        shoe=shoe,
        placements=(placement,),
        **_optional(arguments, "owner", "pairs", "quantities", "press", "policy", "reference", "units"),
    )


def fit(arguments: argparse.Namespace) -> FitRequest:
    """Return the fit request of the flags."""
    return FitRequest(
        shoe=_shoe(arguments),
        panel=_required(arguments, "panel"),
        film=_required(arguments, "film"),
        artwork=_artwork(arguments),
        pose=_pose(arguments),
        **_optional(arguments, "colour", "press", "units"),
    )


def recipe(arguments: argparse.Namespace) -> RecipeRequest:
    """Return the recipe request of the flags."""
    return RecipeRequest(
        film=_required(arguments, "film"),
        onto=ShoePanel(shoe=_shoe(arguments), panel=_required(arguments, "panel"), old_marks=_old_marks(arguments)),
        **_optional(arguments, "press", "cover", "temperature", "pressure", "guard", "units"),
    )


def _shoe(arguments: argparse.Namespace) -> Shoe:
    if (arguments.shoe is None) == (arguments.label is None):
        raise UsageError("Give --shoe and --size for a shoe of the book, or --label and --area for a walk-in")
    if arguments.label is None:
        _refuse(arguments, "a walk-in, which has a --label", "area", *_WALK_IN)
        size = shoe_sizes.parse(_required(arguments, "size"))
        return BookShoe(shoe=arguments.shoe, size=size, **_optional(arguments, "makers_consent"))
    width, cross, height = _required(arguments, "area").partition("x")
    if not cross:
        raise UsageError(f'--area is {width!r}; give width and height, such as "90 mm x 40 mm"')
    panel = MeasuredPanel(
        panel=_required(arguments, "panel"),
        shape=Rectangle(width=width.strip(), height=height.strip()),
        colour=arguments.shoe_colour,
        **_optional(arguments, "face"),
        curvature=_curvature(arguments.curvature),
        curvature_across=_curvature(arguments.curvature_across),
    )
    collapses = None if arguments.heel_collapses is None else arguments.heel_collapses == "yes"
    return MeasuredShoe(
        label=arguments.label,
        surface=arguments.surface,
        upper=arguments.upper,
        tests=ShoeTests(**tests) if (tests := _optional(arguments, *SHOE_TESTS)) else None,
        panels=(panel,),
        inside_length=arguments.inside_length,
        heel_collapses=collapses,
    )


def _curvature(text: str | None) -> str | Rise | None:
    """Return a curvature in words or as a radius, or by the rise of a ruler: "2.5 mm over 60 mm"."""
    return Rise(rise=text) if text is not None and " over " in text else text


def _artwork(arguments: argparse.Namespace) -> TextArtwork | PathArtwork:
    if (arguments.text is None) == (arguments.path is None):
        raise UsageError("Give an artwork: --text and --font, or --path")
    if arguments.path is not None:
        _refuse(arguments, "a --text", "font", "letter_height", *_TEXT)
        return PathArtwork(d=arguments.path, height=_required(arguments, "height"))
    if (arguments.height is None) == (arguments.letter_height is None):
        raise UsageError("Give the text one of --height and --letter-height, such as '22 mm'")
    return TextArtwork(
        text=arguments.text.replace("\\n", "\n"),
        font=_required(arguments, "font"),
        **_optional(arguments, "height", "letter_height", *_TEXT),
    )


def _pose(arguments: argparse.Namespace) -> Pose:
    place = "centre" if arguments.place is None else arguments.place.strip()
    anchor = _ANCHOR.fullmatch(place)
    if anchor is None and arguments.along is not None:
        raise UsageError('--along goes with a place at an edge, such as --place "12 mm above featherline"')
    if anchor is not None:
        # The constructor takes any edge and distance; the service refuses those that do not exist.
        side, edge = (anchor[name].replace(" ", "-") for name in ("side", "edge"))
        return Anchored(
            side=cast("Side", side),
            edge=cast("Edge", edge),
            distance=anchor["distance"],
            **_optional(arguments, "along"),
        )
    if place not in {"centre", "largest"}:
        raise UsageError(
            f'--place is {place!r}; give centre, largest, or a distance from an edge, such as "12 mm above featherline"'
        )
    return Centred() if place == "centre" else Searched()


def _old_marks(arguments: argparse.Namespace) -> tuple[OldMark, ...]:
    films = (arguments.under, True), (arguments.beside, False)
    return tuple(OldMark(film=film, under=under) for film, under in films if film is not None)


def _backing(arguments: argparse.Namespace) -> Backing | None:
    text: str | None = arguments.backing
    if text is None:
        return None
    match text.split(maxsplit=2):
        case [film, colour, border]:
            return Backing(film=film, colour=colour, border=border)
        case _:
            raise UsageError(f'--backing is {text!r}; give film, colour and border, such as "smooth chalk 1.5 mm"')


def _required(arguments: argparse.Namespace, name: str) -> str:
    value: str | None = getattr(arguments, name)
    if value is None:
        raise UsageError(f"--{name} is needed, or the whole request as --file")
    return value


def _refuse(arguments: argparse.Namespace, owner: str, *names: str) -> None:
    """Refuse flags that would say nothing."""
    if given := [f"--{name.replace('_', '-')}" for name in _optional(arguments, *names)]:
        raise UsageError(f"{', '.join(given)}: only of {owner}")


def _optional(arguments: argparse.Namespace, *names: str) -> dict[str, Any]:
    return {name: getattr(arguments, name) for name in names if getattr(arguments, name) is not None}
