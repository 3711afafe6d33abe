from __future__ import annotations

import math
import string
from typing import Any, Final

import pytest
from msgspec.structs import replace

from featherline.wire.records import Film
from featherline.wire.verdicts import Verdict
from featherline_service.book.shop_book import Book
from featherline_service.questions.order import fine_detail
from featherline_service.questions.order.fine_detail import Flaw, enlargement, flaws
from featherline_service.runtime import cache
from featherline_service.shape.outlines import figures, text_outlines
from featherline_service.shape.outlines.figures import Figure, TipsAndNotches
from featherline_service.shape.outlines.tips import Tip
from featherline_service.shape.outlines.widths import Detail


def drawn(*points: tuple[float, float]) -> Figure:
    """Return a polygon as a figure, in millimetres."""
    return figures.of_path("M" + "L".join(f"{x:.6f} {y:.6f}" for x, y in points) + "Z", "nonzero")


def star(spikes: int, inner: float) -> Figure:
    """Return a star of 50 mm radius, its notches at a share of that."""
    return drawn(
        *(
            (
                50.0 * (1.0 if corner % 2 == 0 else inner) * math.cos(math.pi * corner / spikes),
                50.0 * (1.0 if corner % 2 == 0 else inner) * math.sin(math.pi * corner / spikes),
            )
            for corner in range(2 * spikes)
        )
    )


def codes(book: Book, film: str, figure: Figure, scale: float = 1.0) -> dict[str, Verdict]:
    """Return codes and verdicts of the flaws of a figure."""
    return {flaw.code: flaw.verdict for flaw in flaws(book.films[film], figure, scale)}


@pytest.mark.parametrize("film", ["flock", "smooth", "printed"])
def test_a_star_of_twelve_spikes_is_not_ready(book: Book, film: str) -> None:
    """Its spikes are tried first at any size; slimmer ones are declined; a star of five is ready."""
    assert {"fit.fine-tip": "trial"} == codes(book, film, star(12, 0.4))
    assert {"fit.fine-tip": "trial"} == codes(book, film, star(12, 0.4), 0.6)
    assert "decline" == codes(book, film, star(24, 0.4))["fit.fine-tip"]
    assert {} == codes(book, film, star(5, 0.382))


@pytest.mark.parametrize("film", ["flock", "smooth"])
@pytest.mark.parametrize(("angle_deg", "verdict"), [(24.0, None), (22.0, "trial"), (14.0, "trial"), (12.0, "decline")])
def test_a_wedge_is_judged_by_its_angle(book: Book, film: str, angle_deg: float, verdict: Verdict | None) -> None:
    """A wedge of angle a loses r / sin(a / 2) - r: two finest strokes at 23.1 degrees, four at 12.8 degrees."""
    half = 100.0 * math.tan(math.radians(angle_deg / 2.0))

    found = codes(book, film, drawn((0, -40), (10, -half), (110, 0), (10, half), (0, 40), (-60, 0)))

    assert verdict == found.get("fit.fine-tip")


def test_a_slit_is_a_notch_too_long(book: Book) -> None:
    """A V-notch of 5 degrees is declined, and one of 30 degrees is weeded clean."""

    def notched(angle_deg: float) -> Figure:
        half = 60.0 * math.tan(math.radians(angle_deg / 2.0))
        return drawn((-60, -60), (60, -60), (60, 60), (half, 60), (0, 0), (-half, 60), (-60, 60))

    assert {"fit.fine-notch": "decline"} == codes(book, "smooth", notched(5.2))
    assert {} == codes(book, "smooth", notched(30.0))


def test_outlines_that_touch_are_neither_one_piece_nor_two(book: Book) -> None:
    """A bow-tie meets in a point: cut, it is declined as touching at any size; printed, it is one piece."""
    bow_tie = figures.of_path("M0 0L40 20L0 40ZM80 0L40 20L80 40Z", "nonzero")

    assert {"fit.touch": "decline"} == codes(book, "smooth", bow_tie)
    assert {"fit.touch": "decline"} == codes(book, "smooth", bow_tie, 5.0)
    assert {} == codes(book, "printed", bow_tie)
    assert fine_detail.smallest_scale(book.films["smooth"], bow_tie, 1.0, 10.0, lambda found: not found) is None


def test_a_hair_between_plates_is_a_touch_until_it_is_wider(book: Book) -> None:
    """A gap of 0.01 mm is a touch, since outlines are no more accurate; at twenty times the size it is a gap."""
    plates = figures.of_path("M0 0H20V20H0ZM20.01 0H40V20H20.01Z", "nonzero")

    assert {"fit.touch": "decline"} == codes(book, "smooth", plates)
    assert {"fit.fine-gap": "decline"} == codes(book, "smooth", plates, 20.0)


@pytest.mark.slow
def test_letters_are_judged_by_their_widths_alone(book: Book) -> None:
    """No letter or digit of the demo fonts is held up by tips or notches where its widths are enough, in any film."""
    held_up = []
    for font, file in book.font_files.items():
        face = text_outlines.typeface(file)
        for letter in string.ascii_letters + string.digits:
            figure = figures.of_text(face, letter)
            for film in book.films.values():
                least = enlargement(film, figure.detail)
                held_up += [
                    (font, letter, film.id, larger) for larger in (1.0, 1.5, 3.0) if flaws(film, figure, larger * least)
                ]

    assert [] == held_up


def finest(book: Book, *, stroke: float = 1.0, gap: float = 0.8, island: float = 2.0, film: str = "smooth") -> Film:
    """Return a film with a finest stroke, gap and island."""
    record = book.films[film]
    return replace(record, finest=replace(record.finest, stroke_mm=stroke, gap_mm=gap, island_mm2=island))


def detail(**changes: Any) -> Detail:  # noqa: ANN401
    """Return the detail of a square of 10 mm beside another, 5 mm apart, some of it changed."""
    squares = figures.of_path("M0 0H10V10H0ZM15 0H25V10H15Z", "nonzero").detail
    return replace(squares, **changes)


HAIR: Final = 1.0 - 2e-9
"""A share that is less than 1 by more than rounding."""


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"clear_stroke": 1.0}, []),
        ({"clear_stroke": 1.0 - 0.9e-9}, []),
        ({"clear_stroke": HAIR}, [Flaw("fit.fine-stroke", "decline", HAIR, 1.0)]),
        ({"clear_gap": 0.8}, []),
        ({"clear_gap": 0.8 * HAIR}, [Flaw("fit.fine-gap", "decline", 0.8 * HAIR, 0.8)]),
        ({"clear_gap": None}, []),
        ({"island": 2.0}, []),
        ({"island": 2.0 * HAIR}, [Flaw("fit.fine-island", "decline", 2.0 * HAIR, 2.0)]),
        ({"touches": ((0.0, 0.0), (1.0, 1.0)), "stroke": 0.3, "gap": 0.2}, [Flaw("fit.touch", "decline", 0.2, 0.8, 2)]),
        ({"touches": ((0.0, 0.0),), "stroke": 0.3, "gap": None}, [Flaw("fit.touch", "decline", 0.3, 0.8, 1)]),
        (
            {"clear_stroke": 0.9, "clear_gap": 0.7, "island": 1.9},
            [
                Flaw("fit.fine-stroke", "decline", 0.9, 1.0),
                Flaw("fit.fine-gap", "decline", 0.7, 0.8),
                Flaw("fit.fine-island", "decline", 1.9, 2.0),
            ],
        ),
    ],
)
def test_a_width_as_large_as_the_finest_is_enough(book: Book, changes: dict[str, Any], expected: list[Flaw]) -> None:
    """Rounding apart; each is held against its own limit."""
    assert expected == list(fine_detail._narrow(finest(book), detail(**changes)))


def test_outlines_touch_where_a_film_is_cut(book: Book) -> None:
    """A print of them is one piece."""
    touching = detail(touches=((0.0, 0.0),))

    assert fine_detail.touches(finest(book), touching)
    assert not fine_detail.touches(finest(book), detail())
    assert not fine_detail.touches(finest(book, film="printed"), touching)


@pytest.mark.parametrize(
    ("tips", "notches", "expected"),
    [
        ([2.0], [4.0], []),
        ([2.01, 2.0], [], [Flaw("fit.fine-tip", "trial", 2.01, 2.0, 1)]),
        ([4.0, 3.0, 2.1, 1.0], [], [Flaw("fit.fine-tip", "trial", 4.0, 2.0, 3)]),
        ([4.01, 3.0], [], [Flaw("fit.fine-tip", "decline", 4.01, 2.0, 2)]),
        ([], [4.1], [Flaw("fit.fine-notch", "trial", 4.1, 4.0, 1)]),
        ([], [8.1, 5.0], [Flaw("fit.fine-notch", "decline", 8.1, 4.0, 2)]),
        ([2.1], [8.1], [Flaw("fit.fine-tip", "trial", 2.1, 2.0, 1), Flaw("fit.fine-notch", "decline", 8.1, 4.0, 1)]),
    ],
)
def test_tips_and_notches_have_limits_of_their_own(
    book: Book, monkeypatch: pytest.MonkeyPatch, tips: list[float], notches: list[float], expected: list[Flaw]
) -> None:
    """Two finest strokes and five finest gaps; from twice that on they are declined. All the longer ones count."""
    made = TipsAndNotches(*(tuple(Tip(0.0, 0.0, one) for one in lengths) for lengths in (tips, notches)))
    monkeypatch.setattr(figures, "within_tip_limits", lambda *_: False)
    monkeypatch.setattr(figures, "tips_and_notches", lambda *_: made)
    square = drawn((0, 0), (10, 0), (10, 10), (0, 10))

    cache.clear()
    assert expected == list(fine_detail.flaws(finest(book), square, 1.0))
    monkeypatch.setattr(figures, "within_tip_limits", lambda *_: True)
    cache.clear()
    assert () == fine_detail.flaws(finest(book), square, 1.0)
    cache.clear()  # of what was not measured
    monkeypatch.setattr(figures, "within_tip_limits", lambda *_: False)
    narrow = [flaw.code for flaw in fine_detail.flaws(finest(book, stroke=11.0), square, 1.0)]
    assert ["fit.fine-stroke"] == narrow  # tips are not even measured then


@pytest.mark.parametrize(
    ("changes", "factor"),
    [
        ({"clear_stroke": 0.5, "clear_gap": 4.0, "island": 100.0}, 2.0),
        ({"clear_stroke": 5.0, "clear_gap": 0.2, "island": 100.0}, 4.0),
        ({"clear_stroke": 5.0, "clear_gap": None, "island": 100.0}, 0.2),
        ({"clear_stroke": 5.0, "clear_gap": 4.0, "island": 0.125}, 4.0),  # sixteen times the area
    ],
)
def test_an_artwork_grows_by_the_detail_that_lacks_most(book: Book, changes: dict[str, Any], factor: float) -> None:
    """Areas grow with the square."""
    assert pytest.approx(factor) == enlargement(finest(book), detail(**changes))


def test_the_smallest_copy_is_found_within_half_a_percent(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """From the scale at which widths are enough to the largest; none where that is too small."""
    square = drawn((0, 0), (10, 0), (10, 10), (0, 10))
    film = finest(book, stroke=15.0, gap=1.0, island=1.0)
    monkeypatch.setattr(fine_detail, "flaws", lambda _, __, scale: (scale,))

    def smallest(taken_from: float, most: float = 10.0) -> float | None:
        return fine_detail.smallest_scale(film, square, 1.0, most, lambda found: found[0] >= taken_from)  # type: ignore[operator]

    assert pytest.approx(1.5) == smallest(1.5)
    assert pytest.approx(1.5) == smallest(1.0)
    found = smallest(3.21)
    assert found is not None
    assert 3.21 <= found <= 3.21 * 1.005
    assert (10.0, None, None) == (smallest(10.0), smallest(10.01), smallest(1.0, most=1.49))
    assert pytest.approx(1.5) == smallest(1.0, most=1.5)


def test_the_verdict_of_flaws_is_the_worst() -> None:
    """Without any it is ready."""
    tried = Flaw("fit.fine-tip", "trial", 2.1, 2.0)

    assert ["ready", "trial", "decline"] == [
        fine_detail.verdict(found) for found in ((), (tried,), (tried, Flaw("fit.touch", "decline", 0.0, 1.0)))
    ]
