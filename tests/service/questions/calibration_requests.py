"""Requests for a calibration that its tests share."""

from __future__ import annotations

from typing import Any

import msgspec
import numpy as np
import pytest

from featherline.wire.calibrations import CalibrationRequest
from featherline_service.book.shop_book import Book
from featherline_service.heat.variation import interface_response, solved_stack, stack_at
from featherline_service.questions.calibration.calibrations import compose
from featherline_service.questions.calibration.pressings import read
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.recipe.evidence.gauges import layer_above, stack_of
from featherline_service.questions.recipe.stacks import logs_in

SERIES: dict[str, Any] = {
    "kind": "thermocouple-class-1",
    "readings": [{"at": "10 s", "value": "117 degC"}, {"at": "20 s", "value": "131 degC"}],
}
ONTO = {"kind": "stack", "surface": "leather", "layers": [{"material": "upper-leather", "thickness": "1.4 mm"}]}


def calibration(
    *,
    press: str = "swing",
    cover: str | None = "silicone-thin",
    id: str = "test",  # noqa: A002 - as in the request
    windows_of: str | None = None,
    date: str = "2026-11-03",
    **pressing: Any,  # noqa: ANN401 - as JSON
) -> CalibrationRequest:
    """Return a request with one pressing of smooth film on a scrap of leather."""
    plain = {"onto": ONTO, "film": "smooth", "temperature": "160 degC", "dwell": "30 s", "series": [SERIES]}
    return msgspec.convert(
        {
            "id": id,
            "date": date,
            "press": press,
            "cover": cover,
            "film": windows_of,
            "pressings": [{**plain, **pressing}],
        },
        CalibrationRequest,
    )


def faults(book: Book, request: CalibrationRequest) -> dict[str, str]:
    """Return the faults of a request by their pointers."""
    with pytest.raises(RefusedError) as refused:
        compose(book, request)
    return {fault.pointer: fault.detail for fault in refused.value.faults}


def readings(
    book: Book, off: dict[tuple[str, ...], float], platen_k: float = 0.0, above: str = "bond line"
) -> dict[str, Any]:
    """Return a series of a thermocouple where some properties are off, in standard deviations, and the platen [K]."""
    (pressed,) = read(book, calibration()).pressings
    sighting = pressed.sighting
    stack = stack_of(book, sighting.job, sighting.cover)
    at = np.array([off.get(name, 0.0) for name in stack.properties])
    closed = stack_at(stack.closed, logs_in(stack, stack.properties), at)
    times_s = (3.0, 6.0, 10.0, 15.0, 20.0, 30.0)
    share = interface_response(solved_stack(closed), layer_above(stack, above), np.array(times_s)).share
    values = book.bench.room_c + (sighting.platen_c + platen_k - book.bench.room_c) * share
    return {
        "above": above,
        "kind": "thermocouple-class-1",
        "gauge": f"{above.replace(' ', '-')}-probe",
        "readings": [
            {"at": f"{time:g} s", "value": f"{value:.2f} degC"}
            for time, value in zip(times_s, values.tolist(), strict=True)
        ],
    }
