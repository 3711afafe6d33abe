from typing import Any

import pytest

from featherline.wire.records import Bench, Film, Policy, ShoeModel, Upper
from featherline_service.book.tables.fitting import misfits


@pytest.mark.parametrize(
    ("type_", "table", "expected"),
    [
        (Film, {"family": "smoth"}, ("family", "'smoth' is not known; give one of smooth, stretch, flock, ")),
        (
            Film,
            {"setting": {"coolest_c": 1.0, "hottest_c": 1.0, "shortest_s": 1.0, "longest_s": 1.0, "pressure": "hi"}},
            ("setting.pressure", "'hi' is not known; give one of light, medium, firm"),
        ),
        (Upper, {"labels": ["other", "none"]}, ("labels[1]", "'none' is not known; give one of leather, coat")),
        (
            Upper, {"layers": [{"name": "A", "thick": 1}]},
            ("layers[0]", "Unknown field `thick`; correct it to one of bonded, material, name, thick"),
        ),
        (Film, {"roll": {"width_mm": 5.0, "length_m": 5.0, "price": "1.00"}}, ("roll.price", "No currency; write ")),
        (ShoeModel, {"pair_value": 3.5}, ("pair_value", "Not a sum of money; write the amount as text, such as")),
        (
            ShoeModel, {"panels": [{"id": "a", "name": "A", "face": "otter"}]},
            ("panels[0].face", "'otter' is not known; give one of outer, inner, toe, tongue, heel"),
        ),
        (Film, {"stretch": "8 %"}, ("stretch", "Not a number; write one without quotes or a unit")),
        (Film, {"bonds_to": 3}, ("bonds_to", "Not a list; write it in brackets, such as ")),
        (Film, {"id": "Gull 2"}, ("id", "Not an id; write small letters, digits and hyphens, such as ")),
        (Policy, {"share": "55%"}, ("share", "Not a decimal number; write digits and a point in quotes, such as ")),
        (Policy, {"share": 0.55}, ("share", 'Not a text; write it in quotes, such as "12.50"')),
        (
            Film, {"colours": [{"id": "a", "name": "A", "hex": "white"}]},
            ("colours[0].hex", "Not a colour; write # and six digits of 0 to 9 and a to f, such as "),
        ),
        (Film, {"stretch": 1.5}, ("stretch", "Too large; the most is 1")),
        (Film, {"setting": 3}, ("setting", 'Not a table; write it in braces, such as { when = "hot" }')),
        (Film, {"takes_film": "no"}, ("takes_film", "Not true or false; write one of the two, without quotes")),
        (Film, {"family": 3}, ("family", "Not a text; give one of smooth, stretch, flock, metallic, reflective, ")),
        (Film, {"bonds_to": []}, ("bonds_to", "Too short; give at least 1 entries")),
        (Film, {"name": ""}, ("name", "Too short; give at least 1 characters")),
        (
            Film, {"roll": {"length_m": 5.0, "price": {"amount": "1.00", "currency": "EUR"}}},
            ("roll", "`width_mm` is missing; add it"),
        ),
        (Film, {"peel": {}}, ("peel", "`when` is missing; give one of hot, warm, cold")),
        (Bench, {"workplace": {"operators": 0}}, ("workplace.operators", "Too small; the least is 1")),
    ],
)  # fmt: skip
def test_a_misfit_says_what_would_do(type_: Any, table: dict[str, object], expected: tuple[str, str]) -> None:  # noqa: ANN401
    """Values out of a set are told with it, unknown fields with the known ones, sums with how to write them."""
    key, advice = expected
    faults = {name: text for name, text in misfits(table, type_) if not text.startswith("Missing")}
    assert [key] == list(faults)
    assert faults[key].startswith(advice)
