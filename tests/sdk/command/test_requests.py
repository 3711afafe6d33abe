"""Requests from flags and from files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest
from command_lines import FILM, MARLOW, SHOE, TEXT, WALK_IN, example

from featherline.command import main
from featherline.command.parser import SHOE_TESTS
from featherline.wire import (
    Anchored,
    Backing,
    BookShoe,
    Centred,
    FitRequest,
    MeasuredShoe,
    OldMark,
    Order,
    PathArtwork,
    Pose,
    RecipeRequest,
    Rise,
    Searched,
    ShoePanel,
    ShoeTests,
    TextArtwork,
)

ShowRequest = Callable[..., bytes]


def test_the_flags_of_an_order(show_request: ShowRequest) -> None:
    """The flags of the help text's example make the example order."""
    order = msgspec.json.decode(show_request("quote", *MARLOW), type=Order)
    assert order == msgspec.json.decode(example("quote-request"), type=Order)


def test_the_flags_of_a_fit(show_request: ShowRequest) -> None:
    """They make the example fit request."""
    request = msgspec.json.decode(show_request("fit", *SHOE, *FILM, *TEXT, "--press", "swing"), type=FitRequest)
    assert request == msgspec.json.decode(example("fit-request"), type=FitRequest)


def test_the_flags_of_a_recipe(show_request: ShowRequest) -> None:
    """They make the example recipe request."""
    shown = show_request("recipe", *SHOE, "--film", "smooth", "--press", "swing")
    request = msgspec.json.decode(shown, type=RecipeRequest)
    assert request == msgspec.json.decode(example("recipe-request"), type=RecipeRequest)


def test_a_flag_states_the_makers_consent(show_request: ShowRequest) -> None:
    """Without it nothing is stated."""
    asked = [
        msgspec.json.decode(show_request("recipe", *SHOE, "--film", "smooth", *flags), type=RecipeRequest)
        for flags in ([], ["--makers-consent"])
    ]
    shoes = [request.onto.shoe for request in asked if isinstance(request.onto, ShoePanel)]
    assert [False, True] == [shoe.makers_consent for shoe in shoes if isinstance(shoe, BookShoe)]


def test_flags_restrict_a_recipe(show_request: ShowRequest) -> None:
    """Cover sheet, temperature, pressure and guard of the request are those of the flags."""
    limits = {"cover": "paper", "temperature": "320 degF", "pressure": "firm", "guard": "5 delta_degC"}
    flags = [word for name, value in limits.items() for word in (f"--{name}", value)]
    request = msgspec.json.decode(show_request("recipe", *SHOE, "--film", "smooth", *flags))
    assert limits == {name: request[name] for name in limits}


def test_the_flags_of_a_walk_in(show_request: ShowRequest) -> None:
    """A tongue label and a ruler make the example order of a walk-in."""
    flags = [*WALK_IN, *FILM, *TEXT, "--inside-length", "275 mm", "--shoe-colour", "#1d2b44"]
    order = msgspec.json.decode(show_request("quote", *flags), type=Order)
    assert order == msgspec.json.decode(example("walk-in"), type=Order)


@pytest.mark.parametrize(
    ("flags", "pose"),
    [
        ([], Centred()),
        (["--place", "centre"], Centred()),
        (["--place", " largest "], Searched()),
        (["--place", "12 mm above featherline"], Anchored(side="above", edge="featherline", distance="12 mm")),
        (
            ["--place", "0.5 in in front of the seam", "--along", "-3 mm"],
            Anchored(side="in-front-of", edge="seam", distance="0.5 in", along="-3 mm"),
        ),
        (["--place", "8mm in-front-of eyelets"], Anchored(side="in-front-of", edge="eyelets", distance="8mm")),
        (["--place", "2 cm below the toe cap"], Anchored(side="below", edge="toe-cap", distance="2 cm")),
    ],
    ids=str,
)
def test_the_flags_of_a_place(flags: list[str], pose: Pose, show_request: ShowRequest) -> None:
    """Fits and orders take a centred artwork, a distance from an edge, or the place of the largest copy."""
    fit = msgspec.json.decode(show_request("fit", *SHOE, *FILM, *TEXT, *flags), type=FitRequest)
    order = msgspec.json.decode(show_request("quote", *MARLOW, *flags), type=Order)
    assert [pose, pose] == [fit.pose, order.placements[0].pose]


def test_the_flags_of_old_marks(show_request: ShowRequest) -> None:
    """Recipes and orders take a film under the new one, and a film beside it."""
    marks = (OldMark(film="smooth", under=True), OldMark(film="flock"))
    flags = ["--under", "smooth", "--beside", "flock"]
    recipe = msgspec.json.decode(show_request("recipe", *SHOE, "--film", "smooth", *flags), type=RecipeRequest)
    order = msgspec.json.decode(show_request("quote", *MARLOW, *flags), type=Order)
    assert isinstance(recipe.onto, ShoePanel)
    assert [marks, marks] == [recipe.onto.old_marks, order.placements[0].old_marks]


def test_the_flag_of_a_reference(show_request: ShowRequest) -> None:
    """An order takes the caller's own word for it; without the flag it has none."""
    orders = [
        msgspec.json.decode(show_request("quote", *MARLOW, *flags), type=Order) for flags in ([], ["--reference", "7"])
    ]
    assert [None, "7"] == [order.reference for order in orders]


def test_the_flags_of_harmless_tests_of_a_walk_in(show_request: ShowRequest) -> None:
    """A shoe has the outcomes that are given; without any it has no tests. The flags are those of the wire's tests."""
    outcomes = {"water_drop": "beads", "fingernail": "dents", "thread": "floats", "marking": "pvc-free"}
    flags = [word for name, value in outcomes.items() for word in (f"--{name.replace('_', '-')}", value)]
    shoes = [
        msgspec.json.decode(show_request("quote", *WALK_IN, *FILM, *TEXT, *given), type=Order).shoe
        for given in ([], flags[:2], flags)
    ]
    assert all(isinstance(shoe, MeasuredShoe) for shoe in shoes)
    assert [None, ShoeTests(water_drop="beads"), msgspec.convert(outcomes, ShoeTests)] == [
        shoe.tests for shoe in shoes if isinstance(shoe, MeasuredShoe)
    ]
    assert {field.name for field in msgspec.structs.fields(ShoeTests)} == SHOE_TESTS.keys()
    for name, values in SHOE_TESTS.items():
        for value in values:
            assert value == getattr(msgspec.convert({name: value}, ShoeTests), name)


def test_a_walk_in_curves_as_a_ruler_shows(show_request: ShowRequest) -> None:
    """A rise of a ruler along the shoe, and another across, which is hollow."""
    flags = [*WALK_IN, *FILM, *TEXT, "--curvature", "2.5 mm over 60 mm", "--curvature-across=-1 mm over 60 mm"]

    shoe = msgspec.json.decode(show_request("quote", *flags), type=Order).shoe

    assert isinstance(shoe, MeasuredShoe)
    assert (Rise(rise="2.5 mm over 60 mm"), Rise(rise="-1 mm over 60 mm")) == (
        shoe.panels[0].curvature,
        shoe.panels[0].curvature_across,
    )


def test_the_flag_of_an_upper(show_request: ShowRequest) -> None:
    """A walk-in has the upper that a trial has named, in an order, a fit and a recipe."""
    flags = [*WALK_IN, "--upper", "nylon-mesh"]
    order = msgspec.json.decode(show_request("quote", *flags, *FILM, *TEXT), type=Order)
    fit = msgspec.json.decode(show_request("fit", *flags, *FILM, *TEXT), type=FitRequest)
    recipe = msgspec.json.decode(show_request("recipe", *flags, "--film", "smooth"), type=RecipeRequest)
    assert isinstance(recipe.onto, ShoePanel)
    assert ["nylon-mesh"] * 3 == [
        shoe.upper for shoe in (order.shoe, fit.shoe, recipe.onto.shoe) if isinstance(shoe, MeasuredShoe)
    ]


def test_the_flags_of_letters(show_request: ShowRequest) -> None:
    """A text has the spacing that is given, or the one that its film needs; without the flags the wire's defaults."""
    texts = [
        msgspec.json.decode(show_request("quote", *MARLOW, *flags), type=Order).placements[0].artwork
        for flags in ([], ["--letter-spacing", "0.2"], ["--letter-spacing", "-0.1", "--fit-letters", "space"])
    ]
    assert [(0.0, "asked"), (0.2, "asked"), (-0.1, "space")] == [
        (text.letter_spacing, text.fit_letters) for text in texts if isinstance(text, TextArtwork)
    ]


@pytest.mark.parametrize(
    ("argv", "complaint"),
    [
        (["quote", *MARLOW, "--upper", "nylon-mesh"], "--upper: only of a walk-in, which has a --label"),
        (["quote", *MARLOW, "--area", "9 mm x 9 mm", "--thread", "sinks"], "--area, --thread: only of a walk-in"),
        (
            ["fit", *SHOE, *FILM, "--path", "M0 0h9v9z", "--height", "9 mm", "--letter-spacing", "0.1"],
            "--letter-spacing: only of a --text",
        ),
    ],
    ids=str,
)
def test_flags_that_would_say_nothing(argv: list[str], complaint: str, capsys: pytest.CaptureFixture[str]) -> None:
    """They are refused, not left out in silence."""
    with pytest.raises(SystemExit, match="2"):
        main(argv)
    assert complaint in " ".join(capsys.readouterr().err.split())


def test_the_flag_of_a_backing(show_request: ShowRequest) -> None:
    """A film, a colour and a border, in that order."""
    order = msgspec.json.decode(show_request("quote", *MARLOW, "--backing", "smooth chalk 1.5 mm"), type=Order)
    assert Backing(film="smooth", colour="chalk", border="1.5 mm") == order.placements[0].backing


def test_the_flags_of_a_path(show_request: ShowRequest) -> None:
    """Path data takes the place of a text."""
    shown = show_request("fit", *SHOE, *FILM, "--path", "M0 0h9v9z", "--height", "9 mm")
    assert PathArtwork(d="M0 0h9v9z", height="9 mm") == msgspec.json.decode(shown, type=FitRequest).artwork


@pytest.mark.parametrize(
    ("argv", "complaint"),
    [
        (["quote", *MARLOW, "--place", "left"], 'such as "12 mm above featherline"'),
        (["quote", *MARLOW, "--along", "3 mm"], "--along goes with"),
        (["quote", *MARLOW, "--backing", "smooth chalk"], 'such as "smooth chalk 1.5 mm"'),
        (["quote"], "--shoe and --size"),
        (["quote", *SHOE, *FILM], "--text and --font, or --path"),
        (["quote", *SHOE, *FILM, "--text", "7", "--font", "plain"], "--height and --letter-height"),
        (["quote", *FILM, *TEXT, "--shoe", "regatta-deck", "--panel", "toe"], "--size is needed"),
        (["quote", *FILM, *TEXT, "--shoe", "regatta-deck", "--panel", "toe", "--size", "42"], 'such as "EU 42"'),
        (["quote", *FILM, *TEXT, "--label", "textile", "--panel", "toe", "--area", "90 mm"], "90 mm x 40 mm"),
        (["quote", *SHOE, *WALK_IN, *FILM, *TEXT], "--label and --area for a walk-in"),
        (["quote", "--file", "-", "--pairs", "3"], "--pairs"),
        (["quote", "--file", "no-such-order.json"], "no-such-order.json"),
        (["book", "hats"], "hats"),
        (["quote", "--file", "-", "--url", "nowhere"], "nowhere"),
        (["quote", "--file", "-", "--timeout", "-1"], "timeout"),
        ([], "COMMAND"),
    ],
)
def test_a_wrong_command_line_is_code_2(argv: list[str], complaint: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The complaint says what to give instead."""
    with pytest.raises(SystemExit) as caught:
        main(argv)
    assert caught.value.code == 2
    assert complaint in capsys.readouterr().err


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"\xff\xfe{\x00}\x00", b'"order"'])
def test_a_file_without_an_object_is_code_2(content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The complaint names the file."""
    (tmp_path / "order.json").write_bytes(content)
    with pytest.raises(SystemExit) as caught:
        main(["quote", "--file", str(tmp_path / "order.json")])
    assert caught.value.code == 2
    assert "order.json is not a JSON object in UTF-8" in capsys.readouterr().err
