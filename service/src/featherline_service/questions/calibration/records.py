"""Contacts and a platen as readings tell them: quantities for people, and records that go into a book."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date
from typing import Final, NamedTuple

from msgspec.structs import replace

from featherline.wire.calibrations import BookFile, CalibratedQuantity, CalibrationRequest, Interval
from featherline.wire.records import (
    Citation,
    Contact,
    Press,
    RecordedPressing,
    RecordedReading,
    Source,
)
from featherline_service.book.shop_book import Book
from featherline_service.book.toml_records import text_of
from featherline_service.evidence.beliefs import Belief, Parameter, mean_of, root_of
from featherline_service.heat.variation import SIGMAS_95
from featherline_service.questions.calibration.pressings import Calibrated, Pressed
from featherline_service.questions.recipe.evidence.gauges import stack_of

_DIGITS = 4
"""Significant digits of a value that goes into a book: of what is known to some per cent more are none."""

_HARDLY: Final = 0.95
"""Share of what was likely before that is still likely, from which on readings have told next to nothing."""


class Measured(NamedTuple):
    """The contacts of a calibration's stacks and its platen, as the book has them and as readings tell them."""

    contacts: tuple[tuple[Contact, Contact], ...]
    press: tuple[Press, Press]


def measured(book: Book, calibrated: Calibrated, belief: Belief) -> Measured:
    """Return contacts and platen by what readings alone tell beside the book's own values."""
    stacks = [stack_of(book, sighting.job, sighting.cover) for sighting in calibrated.sightings]
    names = dict.fromkeys(name for stack in stacks for name in stack.properties if name[0] == "contact")
    contacts = [book.contacts[name[1]] for name in names]
    return Measured(
        tuple((contact, _contact(contact, belief)) for contact in contacts),
        (calibrated.press, _press(calibrated.press, belief)),
    )


def _known(belief: Belief, parameter: Parameter) -> tuple[float, float]:
    """Return mean and standard deviation of a parameter."""
    return float(mean_of(belief, [parameter])[0]), float(root_of(belief, [parameter])[0, 0])


def _contact(contact: Contact, belief: Belief) -> Contact:
    mean, deviation = _known(belief, ("contact", contact.id))
    width = math.log1p(contact.spread)
    return replace(
        contact,
        conductance_w_m2k=_rounded(contact.conductance_w_m2k * math.exp(mean * width / SIGMAS_95)),
        spread=_rounded(math.expm1(deviation * width)),
    )


def _press(press: Press, belief: Belief) -> Press:
    mean, deviation = _known(belief, ("platen", press.id))
    offset_k = (press.platen_offset_k or 0.0) + mean * press.platen_spread_k / SIGMAS_95
    return replace(
        press,
        platen_offset_k=_rounded(offset_k),
        platen_spread_k=_rounded(deviation * press.platen_spread_k),
    )


def _rounded(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")


def quantities(found: Measured) -> Iterator[CalibratedQuantity]:
    """Yield contacts and platen for people."""
    for contacts in found.contacts:
        before, after = (
            Interval(
                value=contact.conductance_w_m2k,
                low=contact.conductance_w_m2k / (1.0 + contact.spread),
                high=contact.conductance_w_m2k * (1.0 + contact.spread),
            )
            for contact in contacts
        )
        contact = contacts[0]
        yield CalibratedQuantity(
            kind="contact",
            record=contact.id,
            unit="W/m2K",
            before=before,
            after=after,
            sentence=f"{contact.name}: heat passes at {after.low:.0f} to {after.high:.0f} W/m²K under "
            f"{contact.reference_kpa:g} kPa, 19 times in 20; the book had {before.low:.0f} to {before.high:.0f}. "
            f"{_gain(math.log(after.high / after.low), math.log(before.high / before.low))}",
        )
    before, after = (
        Interval(value=middle, low=middle - press.platen_spread_k, high=middle + press.platen_spread_k)
        for press in found.press
        for middle in [press.platen_offset_k or 0.0]
    )
    yield CalibratedQuantity(
        kind="platen",
        record=found.press[0].id,
        unit="K",
        before=before,
        after=after,
        sentence=f"The platen of {found.press[0].name} is between {_off(after.low)} and {_off(after.high)} what it is "
        f"set to, 19 times in 20; the book had {_off(before.low)} and {_off(before.high)}. "
        f"{_gain(after.high - after.low, before.high - before.low)}",
    )


def _off(kelvin: float) -> str:
    return f"{abs(kelvin):.1f} °C {'below' if kelvin < 0.0 else 'above'}"


def _gain(after: float, before: float) -> str:
    """Return in words how much more is known by widths of what is likely."""
    if after > _HARDLY * before:
        return "The readings tell hardly anything of it."
    return f"It is known {before / after:.1f} times as closely now."


def record_files(request: CalibrationRequest, found: Measured) -> tuple[BookFile, ...]:
    """Return contacts and platen as files of a book, with the source that they cite."""
    gauges = dict.fromkeys(series.kind for pressing in request.pressings for series in pressing.series)
    source = Source(
        id=request.id,
        name=f"Readings of {request.date}",
        kind="practice",
        reference=f"Own readings of {request.date} on {found.press[0].name}, with {' and '.join(gauges)}; "
        "values and 95 % spreads computed from them and from the book before.",
    )
    at = f"read on {request.date}"
    contacts = [
        replace(contact, cites=_cited(contact.cites, ("conductance_w_m2k", "spread"), source.id, at))
        for _, contact in found.contacts
    ]
    press = found.press[1]
    press = replace(press, cites=_cited(press.cites, ("platen_offset_k", "platen_spread_k"), source.id, at))
    return (
        BookFile(path=f"sources/{request.id}.toml", text=text_of([source])),
        BookFile(path=f"contacts/{request.id}.toml", text=text_of(contacts)),
        BookFile(path=f"presses/{request.id}.toml", text=text_of([press])),
    )


def _cited(cites: tuple[Citation, ...], values: tuple[str, ...], source: str, at: str) -> tuple[Citation, ...]:
    """Return citations with some values cited from another source."""
    kept = [replace(cite, values=tuple(value for value in cite.values if value not in values)) for cite in cites]
    return (*(cite for cite in kept if cite.values), Citation(values=values, source=source, at=at))


def observation_file(book: Book, request: CalibrationRequest, calibrated: Calibrated) -> BookFile:
    """Return the pressings with all their readings as a file of a book."""
    recorded = [
        _recorded(book, request, pressed, number) for number, pressed in enumerate(calibrated.pressings, start=1)
    ]
    return BookFile(path=f"observations/{request.id}.toml", text=text_of(recorded))


def _recorded(book: Book, request: CalibrationRequest, pressed: Pressed, number: int) -> RecordedPressing:
    sighting = pressed.sighting
    upper = sighting.job.upper
    of_book = book.uppers.get(upper.id) == upper
    return RecordedPressing(
        id=sighting.name,
        name=f"Pressing {number} of {request.id}, {request.date}",
        date=date.fromisoformat(request.date),
        press=sighting.press or "",
        cover=sighting.cover,
        film=sighting.job.film or None,
        upper=upper.id if of_book else None,
        layers=() if of_book else upper.layers,
        temperature_c=sighting.platen_c,
        pressure=request.pressings[number - 1].pressure,
        dwell_s=sighting.dwell_s,
        readings=tuple(
            RecordedReading(
                above=reading.above,
                at_s=reading.at_s,
                value_c=reading.low_c,
                below_c=reading.high_c if reading.high_c > reading.low_c else None,
                kind=reading.kind,
                gauge=reading.gauge,
            )
            for reading in sighting.readings
        ),
    )
