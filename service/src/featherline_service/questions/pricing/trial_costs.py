"""What a trial costs: the time of its pressings, the wear of the cover sheet, and the film of its test marks."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Final

from msgspec import Struct

from featherline.wire.costs import CostLine
from featherline.wire.records import Cover, Film, Handling, Rates
from featherline.wire.shoes import Shoe
from featherline_service.cost.breakdown import cost_line
from featherline_service.cost.money import amount_of, exact_arithmetic

TEST_MARK_MM: Final = 10.0
"""[mm] Side of the square scrap of film that a rung presses (common practice, no source)."""
_HOUR_S: Final = 3600
_TIME_STEP_H: Final = Decimal("0.0001")
_AREA_STEP_CM2: Final = Decimal("0.01")
_M_MM: Final = Decimal(1000)
_CM2_MM2: Final = Decimal(100)


class TrialWork(Struct, frozen=True, kw_only=True):
    """A trial of a film on a panel, its rungs at most: dwells [s], and how many of them press film.

    `shoe` is the id of a model of the book, whose sizes share a trial, or the shoe that was measured.
    """

    shoe: str | Shoe
    panel: str
    film: Film
    cover: Cover | None
    dwells_s: tuple[float, ...]
    test_marks: int

    def seconds(self, handling: Handling) -> float:
        """Return how long hands and press are taken up [s]: every rung sets the press and lays the shoe anew."""
        rungs = len(self.dwells_s)
        return (
            rungs * (handling.change_setting_s + handling.load_shoe_s)
            + self.test_marks * (handling.position_s + handling.peel_s)
            + sum(self.dwells_s)
        )


def film_cm2(film: Film, rates: Rates) -> Decimal:
    """Return what a square centimetre of a film's roll costs."""
    # Through text: the decimals that the book's author wrote, not the binary fractions nearest to them.
    with exact_arithmetic():
        area_cm2 = Decimal(str(film.roll.width_mm)) * Decimal(str(film.roll.length_m)) * _M_MM / _CM2_MM2
        return amount_of(film.roll.price, rates.currency, f"The roll of film {film.id}") / area_cm2


def trial_lines(work: TrialWork, rates: Rates) -> Iterator[CostLine]:
    """Yield what a trial costs."""
    heading, origin = f"Trial pressings: {len(work.dwells_s)}", f"rates/{rates.id}"
    hours = work.seconds(rates.handling) / _HOUR_S
    for kind, detail, rate in (
        ("labour", f"{heading}, of {work.film.name}", rates.labour_per_hour),
        ("press", f"{heading}, the press taken up", rates.press_per_hour),
    ):
        yield cost_line(
            kind,  # type: ignore[arg-type]
            detail=detail,
            quantity=hours,
            step=_TIME_STEP_H,
            unit="h",
            rate=amount_of(rate, rates.currency, f"An hour of {kind} of rates {rates.id}"),
            currency=rates.currency,
            origin=origin,
        )
    if work.cover is not None:
        with exact_arithmetic():
            wear = amount_of(work.cover.price, rates.currency, f"The cover sheet {work.cover.id}")
            wear /= work.cover.lasts_presses
        yield cost_line(
            "cover",
            detail=f"{heading}, wear of {work.cover.name}",
            quantity=Decimal(len(work.dwells_s)),
            step=Decimal(1),
            unit="closing",
            rate=wear,
            currency=rates.currency,
            origin=f"covers/{work.cover.id}",
        )
    if work.test_marks:
        yield cost_line(
            "film",
            detail=f"{heading}, test marks: {work.test_marks} of {TEST_MARK_MM:g} mm square",
            quantity=work.test_marks * TEST_MARK_MM**2 / float(_CM2_MM2),
            step=_AREA_STEP_CM2,
            unit="cm2",
            rate=film_cm2(work.film, rates),
            currency=rates.currency,
            origin=f"films/{work.film.id}",
        )
