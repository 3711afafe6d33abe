"""Every request that the types allow, with records of the book, is answered or refused: none gets a 500."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any, get_args

import httpx2
from draws import drawn
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from featherline.wire.records import ShoeModel
from featherline.wire.shoes import SizeSystem
from featherline_service.book.loader import load

Ask = Callable[..., httpx2.Response]
Json = dict[str, Any]
BOOK = load()

# Each example is real work of 1 to 100 ms.
thoroughly = settings(max_examples=drawn(40), deadline=None, suppress_health_check=[HealthCheck.too_slow])


def some(**fields: st.SearchStrategy[Any]) -> st.SearchStrategy[Json]:
    """Return objects with some of the fields."""
    return st.fixed_dictionaries({}, optional=fields)


def ids(*known: str) -> st.SearchStrategy[str]:
    """Return ids, nearly always of records that there are."""
    return st.integers(0, 30).flatmap(lambda rare: st.just("no-such-record") if rare == 7 else st.sampled_from(known))


def quantity(units: str, least: str = "0.001", most: str = "400") -> st.SearchStrategy[str]:
    """Return quantity texts of ordinary size, and the extremes of the grammar."""
    numbers = st.decimals(Decimal(least), Decimal(most), places=3).map("{:f}".format)
    extremes = st.sampled_from(["0.000000001", "999999999.999999999", "1", "0.5"])
    return st.builds("{} {}".format, numbers | extremes, st.sampled_from(units.split()))


lengths = quantity("mm in cm")
offsets = st.builds("{}{}".format, st.sampled_from(["", "-"]), quantity("mm in", "0", "40"))
angles = st.builds("{}{}".format, st.sampled_from(["", "-"]), quantity("deg rad", "0", "400"))
texts = st.text(st.sampled_from("AMO7i. -\n\tÉfl\u0301ﬁ漢ש\x00\u200d😀"), min_size=1, max_size=12)
paths = st.sampled_from(
    [
        "M0 0H60V30H0Z",
        "M0 0L10 0L10 10Z M2 2L8 2L8 8Z",
        "M0 0",
        "M0 0Z",
        "M0 0H60",
        "M0 0L10 10L10 0L0 10Z",
        "M0,0 C0,10 10,10 10,0 Z",
        "M0 0A5 5 0 1 1 10 0Z",
        "M0 0 a 0 0 0 0 0 5 5 z",
        "M1e300 0H-1e300V1Z",
        "M0 0H1e-300V1e-300H0Z",
        "M0 0H999999999V1H0Z",
        "m 0 0 q 5 5 10 0 t 10 0 z",
        "M",
        "hello",
        "M0 0 L nan 1",
        "M0 0H10V0H0Z",
        "M0 0" + "L5 5L0 0" * 200 + "Z",
    ]
)
artworks = st.one_of(
    st.builds(
        lambda more, height: {"kind": "text", "font": "plain", **more, **height},
        st.fixed_dictionaries(
            {"text": texts},
            optional={
                "font": ids(*BOOK.fonts),
                "align": st.sampled_from(["left", "centre", "right"]),
                "line_distance": st.floats(1, 3),
            },
        ),
        st.one_of(st.fixed_dictionaries({"height": lengths}), st.fixed_dictionaries({"letter_height": lengths})),
    ),
    st.builds(
        lambda d, height, rule: {"kind": "path", "d": d, "height": height, "fill_rule": rule},
        paths, lengths, st.sampled_from(["nonzero", "evenodd"]),
    ),
)  # fmt: skip
poses = st.one_of(
    st.builds(lambda rotation: {"kind": "centred", "rotation": rotation}, angles),
    st.builds(lambda x, y, rotation: {"kind": "at", "x": x, "y": y, "rotation": rotation}, offsets, offsets, angles),
    st.builds(
        lambda side, edge, distance, more: {
            "kind": "anchored",
            "side": side,
            "edge": edge,
            "distance": distance,
            **more,
        },
        st.sampled_from(["above", "below", "behind", "in-front-of"]),
        st.sampled_from(["panel", "featherline", "collar", "seam", "eyelets", "toe-cap", "old-mark"]),
        quantity("mm in", "0", "40"),
        some(line=st.sampled_from(["box", "baseline"]), along=offsets, rotation=angles),
    ),
)
footprints = st.sampled_from(["exact", "filled", "hull"])
shapes = st.one_of(
    st.builds(
        lambda kind, width, height: {"kind": kind, "width": width, "height": height},
        st.sampled_from(["rectangle", "ellipse"]), lengths, lengths,
    ),
    st.builds(lambda d: {"kind": "traced", "d": d}, paths),
)  # fmt: skip


def sizes(shoe: ShoeModel) -> st.SearchStrategy[Json]:
    """Return sizes, mostly some that a shoe is made in."""
    made = st.integers(int(shoe.sizes.smallest), int(shoe.sizes.largest)).map(str)
    return st.one_of(
        st.builds(lambda value: {"system": shoe.sizes.system, "value": value}, made),
        st.fixed_dictionaries(
            {
                "system": st.sampled_from(get_args(get_args(SizeSystem)[0])),
                "value": made | st.sampled_from(["0", "1", "9.5", "265", "999.99"]),
            }
        ),
    )


def book_shoes(shoe: ShoeModel) -> st.SearchStrategy[tuple[Json, str]]:
    """Return a shoe of the book with one of its panels."""
    return st.tuples(
        st.builds(lambda size: {"kind": "book", "shoe": shoe.id, "size": size}, sizes(shoe)),
        ids(*(panel.id for panel in shoe.panels)),
    )


measured_shoes = st.builds(
    lambda label, panel, more: ({"kind": "measured", "label": label, "panels": [panel], **more}, panel["panel"]),
    st.sampled_from(["leather", "coated-leather", "textile", "other"]),
    st.fixed_dictionaries(
        {"panel": ids("outer-quarter", "vamp"), "shape": shapes},
        optional={
            "face": st.sampled_from(["outer", "inner", "toe", "tongue", "heel"]),
            "curvature": st.sampled_from(["flat", "gentle", "tight", "0.000000001 mm", "120 mm"]),
            "colour": st.just("#1d2b44"),
        },
    ),
    some(inside_length=lengths, width=lengths, height=lengths, heel_collapses=st.booleans()),
)
shod = st.one_of(st.sampled_from(list(BOOK.shoes.values())).flatmap(book_shoes), measured_shoes)
films = ids(*BOOK.films)
coloured = st.sampled_from(list(BOOK.films.values())).flatmap(
    lambda film: st.tuples(st.just(film.id), ids(*(colour.id for colour in film.colours)))
)
presses = ids(*BOOK.presses)
units = st.sampled_from(["metric", "us"])
fits = st.builds(
    lambda shoe, film, artwork, more: {
        "shoe": shoe[0], "panel": shoe[1], "film": film[0], "colour": film[1], "artwork": artwork, **more,
    },
    shod, coloured, artworks,
    some(pose=poses, footprint=footprints, clearance=quantity("mm", "0", "20"), press=presses, units=units),
)  # fmt: skip
stacks = st.builds(
    lambda surface, layers: {"kind": "stack", "surface": surface, "layers": layers},
    st.sampled_from(["leather", "suede", "coated", "glossy", "woven", "knit", "foam", "rubber"]),
    st.lists(
        st.fixed_dictionaries(
            {"material": ids(*BOOK.materials), "thickness": lengths},
            optional={"bonded": st.booleans()},
        ),
        min_size=1,
        max_size=8,
    ),
)
recipes = st.builds(
    lambda film, onto, more: {"film": film, "onto": onto, **more},
    films,
    st.one_of(stacks, st.builds(lambda shoe: {"kind": "panel", "shoe": shoe[0], "panel": shoe[1]}, shod)),
    some(
        press=presses,
        cover=ids(*BOOK.covers),
        temperature=quantity("degC degF K", "0", "500"),
        guard=quantity("delta_degC delta_degF", "0", "200"),
        units=units,
    ),
)
placements = st.builds(
    lambda film, artwork, more: {"film": film[0], "colour": film[1], "artwork": artwork, **more},
    coloured, artworks,
    some(
        sides=st.sampled_from(["both", "left", "right"]),
        pose=poses,
        footprint=footprints,
        clearance=quantity("mm", "0", "20"),
    ),
)  # fmt: skip
orders = st.builds(
    lambda shoe, marks, more: {
        "shoe": shoe[0], "placements": [{"panel": shoe[1], **mark} for mark in marks], **more,
    },
    shod,
    st.lists(placements, min_size=1, max_size=3),
    some(
        owner=st.sampled_from(["customer", "shop"]),
        pairs=st.sampled_from([1, 2, 12, 10_000]),
        press=presses,
        policy=ids(*BOOK.policies),
        hours_a_day=st.sampled_from([5e-324, 0.01, 8, 24]),
        units=units,
    ),
)  # fmt: skip
pieces = st.builds(
    lambda film, width, height, cut, more: {
        "film": film[0], "colour": film[1], "width": width, "height": height, "cut_length": cut, **more,
    },
    coloured, lengths, lengths, lengths,
    st.fixed_dictionaries(
        {
            "corners": st.sampled_from([0, 66, 100_000]),
            "waste_pieces": st.sampled_from([0, 6, 10_000]),
            "per_pair": st.sampled_from([1, 2, 24]),
        }
    ),
)  # fmt: skip
pressings = st.builds(
    lambda dwell, per_pair, more: {"dwell": dwell, "per_pair": per_pair, **more},
    quantity("s min h"), st.integers(1, 24), some(wait=quantity("s"), cover=ids(*BOOK.covers)),
)  # fmt: skip
measures = st.builds(
    lambda parts, closings, more: {"kind": "measures", "pieces": parts, "pressings": closings, **more},
    st.lists(pieces, min_size=1, max_size=4), st.lists(pressings, min_size=1, max_size=3),
    some(
        owner=st.sampled_from(["customer", "shop"]), pairs=st.sampled_from([1, 10_000]),
        policy=ids(*BOOK.policies), units=units, hours_a_day=st.sampled_from([5e-324, 0.01, 8, 24]),
    ),
)  # fmt: skip


def answer(ask: Ask, path: str, asked: Json) -> None:
    """Ask, and check that there is an answer, or a refusal whose pointers lead to something in the request."""
    response = ask("POST", path, json=asked)

    assert response.status_code in {200, 422}, (asked, response.text)
    if response.status_code == 422:
        for fault in response.json()["errors"]:
            assert fault["detail"]
            follow(asked, fault["pointer"])


def follow(data: Any, pointer: str) -> None:  # noqa: ANN401 - JSON data
    """Follow a JSON Pointer; only its last step may lead to what is not there, because it was left out."""
    steps = [step.replace("~1", "/").replace("~0", "~") for step in pointer.split("/")[1:]]
    for step in steps[:-1]:
        data = data[int(step)] if isinstance(data, list) else data[step]
    if steps:
        assert isinstance(data, dict) or int(steps[-1]) < len(data)


@given(fits)
@thoroughly
def test_any_fit_is_answered_or_refused(ask: Ask, asked: Json) -> None:
    """Any shoe, panel, film, artwork and pose."""
    answer(ask, "/v1/fits", asked)


@given(st.builds(lambda artwork, more: {"artwork": artwork, **more}, artworks, some(film=films, units=units)))
@thoroughly
def test_any_artwork_is_answered_or_refused(ask: Ask, asked: Json) -> None:
    """Any text or drawing, in one film or in all."""
    answer(ask, "/v1/artworks", asked)


@given(recipes)
@thoroughly
def test_any_recipe_is_answered_or_refused(ask: Ask, asked: Json) -> None:
    """Any film on any panel or stack of any thickness."""
    answer(ask, "/v1/recipes", asked)


@given(orders)
@thoroughly
def test_any_order_is_answered_or_refused(ask: Ask, asked: Json) -> None:
    """Any order of up to three placements."""
    answer(ask, "/v1/quotes", asked)


@given(measures)
@thoroughly
def test_any_measures_are_priced_or_refused(ask: Ask, asked: Json) -> None:
    """Any work known by its measures."""
    answer(ask, "/v1/costs", asked)
