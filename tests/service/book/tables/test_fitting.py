from typing import Any

import pytest

from featherline.wire.records import Bench, Film, ShoeModel, Upper
from featherline_service.book.tables.fitting import misfits


@pytest.mark.parametrize(
    ("type_", "table", "expected"),
    [
        (Film, {"family": "smoth"}, ("family", "Invalid enum value 'smoth'; give one of smooth, stretch, flock, ")),
        (
            Film,
            {"setting": {"coolest_c": 1.0, "hottest_c": 1.0, "shortest_s": 1.0, "longest_s": 1.0, "pressure": "hi"}},
            ("setting.pressure", "Invalid enum value 'hi'; give one of light, medium, firm"),
        ),
        (Upper, {"labels": ["other", "none"]}, ("labels[1]", "Invalid enum value 'none'; give one of leather, coat")),
        (
            Upper, {"layers": [{"name": "A", "thick": 1}]},
            ("layers[0]", "Object contains unknown field `thick`; correct it to one of bonded, material, name, thick"),
        ),
        (Film, {"roll": {"width_mm": 5.0, "length_m": 5.0, "price": "1.00"}}, ("roll.price", "No currency; write ")),
        (ShoeModel, {"pair_value": 3.5}, ("pair_value", "Not a sum of money; write the amount as text, such as")),
        (
            ShoeModel, {"panels": [{"id": "a", "name": "A", "face": "otter"}]},
            ("panels[0].face", "Invalid enum value 'otter'; give one of outer, inner, toe, tongue, heel"),
        ),
        (Bench, {"workplace": {"operators": 0}}, ("workplace.operators", "Expected `int` >= 1; correct it")),
    ],
)  # fmt: skip
def test_a_misfit_says_what_would_do(type_: Any, table: dict[str, object], expected: tuple[str, str]) -> None:  # noqa: ANN401
    """Values out of a set are told with it, unknown fields with the known ones, sums with how to write them."""
    key, advice = expected
    faults = {name: text for name, text in misfits(table, type_) if text != "Missing; add it"}
    assert [key] == list(faults)
    assert faults[key].startswith(advice)
