from __future__ import annotations

import math
import re
from typing import Any, Literal

import msgspec
import plain_marks
import pytest
import shapely
from msgspec.structs import replace
from walk_in import BAR, measured

from featherline.wire.artworks import Anchored, At, TextArtwork
from featherline.wire.fits import Fit, FitRequest
from featherline.wire.records import Panel, Pressures
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.fit import fits
from featherline_service.questions.order import placements
from featherline_service.questions.order.placements import Placement
from featherline_service.runtime import cache
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.placement import anchors, containment
from featherline_service.shape.placement.anchors import AnchorError

DECK: dict[str, Any] = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}
RULER = measured(colour="#1d2b44")


@pytest.fixture(scope="module")
def book() -> Book:
    """Return the demo book, with a film whose finest detail the tests know."""
    book = load()
    smooth = book.films["smooth"]
    finest = replace(smooth.finest, stroke_mm=1.0, gap_mm=0.8, island_mm2=1.5)
    return replace(book, films={**book.films, "smooth": replace(smooth, finest=finest)})


def request(**changes: Any) -> FitRequest:  # noqa: ANN401 - the JSON of any part
    """Return the question of the README, some of it changed."""
    asked = {
        "shoe": DECK,
        "panel": "outer-quarter",
        "film": "smooth",
        "colour": "gorse",
        "artwork": {"kind": "text", "text": "MARLOW\n7", "font": "plain", "height": "25 mm"},
    }
    return msgspec.convert({**asked, **changes}, FitRequest)


def ruled(**changes: Any) -> dict[str, Any]:  # noqa: ANN401 - the JSON of any part
    """Return a measured shoe with its panel changed."""
    return {**RULER, "panels": [{**RULER["panels"][0], **changes}]}


def faults(book: Book, asked: FitRequest) -> dict[str, str]:
    """Return the faults of a request by their pointers."""
    with pytest.raises(RefusedError) as error:
        fits.check(book, asked)
    return {fault.pointer: fault.detail for fault in error.value.faults}


def codes(fit: Fit) -> list[tuple[str, str]]:
    """Return code and verdict of each reason."""
    return [(reason.code, reason.verdict) for reason in fit.reasons]


def test_name_over_number_on_a_deck_shoe_fits(book: Book) -> None:
    """MARLOW over 7 on the outer quarter of a deck shoe, EU 42, is ready, with all its measures."""
    fit = fits.check(book, request())

    assert ("ready", ()) == (fit.verdict, fit.reasons)
    assert (25.0, 7, 4) == (fit.artwork.height_mm, fit.artwork.pieces, fit.artwork.waste_pieces)
    assert fit.clearance_mm >= fit.clearance_needed_mm == 3.0
    assert fit.size is not None
    assert pytest.approx(266.6667) == fit.size.foot_mm
    assert "1.5 foot[cm] + 2" in fit.size.convention
    assert fit.contrast is not None
    assert fit.contrast.ratio > 3.0


def test_largest_height_fits_and_a_little_more_does_not(book: Book) -> None:
    """The answer's largest height, asked for, fits; half a tenth of a millimetre more does not."""
    largest = fits.check(book, request()).largest
    assert largest is not None

    def outside(height: float) -> bool:
        artwork = {"kind": "text", "text": "MARLOW\n7", "font": "plain", "height": f"{height:.4f} mm"}
        return "fit.outside" in dict(codes(fits.check(book, request(artwork=artwork))))

    assert (False, True) == (outside(largest.height_mm), outside(largest.height_mm + 0.05))


def test_too_large_an_artwork_is_declined_with_the_largest_height(book: Book) -> None:
    """Artwork that reaches over the panel is declined; the sentence says by how much, over what, and what would fit."""
    artwork = {"kind": "text", "text": "CHRISTOPHER", "font": "bold", "height": "20 mm"}
    shoe = {"kind": "book", "shoe": "minnow-trainer", "size": {"system": "EU", "value": "28"}}

    fit = fits.check(book, request(shoe=shoe, artwork=artwork))
    reason = fit.reasons[0]

    assert ("decline", "fit.outside", "mm") == (fit.verdict, reason.code, reason.unit)
    assert reason.measure is not None
    assert reason.measure < 0.0 < reason.limit == 3.0
    assert fit.largest is not None
    assert f"{math.floor(fit.largest.height_mm * 10) / 10:.1f} mm high" in reason.sentence


def test_sentences_follow_the_units_asked_for(book: Book) -> None:
    """With US units sentences speak of inches; measures stay in millimetres."""
    artwork = {"kind": "text", "text": "MARLOW", "font": "plain", "height": "3 in"}

    reason = fits.check(book, request(artwork=artwork, units="us")).reasons[0]

    assert " in " in reason.sentence
    assert " mm" not in reason.sentence
    assert "mm" == reason.unit


def test_letters_of_a_roster_are_as_high_whatever_the_name(book: Book) -> None:
    """By letter height, a name with descenders has capitals as high as one without."""
    heights = [
        fits.check(
            book,
            request(artwork={"kind": "text", "text": text, "font": "plain", "letter_height": "11 mm"}),
        ).artwork
        for text in ("MARLOW", "Mayq")
    ]

    assert [11.0, 11.0] == [measures.letter_height_mm for measures in heights]
    assert heights[0].height_mm < heights[1].height_mm


@pytest.mark.parametrize(
    ("d", "height", "code", "measure", "from_height"),
    [
        # A bar 0.9 thick, two bars 0.7 apart, a bar and a dot of 1.44: against 1.0 mm, 0.8 mm and 1.5 mm2.
        ("M0 0H30V9H0Z", "0.9 mm", "fit.fine-stroke", 0.9, "1.0 mm high"),
        ("M0 0H30V10H0ZM0 10.7H30V20.7H0Z", "20.7 mm", "fit.fine-gap", 0.7, "23.7 mm high"),
        ("M0 0H30V10H0ZM35 0H36.2V1.2H35Z", "10 mm", "fit.fine-island", 1.44, "10.3 mm high"),
    ],
)
def test_detail_too_fine_is_declined_with_the_height_from_which_it_can_be_cut(  # noqa: PLR0917
    book: Book, d: str, height: str, code: str, measure: float, from_height: str
) -> None:
    """What the film cannot be cut as fine as is declined; the sentence says from which height it can."""
    fit = fits.check(book, request(artwork={"kind": "path", "d": d, "height": height}))
    (reason,) = [reason for reason in fit.reasons if reason.code == code]

    assert ("decline", pytest.approx(measure)) == (reason.verdict, reason.measure)
    assert from_height in reason.sentence
    assert book.films["printed"].name in reason.sentence


def test_printed_transfer_is_held_to_its_print(book: Book) -> None:
    """A printed transfer is not cut: the finest that it can be printed counts, and the sentence says so."""
    artwork = {"kind": "path", "d": "M0 0H30V9H0Z", "height": "0.4 mm"}

    (reason,) = [r for r in fits.check(book, request(film="printed", colour=None, artwork=artwork)).reasons
                 if r.code == "fit.fine-stroke"]  # fmt: skip

    assert "printed from 0.5 mm high" in reason.sentence
    assert "cut" not in reason.sentence


def test_measured_shoe_is_never_better_than_a_trial(book: Book) -> None:
    """A shoe known by ruler and label is tried first, even where all else is well."""
    fit = fits.check(book, request(shoe=RULER, panel="side", artwork=BAR))

    assert ("trial", [("shoe.measured", "trial")]) == (fit.verdict, codes(fit))
    assert pytest.approx(15.0) == fit.clearance_mm
    assert fit.size is None


def test_what_a_ruler_does_not_say_counts_as_the_worst(book: Book) -> None:
    """Without curvature and inside length, both are reasons for a trial, and nothing is said of contrast."""
    shoe = {k: v for k, v in ruled(curvature=None, colour=None).items() if k != "inside_length"}

    fit = fits.check(book, request(shoe=shoe, panel="side", artwork={**BAR, "height": "3 mm"}))

    assert [("fit.curved", "trial"), ("fit.reach", "trial"), ("shoe.measured", "trial")] == codes(fit)
    assert fit.contrast is None


@pytest.mark.parametrize(
    ("shape", "clearance"),
    [
        ({"kind": "rectangle", "width": "80 mm", "height": "40 mm"}, 15.0),
        # From the corner (20, 5) to the ellipse (40 cos t, 20 sin t), looked for in small steps of t.
        (
            {"kind": "ellipse", "width": "80 mm", "height": "40 mm"},
            min(math.hypot(40.0 * math.cos(t / 1e4) - 20.0, 20.0 * math.sin(t / 1e4) - 5.0) for t in range(15_708)),
        ),
        ({"kind": "traced", "d": "M0 0H80V40H0Z"}, 15.0),
        ({"kind": "rectangle", "width": "4 in", "height": "2 in"}, 20.4),
    ],
)
def test_measured_shapes(book: Book, shape: dict[str, str], clearance: float) -> None:
    """A measured rectangle, ellipse or traced panel has the room that it has."""
    fit = fits.check(book, request(shoe=ruled(shape=shape), panel="side", artwork=BAR))

    assert pytest.approx(clearance, abs=0.02) == fit.clearance_mm


@pytest.mark.parametrize(
    ("collapses", "expected"), [(True, []), (False, [("fit.heel", "decline")]), (None, [("fit.heel", "trial")])]
)
def test_heel_is_marked_only_where_it_collapses(
    book: Book, collapses: bool | None, expected: list[tuple[str, str]]
) -> None:
    """Common practice, no source: a heel can be marked only if it collapses so that it lies flat."""
    shoe = {**ruled(face="heel", curvature="tight"), "heel_collapses": collapses}

    reasons = codes(fits.check(book, request(shoe=shoe, panel="side", artwork=BAR)))

    assert [*expected, ("shoe.measured", "trial")] == reasons


def test_shoe_too_short_for_every_platen_is_declined(book: Book) -> None:
    """A shoe shorter inside than the smallest platen needs does not go on."""
    shoe = {**RULER, "inside_length": "90 mm"}

    (reason,) = [
        r for r in fits.check(book, request(shoe=shoe, panel="side", artwork=BAR)).reasons if r.code == "fit.reach"
    ]

    assert ("decline", "/shoe", 90.0) == (reason.verdict, reason.subject, reason.measure)


def test_artwork_larger_than_the_platens_is_declined(book: Book) -> None:
    """Artwork that no platen of the press holds cannot be pressed at once."""
    shape = {"kind": "rectangle", "width": "900 mm", "height": "900 mm"}
    artwork = {"kind": "path", "d": "M0 0H10V10H0Z", "height": "600 mm"}

    fit = fits.check(book, request(shoe=ruled(shape=shape), panel="side", artwork=artwork))

    assert ("fit.reach", "decline") in codes(fit)


def test_face_that_no_platen_presents_is_declined(book: Book) -> None:
    """A press whose only platen presents the sides of a shoe does not reach its tongue."""
    flat = replace(book.presses["swing"], platens=("full-flat",))
    platens = {"full-flat": replace(book.platens["full-flat"], faces=("outer", "inner"))}

    fit = fits.check(
        replace(book, presses={"swing": flat}, platens=platens),
        request(panel="tongue", artwork={**BAR, "height": "2 mm"}),
    )

    assert ("fit.reach", "decline") in codes(fit)


def test_tightly_curved_panel_presses_the_corners_less(book: Book) -> None:
    """On a tighter curve wide artwork is tried first, on a tighter one still declined, and small artwork is ready."""
    wide = {"kind": "path", "d": "M0 0H60V12H0Z", "height": "12 mm"}

    verdicts = [
        dict(codes(fits.check(book, request(shoe=ruled(curvature=radius), panel="side", artwork=art)))).get(
            "fit.curved"
        )
        for radius, art in (("400 mm", wide), ("150 mm", wide), ("60 mm", wide), ("60 mm", BAR | {"height": "4 mm"}))
    ]

    assert [None, "trial", "decline", None] == verdicts


def test_film_that_does_not_stretch_is_declined_on_a_ball(book: Book) -> None:
    """Over two tight curves a film must give more than a stiff one does, and a stretchy one takes it."""
    shoe = ruled(curvature="30 mm", shape={"kind": "rectangle", "width": "80 mm", "height": "60 mm"})
    square = {"kind": "path", "d": "M0 0H26V26H0Z", "height": "26 mm"}

    def said(film: str) -> list[str]:
        asked = request(shoe=shoe, panel="side", film=film, colour=None, artwork=square)
        return [reason.sentence for reason in fits.check(book, asked).reasons if reason.unit == "1"]

    # A square of side a on a ball of radius R: 0.0513 a^2 / R^2 in the middle of its sides, as the edge moment of a
    # clamped square plate (S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells, table 35, from memory).
    assert f"must give by {100.0 * 0.0513 * 26.0**2 / 30.0**2:.1f} %" in said("metallic")[0]
    assert [] == said("stretch")


def test_pressure_of_the_press_counts(book: Book) -> None:
    """A press that presses harder reaches corners that a lighter one does not."""
    wide = {"kind": "path", "d": "M0 0H60V12H0Z", "height": "12 mm"}
    asked = request(shoe=ruled(curvature="90 mm"), panel="side", artwork=wide)

    def corner(medium_kpa: float) -> float:
        levels = Pressures(light_kpa=10.0, medium_kpa=medium_kpa, firm_kpa=800.0)
        press = replace(book.presses["swing"], pressures=levels)
        fit = fits.check(replace(book, presses={"swing": press}), asked)
        return next((reason.measure or 0.0 for reason in fit.reasons if reason.unit == "kPa"), math.inf)

    assert corner(100.0) < corner(276.0) < corner(700.0)


@pytest.mark.parametrize(("units", "said"), [("metric", " kPa, for the gap is "), ("us", " psi, for the gap is 0.")])
def test_pressures_are_said_in_the_units_asked_for(book: Book, units: str, said: str) -> None:
    """A sentence about pressure speaks of kilopascals, or of pounds a square inch."""
    wide = {"kind": "path", "d": "M0 0H60V12H0Z", "height": "12 mm"}

    fit = fits.check(book, request(shoe=ruled(curvature="150 mm"), panel="side", artwork=wide, units=units))

    (sentence,) = [reason.sentence for reason in fit.reasons if reason.unit == "kPa"]
    assert said in sentence


def test_tone_on_tone_is_a_remark(book: Book) -> None:
    """Film and upper alike are named, by contrast and difference, and never refused."""
    fit = fits.check(book, request(colour="deepwater"))

    assert ("ready", [("sight.tone-on-tone", "ready")]) == (fit.verdict, codes(fit))
    assert fit.contrast is not None
    assert fit.contrast.sentence == fit.reasons[0].sentence
    assert (fit.contrast.ratio, 3.0) == (fit.reasons[0].measure, fit.reasons[0].limit)


def test_without_a_colour_nothing_is_said_of_contrast(book: Book) -> None:
    """A fit asked for without a colour has no contrast."""
    assert fits.check(book, request(colour=None)).contrast is None


def test_contrast_follows_the_colour_of_the_shoe(book: Book) -> None:
    """Yellow stands out from navy and not from ivory; a tongue that keeps its colour keeps its contrast."""

    def ratio(colour: str | None, panel: str = "outer-quarter") -> float:
        contrast = fits.check(book, request(shoe={**DECK, "colour": colour}, panel=panel)).contrast
        assert contrast is not None
        return contrast.ratio

    assert ratio(None) == ratio("navy") > 3.0 > ratio("ivory")
    assert ratio(None, "tongue") == ratio("tan", "tongue") != ratio("ivory", "tongue")


def test_effect_of_a_film_is_not_in_the_figures(book: Book) -> None:
    """A reflective film's contrast says that its figures leave the effect out."""
    colour = book.films["reflective"].colours[0].id

    contrast = fits.check(book, request(film="reflective", colour=colour)).contrast

    assert contrast is not None
    assert "effect is not in these figures" in contrast.sentence


def test_pose_is_from_the_panel_centre(book: Book) -> None:
    """An offset moves the artwork towards the toe and up; a rotation turns it; both are in the answer."""
    pose = {"kind": "at", "x": "5 mm", "y": "-2 mm", "rotation": "90 deg"}

    fit = fits.check(book, request(shoe=RULER, panel="side", artwork=BAR, pose=pose))

    assert (5.0, -2.0, 90.0) == (fit.placed.x_mm, fit.placed.y_mm, fit.placed.rotation_deg)
    # A bar of 40 x 10 turned upright in a panel of 80 x 40, 2 mm below its middle, reaches 2 mm over its edge.
    assert pytest.approx(-2.0) == fit.clearance_mm
    assert pytest.approx(0.75) == fit.largest.scale if fit.largest else None


def test_svg_drawing_is_measured_as_its_path_would_be(book: Book) -> None:
    """The same shape as an SVG document and as path data has the same fit."""
    drawing = '<svg><g transform="scale(2)"><rect width="20" height="5"/></g></svg>'

    by_path, by_svg = (
        fits.check(book, request(shoe=RULER, panel="side", artwork=artwork))
        for artwork in (BAR, {"kind": "svg", "svg": drawing, "height": "10 mm"})
    )

    assert by_path == by_svg


def test_spacing_border_and_arc_change_the_artwork(book: Book) -> None:
    """Spaced letters are wider, bordered ones have wider strokes, bent ones are higher for their capitals."""
    text = {"kind": "text", "text": "HARBOUR", "font": "plain", "letter_height": "9 mm"}

    plain, spaced, bordered, bent = (
        fits.check(book, request(artwork={**text, **how})).artwork
        for how in ({}, {"letter_spacing": 0.2}, {"border": 0.03}, {"arc": 5.0})
    )

    assert pytest.approx(plain.width_mm + 6 * 0.2 * 9.0, abs=1e-3) == spaced.width_mm
    assert plain.narrowest_stroke_mm + 0.5 < bordered.narrowest_stroke_mm
    assert plain.height_mm < bent.height_mm
    assert plain.pieces == bent.pieces


def test_too_tight_an_arc_is_refused(book: Book) -> None:
    """An arc of less than a capital height is no arc; one too short for its line is a fault of the text."""
    text = {"kind": "text", "text": "HARBOUR REGATTA", "font": "plain", "height": "9 mm"}

    with pytest.raises(msgspec.ValidationError, match="at least 1 capital heights"):
        request(artwork={**text, "arc": 0.5})
    assert "larger radius" in faults(book, request(artwork={**text, "arc": 1.0}))["/artwork/text"]


def test_artwork_that_fits_one_shoe_alone_does_not_fit_both(book: Book) -> None:
    """A wedge fits a panel of its own shape, and not that panel's mirror image unless it is mirrored too."""
    shoe = ruled(shape={"kind": "traced", "d": "M0 0H80V40Z"})
    wedge = {"kind": "path", "d": "M0 0H80V40Z", "height": "20 mm"}
    # The wedge's box is centred a sixth of its width above the panel's centroid.
    pose = {"kind": "at", "x": "-7 mm", "y": "-2 mm"}

    def fitted(**changes: Any) -> float:  # noqa: ANN401 - the JSON of any part
        asked = request(shoe=shoe, panel="side", pose=pose, clearance="0 mm", **{"artwork": wedge, **changes})
        return fits.check(book, asked).clearance_mm

    right, left, both = (fitted(sides=sides) for sides in ("right", "left", "both"))
    mirrored = fitted(sides="both", artwork={**wedge, "directional": True})

    assert right > 0.0 > left == both
    assert right == mirrored


def test_searched_pose_has_more_room_than_the_centre(book: Book) -> None:
    """A searched pose fits a larger copy than the panel's centre does, the more so the more it may turn."""
    poses = [{"kind": "centred"}] + [{"kind": "searched", "turn": f"{turn} deg"} for turn in (0, 15, 180)]

    answers = [fits.check(book, request(pose=pose)) for pose in poses]
    heights = [fit.largest.height_mm for fit in answers if fit.largest]

    assert 4 == len(heights)
    assert sorted(heights) == heights
    assert heights[0] < 0.95 * heights[1]
    assert 0.0 == answers[1].placed.rotation_deg
    assert abs(answers[2].placed.rotation_deg) <= 15.0


def test_searched_pose_where_nothing_fits_is_declined_at_the_centre(book: Book) -> None:
    """Where no copy fits anywhere, the answer is given for the panel's centre."""
    shoe = ruled(shape={"kind": "rectangle", "width": "80 mm", "height": "5 mm"})

    fit = fits.check(book, request(shoe=shoe, panel="side", artwork=BAR, pose={"kind": "searched"}))

    assert ("decline", None, 0.0, 0.0) == (fit.verdict, fit.largest, fit.placed.x_mm, fit.placed.y_mm)


def test_centre_in_a_keep_out_has_no_largest(book: Book) -> None:
    """Artwork centred on an eyelet fits at no size, and the sentence says to move it."""
    panel = book.shoes["regatta-deck"].panels[0]
    assert isinstance(panel, Panel)
    assert panel.centre_mm is not None
    pose = {"kind": "at", "x": f"{90 - panel.centre_mm[0]} mm", "y": f"{panel.centre_mm[1] - 14} mm"}
    shoe = {**DECK, "size": {"system": "JP", "value": "26"}}

    fit = fits.check(book, request(shoe=shoe, pose=pose))

    assert (None, "decline") == (fit.largest, fit.verdict)
    assert "No size fits with its centre there" in fit.reasons[0].sentence


def test_panels_grow_with_the_size(book: Book) -> None:
    """The same artwork has more room on every larger size of a shoe."""
    rooms = [
        fits.check(book, request(shoe={**DECK, "size": {"system": "EU", "value": str(size)}})).largest
        for size in range(36, 48, 2)
    ]

    scales = [largest.scale for largest in rooms if largest is not None]
    assert 6 == len(scales)
    assert sorted(scales) == scales


def test_one_foot_in_many_systems_is_one_panel(book: Book) -> None:
    """Mondopoint 260, JP 26 and EU 41 are one foot of 260 mm and have one answer but for the convention."""
    answers = [
        fits.check(book, request(shoe={**DECK, "size": {"system": system, "value": value}}))
        for system, value in (("mondopoint", "260"), ("JP", "26"), ("EU", "41"))
    ]

    assert [260.0] * 3 == [fit.size.foot_mm for fit in answers if fit.size]
    assert 1 == len({(fit.clearance_mm, fit.bound_by) for fit in answers})


@pytest.mark.parametrize(
    ("changes", "pointer", "says"),
    [
        ({"film": "flak"}, "/film", "no film 'flak'; it has: flake, .* and 3 more"),
        ({"colour": "gorze"}, "/colour", "no colour 'gorze'; it has: gorse, .* and 2 more"),
        ({"press": "hydraulic"}, "/press", "no press 'hydraulic'"),
        ({"panel": "sole"}, "/panel", "no panel 'sole'; it has: outer-quarter"),
        ({"shoe": {**DECK, "shoe": "slipper"}}, "/shoe/shoe", "no shoe 'slipper'"),
        ({"shoe": {**DECK, "size": {"system": "EU", "value": "50"}}}, "/shoe/size", "EU 36 to 47, not in EU 50"),
        ({"shoe": {**DECK, "size": {"system": "UK", "value": "14"}}}, "/shoe/size", r"\(UK 14 is EU 49.0\)"),
        ({"shoe": {**DECK, "size": {"system": "EU", "value": "42.3"}}}, "/shoe/size", "whole and half sizes"),
        ({"shoe": {**DECK, "size": {"system": "JP", "value": "5"}}}, "/shoe/size", "goes from 8 to 36"),
        ({"artwork": {"kind": "text", "text": "A", "font": "gothic", "height": "9 mm"}}, "/artwork/font", "no font"),
        ({"artwork": {"kind": "text", "text": "   ", "font": "plain", "height": "9 mm"}}, "/artwork/text", "no ink"),
        ({"artwork": {"kind": "text", "text": "中", "font": "plain", "height": "9 mm"}}, "/artwork/text", "lacks '中'"),
        ({"artwork": {"kind": "text", "text": "A", "font": "plain", "height": "99 m"}}, "/artwork/height",
         "at most 1000"),
        ({"artwork": {"kind": "text", "text": "A", "font": "plain", "letter_height": "99 m"}}, "/artwork/letter_height",
         "at most 1000"),
        ({"artwork": {"kind": "path", "d": "M0 0L9", "height": "9 mm"}}, "/artwork/d", "wants a number"),
        ({"artwork": {"kind": "path", "d": "M0 0L9 9", "height": "9 mm"}}, "/artwork/d", "no area"),
        ({"artwork": {"kind": "svg", "svg": "<svg><text>A</text></svg>", "height": "9 mm"}}, "/artwork/svg",
         "turn its letters into paths"),
        ({"pose": {"kind": "at", "x": "3 m", "y": "0 mm"}}, "/pose", "off any shoe"),
        ({"shoe": RULER, "panel": "toe"}, "/panel", "measured without a panel 'toe'; it has: side"),
        ({"shoe": ruled(shape={"kind": "traced", "d": "M0 0"}), "panel": "side"}, "/shoe/panels/0/shape/d",
         "draws nothing"),
        ({"shoe": ruled(shape={"kind": "traced", "d": "M0 0H9000V9H0Z"}), "panel": "side"}, "/shoe/panels/0/shape/d",
         "larger than 1000 mm"),
        ({"shoe": ruled(curvature="1 mm"), "panel": "side"}, "/shoe/panels/0/curvature", "at least 5 mm"),
        ({"shoe": ruled(shape={"kind": "ellipse", "width": "9 m", "height": "2 cm"}), "panel": "side"},
         "/shoe/panels/0/shape/width", "No panel is 9 m"),
    ],
)  # fmt: skip
def test_fault_has_its_pointer(book: Book, changes: dict[str, Any], pointer: str, says: str) -> None:
    """What the book has not, or cannot be, is a fault at its place with a sentence that says what can."""
    found = faults(book, request(**changes))

    assert [pointer] == list(found)
    assert re.search(says, found[pointer])


def test_all_faults_come_together(book: Book) -> None:
    """Every fault of a request is found at once."""
    found = faults(
        book,
        request(
            shoe={**DECK, "shoe": "slipper"},
            film="velour",
            press="none",
            artwork={"kind": "text", "text": "\u200d", "font": "plain", "height": "9 mm"},
        ),
    )

    assert {"/shoe/shoe", "/film", "/press", "/artwork/text"} == set(found)


def test_every_panel_of_the_book_can_be_asked_about(book: Book) -> None:
    """Each panel of each shoe, at its smallest and largest size, has a free area and an answer."""
    for shoe in book.shoes.values():
        for panel in shoe.panels:
            for size in (shoe.sizes.smallest, shoe.sizes.largest):
                wanted = {"kind": "book", "shoe": shoe.id, "size": {"system": shoe.sizes.system, "value": f"{size:g}"}}
                asked = request(shoe=wanted, panel=panel.id, artwork={**BAR, "height": "4 mm"})
                assert fits.check(book, asked).largest is not None, (shoe.id, panel.id, size)


def test_prepared_book_answers_the_same(book: Book) -> None:
    """Preparing a book draws what is common beforehand and changes no answer."""
    first = fits.check(book, request())
    assert any(True for _ in placements.prepare(book))

    assert first == fits.check(book, request())


def test_answer_is_the_same_each_time(book: Book) -> None:
    """The same question has the same answer, from the caches or not."""
    first = fits.check(book, request())
    cache.clear()

    assert first == fits.check(book, request())


def test_placed_geometry_is_inside_the_panel(book: Book) -> None:
    """What a drawing will show is what was checked: the artwork where it is, clear of the panel's keep-outs."""
    placement = placements.of_fit(book, request())
    placed = placement.placed()

    assert shapely.contains_properly(placement.shape.outline, placed)
    assert containment.fits(placement.shape.area, placed, placement.clearance)
    assert pytest.approx(25.0) == placed.bounds[3] - placed.bounds[1]


def bar(book: Book, **changes: Any) -> Placement:  # noqa: ANN401
    """Return a bar on the outer quarter of a deck shoe."""
    (placement,) = plain_marks.read(book, plain_marks.asked(**changes)).placements
    return placement


def test_a_place_is_told_from_the_panels_centre(book: Book) -> None:
    """To four decimals, and turned in degrees."""
    placed = fits.fit_of(book, bar(book, pose=At(x="5.12346 mm", y="-3 mm", rotation="30 deg"))).placed

    assert (5.1235, -3.0, 30.0) == (placed.x_mm, placed.y_mm, placed.rotation_deg)


@pytest.mark.parametrize("share", [0.5, 1.5])
def test_the_largest_copy_is_the_larger_of_the_found_and_the_centred(book: Book, share: float) -> None:
    """A search may have found one that is larger, or stopped at a smaller one."""
    placement = bar(book)
    plain = fits.fit_of(book, placement).largest
    assert plain is not None
    found = share * plain.scale * placement.artwork.scale
    searched = replace(placement, position=replace(placement.position, largest=found))
    largest = fits.fit_of(book, searched).largest
    assert largest is not None

    assert pytest.approx(max(1.0, share) * plain.scale) == largest.scale


def test_the_largest_copy_is_left_out_where_it_is_not_asked_for(book: Book) -> None:
    """But told where the artwork does not fit."""
    wide = bar(book, artwork=replace(plain_marks.BAR, height="60 mm"))

    assert fits.fit_of(book, bar(book), largest_too=False).largest is None
    assert fits.fit_of(book, wide, largest_too=False).largest is not None


def test_sizes_of_a_copy_are_rounded_down(book: Book) -> None:
    """So that asking for them fits."""
    largest = fits.fit_of(book, bar(book)).largest
    assert largest is not None

    exact = largest.scale * 10.0
    assert 0.0 <= exact - largest.height_mm < 1e-4
    assert 0.0 <= 2.0 * exact - largest.width_mm < 1e-4
    assert largest.letter_height_mm is None
    assert [1.2345, 1.2345, 1.0] == [fits._down(length) for length in (1.23459, 1.2345001, 1.0)]


def text(book: Book, words: str, height: str = "10 mm", **changes: Any) -> Placement:  # noqa: ANN401
    """Return a text on the outer quarter, its letters of a height."""
    return bar(book, artwork=TextArtwork(text=words, font="plain", letter_height=height), **changes)


def on_ruler(book: Book, width: str, height: str, d: str = "M0 0H20V10H0Z", **changes: Any) -> Placement:  # noqa: ANN401
    """Return a bar 10 mm high on a measured rectangle, kept 3 mm from its edges."""
    shoe = measured(width, height)
    asked = request(shoe=shoe, panel="side", artwork={"kind": "path", "d": d, "height": "10 mm"}, **changes)
    return placements.of_fit(book, asked)


def test_measures_of_a_fit_have_four_decimals(book: Book) -> None:
    """Offsets, clearances and the clearance needed."""
    fit = fits.fit_of(book, bar(book, pose=At(x="1.00004 mm", y="-3.12346 mm"), clearance="2.12346 mm"))

    assert (1.0, -3.1235, 2.1235) == (fit.placed.x_mm, fit.placed.y_mm, fit.clearance_needed_mm)
    assert round(fit.clearance_mm, 4) == fit.clearance_mm != round(fit.clearance_mm, 3)


@pytest.mark.parametrize(
    ("width", "height", "d", "most"),
    [
        # Less 3 mm on both sides the rectangle has 74 x 34 mm, or 44 x 94 mm.
        ("80 mm", "40 mm", "M0 0H20V10H0Z", 3.4),
        ("50 mm", "100 mm", "M0 0H20V10H0Z", 2.2),
        # Within its rim of 6 mm the form has 178 x 73 mm.
        ("900 mm", "900 mm", "M0 0H20V10H0Z", 7.3),
        ("900 mm", "900 mm", "M0 0H40V10H0Z", 4.45),
    ],
)
def test_an_artwork_may_be_enlarged_until_panel_or_pad_is_full(
    book: Book, width: str, height: str, d: str, most: float
) -> None:
    """Whichever is full first, along it or across."""
    own = replace(book, presses={"swing": replace(book.presses["swing"], platens=("shoe-form",))})

    assert pytest.approx(most) == fits._most_enlarged(own, on_ruler(own, width, height, d))


def test_without_a_platen_the_panel_alone_limits_an_artwork(book: Book) -> None:
    """900 mm less 3 mm on both sides, for a bar of 20 mm."""
    form = replace(book.platens["shoe-form"], faces=("heel",))
    own = replace(
        book,
        presses={"swing": replace(book.presses["swing"], platens=("shoe-form",))},
        platens={"shoe-form": form},
    )

    assert pytest.approx(894.0 / 20.0) == fits._most_enlarged(own, on_ruler(own, "900 mm", "900 mm"))


def test_the_outline_to_cut_along_has_the_weed_border(book: Book) -> None:
    """A bar of 20 x 10 mm with 2 mm around it or a little more, not turned though the artwork is."""
    xs, ys = zip(*fits.outline(bar(book, pose=At(x="0 mm", y="0 mm", rotation="40 deg")), 2.0), strict=True)

    assert 24.0 <= max(xs) - min(xs) < 24.2
    assert 14.0 <= max(ys) - min(ys) < 14.2


def test_a_copy_is_the_artwork_times_its_scale(book: Book) -> None:
    """Its letters too, rounded down in the fourth decimal."""
    placement = text(book, "HI")
    copy = fits._copy(placement, 1.23456 * placement.artwork.scale)

    assert (pytest.approx(1.23456), 12.3456) == (copy.scale, copy.letter_height_mm)
    figure = placement.artwork.figure
    width, height = (1.23456 * placement.artwork.scale * size for size in (figure.width, figure.height))
    assert 0.0 <= width - copy.width_mm < 1e-4
    assert 0.0 <= height - copy.height_mm < 1e-4


@pytest.mark.parametrize(
    ("ratio", "difference", "effect", "said"),
    [
        (3.0, 5.0, "none", "The mark stands out: contrast 3.0 to 1."),
        (12.34567, 5.0, "none", "The mark stands out: contrast 12.3 to 1."),
        (2.94, 9.4, "none", "Tone on tone: contrast 2.9 to 1, and nearly one colour (CIEDE2000 9)."),
        (
            1.5,
            10.0,
            "none",
            "Tone on tone: contrast 1.5 to 1; the hue sets it off (CIEDE2000 10), though not for every eye.",
        ),
        (
            4.0,
            20.12346,
            "metallic",
            "The mark stands out: contrast 4.0 to 1. The film's metallic effect is not in these figures.",
        ),
    ],
)
def test_contrast_in_words(  # noqa: PLR0917 - the cases' values
    book: Book,
    monkeypatch: pytest.MonkeyPatch,
    ratio: float,
    difference: float,
    effect: Literal["none", "metallic"],
    said: str,
) -> None:
    """From 3 to 1 a mark stands out (WCAG 2.2, 1.4.11); from 10 of CIEDE2000 its hue sets it off (from memory)."""
    monkeypatch.setattr(fits, "contrast_ratio", lambda *_: ratio)
    monkeypatch.setattr(fits, "delta_e", lambda *_: difference)
    plain = bar(book)
    assert plain.colour is not None
    told = fits._contrast(replace(plain, colour=replace(plain.colour, effect=effect)))
    assert told is not None

    assert (round(ratio, 4), round(difference, 4), said) == (told.ratio, told.delta_e, told.sentence)
    assert None is fits._contrast(replace(plain, colour=None))
    assert None is fits._contrast(replace(plain, behind=None))


def test_another_artwork_is_fitted_where_the_first_was_to_be(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """At its datum, on its shoes, with its footprint and clearance; one with a direction as on the right shoe."""
    asked: list[tuple[Any, ...]] = []

    def fits_at(*values: Any) -> bool:  # noqa: ANN401
        asked.append(values)
        return True

    placement = bar(book, sides="left", footprint="hull", clearance="1.5 mm")
    monkeypatch.setattr(fits, "_fits_at", fits_at)
    larger = placement.artwork.sized(3.0 * placement.artwork.scale)

    assert fits._fits_as(placement, larger)
    assert fits._fits_as(placement, replace(larger, is_directional=True))
    (area, seen, scale, datum, clearance), (_, as_drawn, *_) = asked
    assert (placement.shape.area, larger.scale, placement.position.datum, 1.5) == (area, scale, datum, clearance)
    assert ("left", "hull", "right") == (seen.sides, seen.footprint, as_drawn.sides)

    def never(*_: object) -> bool:
        raise DrawingError("drawing.too-many-points", "The curves are too many")

    monkeypatch.setattr(fits, "_fits_at", never)
    assert not fits._fits_as(placement, larger)


def test_letters_of_another_height_are_tried_at_their_scale(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Those of 12 mm are 1.2 times those of 10 mm; a drawing has none."""
    scales: list[float] = []
    monkeypatch.setattr(fits, "_fits_at", lambda _, __, scale, *___: scales.append(scale) or True)
    placement = text(book, "HI")

    assert fits._fits_with(placement, 12.0)
    assert [pytest.approx(1.2 * placement.artwork.scale)] == scales
    with pytest.raises(AssertionError, match="letters"):
        fits._fits_with(bar(book), 12.0)


def test_letters_beside_an_edge_that_ends_do_not_fit(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """A copy that lies beside an end of its edge has no pose there."""
    placement = bar(book, pose=Anchored(side="above", edge="featherline", distance="12 mm"))
    at = (placement.shape.area, placement.seen, placement.artwork.scale, placement.position.datum)
    assert fits._fits_at(*at, 0.25)

    def beside(*_: object) -> None:
        raise AnchorError("pose.edge-not-beside", "It lies beside the end of the edge")

    monkeypatch.setattr(anchors, "pose", beside)
    assert not fits._fits_at(*at, 0.375)


class Letters:
    """How large the letters of some texts may be, tried in the order that is remembered."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, book: Book, **largest: float | None) -> None:
        self.placements = [text(book, words) for words in largest]
        self.tried: list[str] = []
        self.too_small: dict[str, float] = {}
        names = {id(one): words for one, words in zip(self.placements, largest, strict=True)}

        def largest_copy(placement: Placement) -> float | None:
            words = names[id(placement)]
            self.tried.append(words)
            height, capital = largest[words], placement.artwork.figure.capital
            assert capital is not None
            return None if height is None else height / capital

        def fits_with(placement: Placement, height: float) -> bool:
            words = names[id(placement)]
            most = largest[words]
            return most is not None and self.too_small.get(words, 0.0) < height <= most + 1e-9

        monkeypatch.setattr(fits, "_largest_copy", largest_copy)
        monkeypatch.setattr(fits, "_fits_with", fits_with)

    def answer(self) -> tuple[float | None, int]:
        """Return the largest letters of all, and the text that binds."""
        return fits.largest_letters(self.placements)


def test_the_longest_text_is_tried_first_and_the_least_height_holds(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those that fit at the height so far are not looked into; the one that allows least binds."""
    usual = Letters(monkeypatch, book, HI=30.0, HELLO=9.5, HELL=12.0)
    assert (9.5, 1) == usual.answer()
    assert ["HELLO"] == usual.tried

    odd = Letters(monkeypatch, book, HI=7.12349, HELLO=9.5, HELL=8.0)
    assert (7.1234, 0) == odd.answer()
    assert ["HELLO", "HELL", "HI"] == odd.tried


def test_a_text_that_fits_in_no_size_binds(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether it is tried first or last, or fits when larger alone."""
    assert (None, 1) == Letters(monkeypatch, book, HI=30.0, HELLO=None, HELL=12.0).answer()
    assert (None, 0) == Letters(monkeypatch, book, HI=None, HELLO=9.5, HELL=12.0).answer()
    larger_alone = Letters(monkeypatch, book, HI=8.0, HELLO=9.5)
    larger_alone.too_small["HELLO"] = 9.0
    assert (None, 1) == larger_alone.answer()
    equal = Letters(monkeypatch, book, HI=9.5, HELLO=9.5)
    equal.too_small["HI"] = 9.6
    assert (9.5, 1) == equal.answer()


def test_what_a_search_found_counts_as_the_largest(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is not looked for again."""
    letters = Letters(monkeypatch, book, HI=30.0)
    (placement,) = letters.placements
    found = 11.0 / (placement.artwork.figure.capital or 0.0)
    searched = replace(placement, position=replace(placement.position, largest=found))

    assert (11.0, 0) == fits.largest_letters([searched])
    assert [] == letters.tried


def test_a_text_on_a_narrow_panel_is_tried_before_a_longer_one_on_a_wide(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """How much of its panel's width it takes counts, and so the others need no search."""
    wide, narrow = (
        placements.of_fit(
            book,
            request(
                shoe=measured(width, "60 mm"),
                panel="side",
                artwork={"kind": "text", "text": words, "font": "plain", "letter_height": "10 mm"},
            ),
        )
        for width, words in (("200 mm", "HELLO"), ("50 mm", "HELL"))
    )
    tried: list[Placement] = []
    monkeypatch.setattr(fits, "_largest_copy", lambda placement: tried.append(placement) or placement.artwork.scale)
    monkeypatch.setattr(fits, "_fits_with", lambda *_: True)

    assert (pytest.approx(10.0, abs=1e-4), 1) == fits.largest_letters([wide, narrow])
    assert [narrow] == tried


@pytest.mark.parametrize("sides", ["left", "right", "both"])
@pytest.mark.parametrize("panel", ["outer-quarter", "inner-quarter"])
def test_a_changed_artwork_is_tried_where_the_artwork_itself_is(book: Book, panel: str, sides: str) -> None:
    """Unchanged it fits as a mend's test has it just when it fits, all along either panel, for either shoe."""
    artwork = {"kind": "path", "d": "M0 0H60V8H8V30H0Z", "height": "22 mm"}
    for x in range(-40, 41, 2):
        pose = {"kind": "at", "x": f"{x} mm", "y": "0 mm"}
        placement = placements.of_fit(book, request(panel=panel, sides=sides, pose=pose, artwork=artwork))
        outside = "fit.outside" in {reason.code for reason in fits.fit_of(book, placement).reasons}

        assert outside != fits._fits_as(placement, placement.artwork), x
