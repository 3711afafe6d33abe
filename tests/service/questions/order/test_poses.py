from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import msgspec
import numpy as np
import pytest
from msgspec.structs import replace
from walk_in import BAR, measured

from featherline.wire import artworks
from featherline.wire.artworks import Anchored, At, Centred, Searched, Side
from featherline.wire.fits import Fit, FitRequest
from featherline_service.book.shop_book import Book
from featherline_service.messages.catalogues import catalogues
from featherline_service.messages.texts import Texts
from featherline_service.messages.values import Speaker
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.fit import fits
from featherline_service.questions.order import placements, poses
from featherline_service.questions.order.poses import Search
from featherline_service.shape.placement.anchors import Anchor
from featherline_service.shape.placement.containment import Pose

MARLOW: dict[str, Any] = {"kind": "text", "text": "MARLOW\n7", "font": "plain", "height": "22 mm"}
LETTERS: dict[str, Any] = {"kind": "text", "font": "plain", "letter_height": "9 mm"}
ANCHORED: dict[str, Any] = {"kind": "anchored", "side": "above", "edge": "featherline", "distance": "12 mm"}
BASELINE: dict[str, Any] = {**ANCHORED, "line": "baseline"}
RULER = measured()


def request(**changes: Any) -> FitRequest:  # noqa: ANN401 - the JSON of any part
    """Return the question of the README with its text anchored, some of it changed."""
    shoe = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": changes.pop("size", "42")}}
    asked = {"shoe": shoe, "panel": "outer-quarter", "film": "smooth", "artwork": MARLOW, "pose": BASELINE}
    return msgspec.convert({**asked, **changes}, FitRequest)


def check(book: Book, **changes: Any) -> Fit:  # noqa: ANN401 - the JSON of any part
    """Return the fit of the README's text anchored, some of it changed."""
    return fits.check(book, request(**changes))


def faults(book: Book, asked: FitRequest) -> dict[str, str]:
    """Return the faults of a request by their pointers."""
    with pytest.raises(RefusedError) as error:
        fits.check(book, asked)
    return {fault.pointer: fault.detail for fault in error.value.faults}


@pytest.mark.parametrize(("system", "size", "foot"), [("EU", "36", 680 / 3), ("EU", "42", 800 / 3), ("EU", "47", 300)])
def test_baseline_is_above_the_featherline_of_every_size(book: Book, system: str, size: str, foot: float) -> None:
    """The baseline is 12 mm above the highest point of the sole's line under the text, drawn out here by hand.

    The line is the lower curve of the panel's outline in the book, M122 57 C96 62 48 64 4 62, graded by a barleycorn in
    length and a quarter inch in girth for each English size (shoemakersacademy.com, glossary).
    """
    model = book.shoes["regatta-deck"]
    asked = request(shoe={"kind": "book", "shoe": model.id, "size": {"system": system, "value": size}},
                    artwork={**MARLOW, "height": "14 mm"})  # fmt: skip
    placed = placements.of_fit(book, asked).placed()
    along = foot / model.reference_foot_mm
    around = 1.0 + 0.75 * (foot - model.reference_foot_mm) / model.reference_girth_mm
    t = np.linspace(0.0, 1.0, 200_001)[:, None]
    ends = np.array([(122.0, -57.0), (96.0, -62.0), (48.0, -64.0), (4.0, -62.0)])
    curve = sum(
        n * (1 - t) ** (3 - k) * t**k * end for k, (n, end) in enumerate(zip((1, 3, 3, 1), ends, strict=True))
    ) * (along, around)
    left, _, right, _ = placed.bounds
    under = curve[(curve[:, 0] >= left) & (curve[:, 0] <= right), 1]
    # No sign of this text hangs below its line, but what curves overshoot: the seven stands on it.
    seven = min(part.bounds[1] for part in placed.geoms)

    assert pytest.approx(12.0, abs=0.02) == seven - under.max()


def test_answer_says_where_and_how_it_is_measured(book: Book) -> None:
    """The answer has the place from the panel's centre, and the anchor in words, in the units asked for."""
    metric, us = check(book), check(book, units="us", pose={**ANCHORED, "distance": "0.5 in", "along": "-4 mm"})

    assert "Its baseline 12.0 mm above the featherline, centred on the panel along it." == metric.placed.sentence
    assert (
        "Its lower side 0.50 in above the featherline, its middle 0.16 in away from the toe from the panel's centre."
        == us.placed.sentence
    )
    assert metric.placed.x_mm == 0.0 > metric.placed.y_mm
    assert "ready" == metric.verdict


def test_largest_copy_by_an_anchor_can_be_asked_for(book: Book) -> None:
    """The largest height, asked for at the same anchor, fits; half a tenth of a millimetre more does not."""
    largest = check(book).largest
    assert largest is not None

    def outside(height: float) -> bool:
        asked = check(book, artwork={**MARLOW, "height": f"{height:.4f} mm"})
        return any(reason.code == "fit.outside" for reason in asked.reasons)

    assert (False, True) == (outside(largest.height_mm), outside(largest.height_mm + 0.05))


def test_sentence_of_a_no_speaks_of_the_distance(book: Book) -> None:
    """Too near to the sole no size fits at that distance; too large it says up to which."""
    near, large = check(book, pose={**ANCHORED, "distance": "2 mm"}), check(book, artwork={**MARLOW, "height": "40 mm"})

    assert "No size fits at that distance: move it." in near.reasons[0].sentence
    assert "At that distance it fits up to 27." in large.reasons[0].sentence


@pytest.mark.parametrize(
    ("pose", "artwork", "expected", "said"),
    [
        ({"kind": "centred"}, BAR, (0.0, 0.0), "Centred on the panel."),
        ({"kind": "centred", "rotation": "90 deg"}, BAR, (0.0, 0.0), "Centred on the panel, turned by 90.0 degrees."),
        ({"kind": "at", "x": "5 mm", "y": "-2 mm"}, BAR, (5.0, -2.0),
         "Its middle 5.0 mm towards the toe and 2.0 mm down from the panel's centre."),
        ({**ANCHORED, "edge": "panel"}, BAR, (0.0, -20.0 + 12.0 + 5.0),
         "Its lower side 12.0 mm above the edge of the panel, centred on the panel along it."),
        ({**ANCHORED, "edge": "panel", "side": "below"}, BAR, (0.0, 20.0 - 12.0 - 5.0),
         "Its upper side 12.0 mm below the edge of the panel, centred on the panel along it."),
        ({**ANCHORED, "edge": "panel", "side": "behind", "along": "3 mm"}, BAR, (40.0 - 12.0 - 20.0, 3.0),
         "Its front side 12.0 mm behind the edge of the panel, its middle 3.0 mm up from the panel's centre."),
        ({**ANCHORED, "edge": "panel", "side": "in-front-of"}, BAR, (-40.0 + 12.0 + 20.0, 0.0),
         "Its rear side 12.0 mm in front of the edge of the panel, centred on the panel along it."),
    ],
)  # fmt: skip
def test_poses_on_a_rectangle(
    book: Book, pose: dict[str, str], artwork: dict[str, str], expected: tuple[float, float], said: str
) -> None:
    """On a panel measured as 80 x 40 a bar of 40 x 10 is where elementary geometry puts it, and it is said so."""
    placed = check(book, shoe=RULER, panel="side", artwork=artwork, pose=pose).placed

    assert pytest.approx(expected) == (placed.x_mm, placed.y_mm)
    assert said == placed.sentence


def test_letters_on_a_heel_have_a_right_and_a_left(book: Book) -> None:
    """A heel is seen from behind: offsets are to the right or left, and only heights are measured from its edges."""
    heel = {**RULER, "heel_collapses": True, "panels": [{**RULER["panels"][0], "face": "heel"}]}
    asked: dict[str, Any] = {"shoe": heel, "panel": "side", "artwork": {**BAR, "height": "5 mm"}}

    placed = check(book, **asked, pose={"kind": "at", "x": "-5 mm", "y": "2 mm"}).placed
    found = faults(book, request(**asked, pose={**ANCHORED, "edge": "panel", "side": "behind"}))

    assert "Its middle 5.0 mm to the left and 2.0 mm up from the panel's centre." == placed.sentence
    assert "above or below an edge" in found["/pose/side"]


@pytest.mark.parametrize(
    ("changes", "pointer", "says"),
    [
        ({"pose": {**ANCHORED, "edge": "toe-cap"}}, "/pose", "no toe-cap to place by; it has: panel, collar, eyelets"),
        ({"pose": {**ANCHORED, "along": "90 mm"}}, "/pose", "give an `along` between"),
        ({"pose": {**ANCHORED, "distance": "3 m"}}, "/pose", "off any shoe"),
        ({"pose": {**ANCHORED, "rotation": "999999999 rad", "along": "999999999 m"}}, "/pose", "off any shoe"),
        ({"pose": {**BASELINE, "rotation": "5 deg"}}, "/pose/rotation", "A baseline is level"),
        ({"pose": BASELINE, "artwork": BAR}, "/pose/line", "Only straight lines of text have a baseline"),
        ({"pose": BASELINE, "artwork": {**MARLOW, "arc": 9.0}}, "/pose/line", "Only straight lines of text"),
    ],
)
def test_anchor_that_cannot_be_is_a_fault(book: Book, changes: dict[str, Any], pointer: str, says: str) -> None:
    """An edge that is not there, a baseline that is none and a distance beyond any shoe have their places."""
    found = faults(book, request(**changes))

    assert pointer in found
    assert says in found[pointer]


def test_faults_of_an_anchor_come_with_the_others(book: Book) -> None:
    """Nothing else that is wrong is kept back by an anchor."""
    assert {"/film", "/artwork/font"} == set(faults(book, request(film="velour", artwork={**MARLOW, "font": "gothic"})))


@pytest.mark.parametrize(
    ("pose", "pointers"),
    [
        (Searched(rotation="round", turn="so much"), {"/pose/rotation", "/pose/turn"}),
        (At(x="here", y="1 mm"), {"/pose/x"}),
        (Anchored(side="above", edge="panel", distance="near", along="there"), {"/pose/distance", "/pose/along"}),
    ],
)
def test_quantities_that_are_none_are_faults(book: Book, pose: artworks.Pose, pointers: set[str]) -> None:
    """What was never on the wire, as a plug-in or a script may make it, is refused at its places."""
    assert pointers == set(faults(book, replace(request(), pose=pose)))


def test_largest_letters_keep_to_their_anchor(book: Book) -> None:
    """The letters of two names that are as far from the sole fit at the largest height, and at no more."""
    names = [{**LETTERS, "text": text} for text in ("MARLOW", "TIDEWATER")]
    asked = [placements.of_fit(book, request(artwork=artwork)) for artwork in names]

    height, binds = fits.largest_letters(asked)
    assert height is not None

    def outside(by: float) -> list[bool]:
        artwork = [{**name, "letter_height": f"{height + by:.4f} mm"} for name in names]
        found = [check(book, artwork=each).reasons for each in artwork]
        return [any(reason.code == "fit.outside" for reason in reasons) for reasons in found]

    assert [False, False] == outside(0.0)
    assert outside(0.1)[binds]


def test_letters_that_reach_beside_no_edge_have_no_largest_height(book: Book) -> None:
    """A long name is below some of the eyelets; two narrow letters are below none at any height at which they fit."""
    pose = {"kind": "anchored", "side": "below", "edge": "eyelets", "distance": "4 mm", "along": "9 mm"}
    names = [{**LETTERS, "text": "MARLOWTIDE"}, {**LETTERS, "text": "II", "letter_height": "30 mm"}]

    height, binds = fits.largest_letters([placements.of_fit(book, request(artwork=each, pose=pose)) for each in names])
    near = placements.of_fit(book, request(artwork=names[0], pose={**ANCHORED, "distance": "1 mm"}))

    assert (None, 1) == (height, binds)
    assert (None, 0) == fits.largest_letters([near])


def test_baseline_beside_an_edge_is_refused() -> None:
    """A baseline is never behind an edge or in front of it."""
    with pytest.raises(msgspec.ValidationError, match="above or below an edge"):
        request(pose={**BASELINE, "side": "behind"})


FRAME = "M0 0H22V24H0ZM3 3V21H19V3Z"
CUP = "M0 0H22V24H0V21H19V3H0Z"


@pytest.mark.parametrize(
    ("drawing", "footprint", "said"),
    [
        (FRAME, "exact", None),
        (FRAME, "filled", "The artwork with its holes filled reaches"),
        (CUP, "exact", None),
        (CUP, "filled", None),
        (CUP, "hull", "The artwork's hull reaches"),
    ],
)
def test_footprint_decides_what_counts(book: Book, drawing: str, footprint: str, said: str | None) -> None:
    """Around the lace slots of a tongue a frame fits while its hole is free, and a cup while its hull does not count.

    The slots of the book's drawing are 10 x 14 mm together, in the middle of an opening of 16 x 18 mm.
    """
    fit = check(
        book,
        shoe={"kind": "book", "shoe": "court-trainer", "size": {"system": "JP", "value": "26"}},
        panel="tongue",
        artwork={"kind": "path", "d": drawing, "height": "24 mm"},
        sides="right",
        clearance="1 mm",
        footprint=footprint,
        pose={"kind": "at", "x": "30 mm", "y": "0 mm"},
    )
    outside = [reason.sentence for reason in fit.reasons if reason.code == "fit.outside"]

    assert (said is not None) == bool(outside)
    assert said is None or said in outside[0]
    assert ("eyelets", True) == (fit.bound_by, (fit.clearance_mm > 0.0) == (said is None))


def pose_of(book: Book, asked: artworks.Pose) -> tuple[Any, list[tuple[str, str]]]:
    """Return a pose on the outer quarter of a deck shoe, as it is read, and what is wrong with it."""
    placement, checks = placements.of_fit(book, request()), Checks()
    there = poses.read(asked, placement.shape, placement.artwork, checks)
    return there, [(fault.pointer, fault.detail) for fault in checks.faults]


@pytest.mark.parametrize(
    ("asked", "rotation", "turn"),
    [
        (Searched(rotation="30 deg", turn="20 deg"), 30.0, 20.0),
        (Searched(rotation="450 deg", turn="180 deg"), 90.0, 180.0),
        (Searched(rotation="-370 deg", turn="200 deg"), -10.0, 180.0),
        (Searched(), 0.0, 0.0),
    ],
)
def test_a_search_turns_at_most_half_round(book: Book, asked: Searched, rotation: float, turn: float) -> None:
    """Whole turns of its rotation do not count."""
    there, faults = pose_of(book, asked)

    assert [] == faults
    assert pytest.approx((rotation, turn)) == (math.degrees(there.rotation), math.degrees(there.turn))


@pytest.mark.parametrize(
    ("x", "y", "allowed"),
    [
        ("1000 mm", "-1000 mm", True),
        ("1000.1 mm", "0 mm", False),
        ("-1000.1 mm", "0 mm", False),
        ("0 mm", "1000.1 mm", False),
        ("0 mm", "-1000.1 mm", False),
    ],
)
def test_an_offset_is_no_longer_than_a_shoe(book: Book, x: str, y: str, allowed: bool) -> None:
    """Either way, by more than 1000 mm it is off any."""
    there, faults = pose_of(book, At(x=x, y=y, rotation="720 deg"))
    off = [("/pose", "That is off any shoe: give offsets of at most 1000 mm")]

    assert ([] if allowed else off) == faults
    assert 0.0 == there.rotation


def test_an_offset_is_from_the_panels_centre(book: Book) -> None:
    """In millimetres, y upwards."""
    centre = placements.of_fit(book, request()).shape.centre
    there, _ = pose_of(book, At(x="1 cm", y="-2 mm"))

    assert pytest.approx((centre[0] + 10.0, centre[1] - 2.0, 0.0)) == (there.x, there.y, there.rotation)


@pytest.mark.parametrize(
    ("asked", "directional", "rotation"),
    [
        (Anchored(side="above", edge="panel", distance="5 mm"), False, 30.0),
        (Anchored(side="above", edge="panel", distance="5 mm", line="baseline"), False, 0.0),
        (Anchored(side="above", edge="panel", distance="5 mm"), True, 0.0),
        (Centred(), False, 30.0),
        (Centred(), True, 0.0),
        (Centred(rotation="10 deg"), True, 10.0),
    ],
)
def test_what_has_no_rotation_is_turned_upright_where_it_may_be(
    book: Book, asked: artworks.Pose, directional: bool, rotation: float
) -> None:
    """A directional drawing and a text by its baseline are not; without a panel or an artwork nothing is."""
    placement = placements.of_fit(book, request())
    shape = replace(placement.shape, up=math.radians(120.0))
    artwork = replace(placement.artwork, is_directional=directional)
    radians = poses._rotation(asked, shape, artwork, Checks())
    assert radians is not None

    assert pytest.approx(rotation) == math.degrees(radians)
    if asked.rotation is None:
        assert 0.0 == poses._rotation(asked, None, artwork, Checks()) == poses._rotation(asked, shape, None, Checks())


@pytest.mark.parametrize("wrong", [{"rotation": "north"}, {"turn": "far"}])
def test_a_search_that_cannot_be_read_is_none(book: Book, wrong: dict[str, str]) -> None:
    """Neither its rotation nor its turn."""
    there, faults = pose_of(book, replace(Searched(), **wrong))

    assert there is None
    assert [f"/pose/{name}" for name in wrong] == [pointer for pointer, _ in faults]


def test_a_search_that_finds_no_room_stays_in_the_middle(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Turned as it was asked for; one that finds some is there, and as large."""
    placement = placements.of_fit(book, request())
    asked = (Search(1.0, 0.0), placement.shape, placement.seen, placement.artwork.scale)
    monkeypatch.setattr(poses, "searched", lambda *_: None)
    none = poses.position(*asked, clearance=3.0, checks=Checks())
    monkeypatch.setattr(poses, "searched", lambda *_: SimpleNamespace(pose=Pose(7.0, 8.0, 0.5), scale=0.2))
    found = poses.position(*asked, clearance=3.0, checks=Checks())
    middle = Pose(*placement.shape.centre, 1.0)

    assert poses.Position(pose=middle, datum=middle) == none
    assert poses.Position(pose=Pose(7.0, 8.0, 0.5), datum=Pose(7.0, 8.0, 0.5), largest=0.2) == found


@pytest.mark.parametrize(
    ("offset", "face", "said"),
    [
        ((0.03, -0.03), "outer", "Centred on the panel."),
        ((5.0, 0.04), "outer", "Its middle 5.0 mm towards the toe from the panel's centre."),
        ((0.04, -0.5), "outer", "Its middle 0.5 mm down from the panel's centre."),
        ((-5.0, 2.0), "outer", "Its middle 5.0 mm away from the toe and 2.0 mm up from the panel's centre."),
        ((0.06, 0.06), "outer", "Its middle 0.1 mm towards the toe and 0.1 mm up from the panel's centre."),
        ((0.04, 0.04), "outer", "Its middle 0.0 mm towards the toe from the panel's centre."),
        ((5.0, 0.0), "heel", "Its middle 5.0 mm to the right from the panel's centre."),
        ((-5.0, 0.0), "heel", "Its middle 5.0 mm to the left from the panel's centre."),
    ],
)
def test_a_place_is_said_as_it_is_measured(book: Book, offset: tuple[float, float], face: str, said: str) -> None:
    """From the panel's centre, along and up; half a tenth of a millimetre is the least that is said."""
    shape = replace(placements.of_fit(book, request()).shape, face=face, centre=(30.0, -20.0))
    pose = Pose(30.0 + offset[0], -20.0 + offset[1])

    assert said == poses.say(poses.Position(pose=pose, datum=pose), shape, "metric")


@pytest.mark.parametrize(
    ("degrees", "upright", "said"),
    [
        (0.04, True, "Centred on the panel."),
        (0.06, False, "Centred on the panel, turned by 0.1 degrees."),
        (-30.0, False, "Centred on the panel, turned by -30.0 degrees."),
        (90.0, True, "Centred on the panel, turned by 90.0 degrees to stand upright as the shoe is worn."),
    ],
)
def test_a_turn_is_said_with_its_reason(book: Book, degrees: float, upright: bool, said: str) -> None:
    """Half a tenth of a degree is the least that is said."""
    shape = placements.of_fit(book, request()).shape
    pose = Pose(*shape.centre, math.radians(degrees))

    assert said == poses.say(poses.Position(pose=pose, datum=pose, turned_upright=upright), shape, "metric")


@pytest.mark.parametrize(
    ("side", "level", "offset", "said"),
    [
        ("above", None, (0.0, 9.0), "Its lower side 12.0 mm above the featherline, centred on the panel along it."),
        ("below", None, (4.0, 9.0), "Its upper side 12.0 mm below the featherline, its middle 4.0 mm towards the toe "),
        ("behind", None, (9.0, 0.0), "Its front side 12.0 mm behind the featherline, centred on the panel along it."),
        (
            "in-front-of",
            None,
            (9.0, -4.0),
            "Its rear side 12.0 mm in front of the featherline, its middle 4.0 mm down ",
        ),
        ("above", 0.0, (0.0, 9.0), "Its baseline 12.0 mm above the featherline, centred on the panel along it."),
    ],
)
def test_an_anchored_place_is_said_from_its_edge(
    book: Book, side: Side, level: float | None, offset: tuple[float, float], said: str
) -> None:
    """By the side of its box that is nearest, or its baseline, and along the edge from the panel's centre."""
    shape = replace(placements.of_fit(book, request()).shape, centre=(30.0, -20.0))
    anchor = Anchor(side, "featherline", 12.0, 0.0, shape.centre, 0.0, level)
    there = poses.Position(pose=Pose(30.0 + offset[0], -20.0 + offset[1]), datum=anchor)
    told = poses.say(there, shape, "metric")

    assert told == (said if said.endswith(".") else f"{said}from the panel's centre.")


@pytest.mark.parametrize(
    ("pose", "said"),
    [
        ({"kind": "centred"}, "Mittig."),
        (
            {"kind": "at", "x": "4 mm", "y": "-2 mm", "rotation": "10 deg"},
            "Die Mitte 4,0\u00a0mm zur Spitze hin und 2,0\u00a0mm nach unten von der Mitte des Schaftteils aus, um ",
        ),
        (
            ANCHORED,
            "Die Unterkante 12,0\u00a0mm über dem Sohlenrand, in der Mitte des Schaftteils.",
        ),
    ],
)
def test_a_place_is_said_in_the_language_of_the_shop(book: Book, pose: dict[str, Any], said: str) -> None:
    """As the bench lays the artwork out with a ruler, with the numbers of the language."""
    there = placements.of_fit(book, request(pose=pose))
    german = Speaker(Texts("de", catalogues()["de"].messages))
    assert poses.say(there.position, there.shape, there.artwork.units, german).startswith(said)
