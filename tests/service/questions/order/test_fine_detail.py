from __future__ import annotations

import math
import string

import pytest

from featherline.wire.verdicts import Verdict
from featherline_service.book.shop_book import Book
from featherline_service.questions.order import fine_detail
from featherline_service.questions.order.fine_detail import enlargement, flaws
from featherline_service.shape.outlines import figures, text_outlines
from featherline_service.shape.outlines.figures import Figure


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
