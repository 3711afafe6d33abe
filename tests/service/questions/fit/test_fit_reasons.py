from __future__ import annotations

import math
from collections.abc import Iterable

import pytest
from msgspec.structs import replace
from plain_marks import asked, read

from featherline.wire.artworks import PathArtwork, TextArtwork
from featherline.wire.fits import Contrast
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.contrast import TONE_ON_TONE_RATIO
from featherline_service.quantities import say
from featherline_service.questions.fit import fit_reasons
from featherline_service.questions.order.placements import Placement
from featherline_service.questions.order.poses import Position
from featherline_service.questions.shoes.shoes import Shoe
from featherline_service.shape.placement import curvature, wrapping
from featherline_service.shape.placement.anchors import Anchor
from featherline_service.shape.placement.containment import Pose, Room


def placed(book: Book, width: float = 20.0, height: float = 10.0, **changes: object) -> Placement:
    """Return a bar on the outer quarter, some of its placement changed."""
    artwork = PathArtwork(d=f"M0 0H{width}V{height}H0Z", height=f"{height} mm")
    (placement,) = read(book, asked(artwork=artwork)).placements
    return replace(placement, **changes)


def curving(placement: Placement, along: float, across: float, *, known: bool = True, face: str = "outer") -> Placement:
    """Return a placement on a panel that curves otherwise."""
    shape = replace(
        placement.shape,
        radius_along=along,
        radius_across=across,
        curvature_known=known,
        face=face,
    )
    return replace(placement, shape=shape)


def only(reasons: Iterable[Reason]) -> Reason:
    """Return the only reason."""
    (reason,) = reasons
    return reason


@pytest.mark.parametrize(
    ("room", "largest", "what", "most"),
    [
        (Room(-1.23456, "edge"), None, "reaches 1.3 mm over the edge of the panel", "No size fits {where}: move it."),
        (Room(-0.5, "old-mark"), 0.5, "reaches 0.5 mm over the old mark", "{Where} it fits up to 5.0 mm high."),
        (
            Room(0.0, "toe-cap"),
            0.5,
            "comes within 0.0 mm of the toe cap; 3.0 mm are needed",
            "{Where} it fits up to 5.0 mm high.",
        ),
        (
            Room(2.26, "seam"),
            0.999,
            "comes within 2.3 mm of the seam; 3.0 mm are needed",
            "{Where} it fits up to 9.9 mm high.",
        ),
    ],
)
def test_what_is_outside_is_said_with_the_size_that_fits(
    book: Book, room: Room, largest: float | None, what: str, most: str
) -> None:
    """Overlaps are rounded up and sizes down, so that they hold; names of keep-outs are readable."""
    reason = only(fit_reasons.outside(placed(book), room, largest))
    most = most.format(where="with its centre there", Where="With its centre there")

    assert f"The artwork {what}. {most}" == reason.sentence
    assert ("fit.outside", "decline", "/artwork", round(room.clearance, 4), 3.0, "mm") == (
        reason.code,
        reason.verdict,
        reason.subject,
        reason.measure,
        reason.limit,
        reason.unit,
    )


@pytest.mark.parametrize(
    ("footprint", "counted"),
    [("exact", "The artwork"), ("filled", "The artwork with its holes filled"), ("hull", "The artwork's hull")],
)
def test_what_counts_of_the_artwork_is_named(book: Book, footprint: str, counted: str) -> None:
    """By the footprint that was asked for."""
    placement = placed(book, footprint=footprint)

    assert f"{counted} reaches 1.0 mm over" in only(fit_reasons.outside(placement, Room(-1.0, "edge"), None)).sentence


def test_a_copy_keeps_to_its_anchor(book: Book) -> None:
    """The largest one is at the distance from the edge, where the pose has an anchor."""
    anchor = Anchor("above", "panel", 5.0, 0.0, (0.0, 0.0), 0.0, None)
    placement = placed(book, position=Position(pose=Pose(0.0, 0.0), datum=anchor))
    room = Room(-1.0, "edge")

    assert only(fit_reasons.outside(placement, room, 0.5)).sentence.endswith(
        "At that distance it fits up to 5.0 mm high."
    )
    assert only(fit_reasons.outside(placement, room, None)).sentence.endswith("No size fits at that distance: move it.")


def test_a_flat_panel_has_no_reason(book: Book) -> None:
    """Nor has a heel, which lies flat or is not marked; a cylinder that is flat one way may have one."""
    placement = placed(book)

    assert [] == list(fit_reasons.curved(book, curving(placement, math.inf, math.inf)))
    assert [] == list(fit_reasons.curved(book, curving(placement, 10.0, 10.0, face="heel")))
    assert [] != list(fit_reasons.curved(book, curving(placement, 10.0, math.inf)))
    assert [] != list(fit_reasons.curved(book, curving(placement, math.inf, 5.0)))


def test_an_unknown_curvature_is_tried_first(book: Book) -> None:
    """It counts as tight; what would be declined on a known one is tried then."""
    first, *rest = fit_reasons.curved(book, curving(placed(book, 40.0, 40.0), 20.5, 20.5, known=False))
    known = list(fit_reasons.curved(book, curving(placed(book, 40.0, 40.0), 20.5, 20.5)))

    assert ("fit.curved", "trial", "/shoe/panels") == (first.code, first.verdict, first.subject)
    assert "with a radius of 20.5 mm" in first.sentence
    assert ["trial", "trial"] == [reason.verdict for reason in rest]
    assert ["decline", "decline"] == [reason.verdict for reason in known]
    alone = fit_reasons.curved(book, curving(placed(book, 2.0, 2.0), 60.0, 60.0, known=False))
    assert ["/shoe/panels"] == [reason.subject for reason in alone]


def stretchable(placement: Placement, stretch: float) -> Placement:
    """Return a placement in film that gives so much."""
    return replace(placement, film=replace(placement.film, stretch=stretch))


def test_film_gives_over_both_curves_as_its_outline_does(book: Book) -> None:
    """The larger of its strains at edge and centre (Foeppl-von Karman) counts, not that of the disc around it."""
    placement = curving(placed(book), 40.0, 40.0)
    edge, centre = wrapping.footprint_strain(placement.artwork.figure.drawn(0), 40.0, 40.0, placement.artwork.scale)
    strain = max(abs(edge), abs(centre))
    disc = max(map(abs, curvature.wrapping_strain(math.hypot(10.0, 5.0), 40.0, 40.0)))
    told = [
        reason
        for reason in fit_reasons.curved(book, stretchable(placement, 0.99 * strain))
        if reason.subject == "/artwork" and reason.unit == "1"
    ]

    assert strain < disc
    reason = only(told)
    assert (round(strain, 6), 0.99 * strain, "decline", "fit.curved") == (
        reason.measure,
        reason.limit,
        reason.verdict,
        reason.code,
    )
    assert "the film must give by 0.542 %; Smooth polyurethane film gives by 0.537 %:" in reason.sentence
    (tight,) = (one for one in fit_reasons.curved(book, stretchable(placement, 0.001)) if one.unit == "1")
    assert "must give by 0.5 %; Smooth polyurethane film gives by 0.1 %:" in tight.sentence
    for enough in (1.001 * strain, 1.001 * disc):
        assert [] == [one for one in fit_reasons.curved(book, stretchable(placement, enough)) if one.unit == "1"]


@pytest.mark.parametrize(("along", "across"), [(2.0, math.inf), (math.inf, -2.0), (-2.0, 900.0)])
def test_film_bends_over_the_smaller_radius(book: Book, along: float, across: float) -> None:
    """By half its thickness over the radius (Euler-Bernoulli), whichever way it bends."""
    placement = curving(placed(book, 0.5, 0.5), along, across)
    thickness = sum(layer.thickness_mm for layer in placement.film.layers)
    strain = thickness / 4.0
    reason = only(one for one in fit_reasons.curved(book, stretchable(placement, 0.9 * strain)) if one.unit == "1")

    assert round(strain, 6) == reason.measure
    assert [] == [one for one in fit_reasons.curved(book, stretchable(placement, strain)) if one.unit == "1"]


def pressed(book: Book, placement: Placement) -> float:
    """Return the pressure at the corners of an artwork on the pad of the shoe form [kPa]."""
    pad = book.pads["silicone-foam"]
    width, height = placement.extent
    return curvature.corner_pressure(
        width / 2.0,
        height / 2.0,
        placement.shape.radius_along,
        placement.shape.radius_across,
        276.0,
        pad.thickness_mm,
        tuple((point.pressure_kpa, point.strain) for point in pad.compression),
    )


def test_corners_need_half_the_films_pressure(book: Book) -> None:
    """Less is tried first, none at all is declined; the gap under the platen and the pad are named."""
    some = curving(placed(book, 30.0, 10.0), 60.0, 30.0)
    kpa = pressed(book, some)
    reason = only(one for one in fit_reasons.curved(book, stretchable(some, 1.0)) if one.unit == "kPa")
    gap = curvature.gap_under_platen(15.0, 5.0, 60.0, 30.0)

    assert 0.0 < kpa < 138.0
    assert (round(kpa, 4), 138.0, "trial", "fit.curved", "/artwork") == (
        reason.measure,
        reason.limit,
        reason.verdict,
        reason.code,
        reason.subject,
    )
    assert f"{kpa:.0f} of 276 kPa, for the gap is {some.say(gap)} under a flat platen with" in reason.sentence
    assert book.pads["silicone-foam"].name in reason.sentence
    none = curving(placed(book, 40.0, 40.0), 30.0, 30.0)
    assert 0.0 == pressed(book, none)
    declined = only(one for one in fit_reasons.curved(book, stretchable(none, 1.0)) if one.unit == "kPa")
    assert ("decline", 0.0) == (declined.verdict, declined.measure)


def test_half_the_pressure_itself_is_enough(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """138 kPa of 276, by the film's own level at this press."""
    placement = stretchable(curving(placed(book), 60.0, 60.0), 1.0)
    for kpa, enough in ((138.0, True), (137.9, False)):
        monkeypatch.setattr(fit_reasons.curvature, "corner_pressure", lambda *_, kpa=kpa: kpa)
        assert enough == (list(fit_reasons.curved(book, placement)) == [])
    firm = replace(placement, film=replace(placement.film, setting=replace(placement.film.setting, pressure="firm")))
    monkeypatch.setattr(fit_reasons.curvature, "corner_pressure", lambda *_: 138.0)
    assert 207.0 == only(fit_reasons.curved(book, firm)).limit


def test_a_panel_that_turns_away_gets_no_pressure(book: Book) -> None:
    """There the gap has no end, and no length is said."""
    placement = curving(placed(book, 40.0, 40.0), 19.0, 900.0)
    reason = only(one for one in fit_reasons.curved(book, stretchable(placement, 1e3)) if one.unit == "kPa")

    assert (0.0, "decline") == (reason.measure, reason.verdict)
    assert "0 of 276 kPa, for the panel turns away from the platen before them under" in reason.sentence


def test_pressures_are_said_in_the_callers_units(book: Book) -> None:
    """1 psi is 6.894757 kPa (NIST SP 811)."""
    placement = stretchable(curving(placed(book, 40.0, 40.0), 30.0, 30.0), 1e3)
    us = replace(placement, artwork=replace(placement.artwork, units="us"))

    assert "0 of 40 psi" in only(fit_reasons.curved(book, us)).sentence


def test_a_shoe_that_no_platen_takes_has_no_pressure_to_tell(book: Book) -> None:
    """That it is not reached is said elsewhere."""
    placement = stretchable(curving(placed(book, 40.0, 40.0), 30.0, 30.0), 1e3)
    tiny = replace(placement, shoe=replace(placement.shoe, inside_length=100.0))

    assert [] == list(fit_reasons.curved(book, tiny))


def test_a_shoe_known_by_its_label_alone_is_tried_first(book: Book) -> None:
    """One of the book, or whose upper is named, has no such reason."""
    placement = placed(book)
    walk_in = Shoe(name="a walk-in shoe", panels=())

    assert [] == list(fit_reasons.measured(placement))
    reason = only(fit_reasons.measured(replace(placement, shoe=walk_in)))
    assert ("shoe.measured", "trial", "/shoe") == (reason.code, reason.verdict, reason.subject)
    named = replace(walk_in, upper_is_named=True)
    assert [] == list(fit_reasons.measured(replace(placement, shoe=named)))


@pytest.mark.parametrize(
    ("off_deg", "code"),
    [
        (0.0, None),
        (45.0, None),
        (-45.0, None),
        (45.0123456, "sight.sideways"),
        (90.0, "sight.sideways"),
        (-135.0, "sight.sideways"),
        (135.0, "sight.sideways"),
        (135.01, "sight.upside-down"),
        (180.0, "sight.upside-down"),
        (-136.0, "sight.upside-down"),
        (225.01, "sight.sideways"),
        (315.0, None),
        (360.0, None),
    ],
)
def test_a_mark_is_upright_within_an_eighth_of_a_turn(book: Book, off_deg: float, code: str | None) -> None:
    """Of what is up on the worn shoe; within as much of the reverse it is upside down, and between them sideways."""
    placement = placed(book)
    turned = replace(placement.shape, up=math.radians(120.0))
    pose = Pose(0.0, 0.0, math.radians(30.0 + off_deg))
    there = replace(placement, shape=turned, position=Position(pose=pose, datum=pose))
    told = list(fit_reasons.not_upright(there))

    assert ([] if code is None else [code]) == [reason.code for reason in told]
    for reason in told:
        degrees = abs(math.remainder(off_deg, 360.0))
        assert ("ready", "/pose", 45.0, "deg") == (reason.verdict, reason.subject, reason.limit, reason.unit)
        assert round(degrees, 4) == reason.measure
        how = "upside down" if code == "sight.upside-down" else "sideways"
        assert (
            f"It lies {how} for whoever looks at the worn shoe, {degrees:.0f} degrees from upright" in reason.sentence
        )
    directional = replace(there, artwork=replace(there.artwork, is_directional=True))
    assert [] == list(fit_reasons.not_upright(directional))


@pytest.mark.parametrize(
    ("ratio", "told"), [(TONE_ON_TONE_RATIO - 0.001, True), (TONE_ON_TONE_RATIO, False), (None, False)]
)
def test_film_and_upper_alike_are_remarked_on(ratio: float | None, told: bool) -> None:
    """Below the ratio, not at it."""
    contrast = None if ratio is None else Contrast(delta_e=5.0, ratio=ratio, sentence="Alike.")
    reasons = list(fit_reasons.tone_on_tone(contrast))

    assert told == bool(reasons)
    for reason in reasons:
        assert ("sight.tone-on-tone", "ready", "/colour", ratio, TONE_ON_TONE_RATIO, "1", "Alike.") == (
            reason.code,
            reason.verdict,
            reason.subject,
            reason.measure,
            reason.limit,
            reason.unit,
            reason.sentence,
        )


def test_letters_are_said_by_their_own_height(book: Book) -> None:
    """The largest copy too, where the height was given as theirs."""
    text = TextArtwork(text="HI", font="plain", letter_height="10 mm")
    (placement,) = read(book, asked(artwork=text)).placements
    reason = only(fit_reasons.outside(placement, Room(-1.0, "edge"), placement.artwork.scale / 2.0))

    assert reason.sentence.endswith("it fits up to letters 5.0 mm high.")


@pytest.mark.parametrize(
    ("part_kpa", "units", "said"),
    [
        (0.0, "metric", "0 of 276 kPa"),
        (100.4, "metric", "100 of 276 kPa"),
        (275.7, "metric", "275.7 of 276.0 kPa"),
        (-0.2, "metric", "0 of 276 kPa"),
        # 1 psi is 6.894757 kPa (NIST SP 811, 2008, appendix B.8)
        (137.9, "us", "20 of 40 psi"),
        (275.7, "us", "39.99 of 40.03 psi"),
    ],
)
def test_a_part_of_a_pressure_never_reads_as_the_whole(part_kpa: float, units: str, said: str) -> None:
    """The pressure on corners and that asked for, on the scale of the units, with the decimals that tell them apart."""
    part, whole = fit_reasons._pressures(part_kpa, 276.0, units)
    assert said == f"{say(part)} of {say(whole)}"
