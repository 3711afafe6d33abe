from __future__ import annotations

from collections.abc import Sequence

import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st

from featherline_service.cost.film import FilmTaken, Offcut, OffcutUse, Piece, Remnant, Row, take_film
from featherline_service.cost.film_purchase import FilmRoll, LoadRule, charged_mm2
from featherline_service.cost.nesting.rectangles import NestingError, nest

ROLL = FilmRoll(width_mm=600, length_mm=25_000)
SIDES = st.floats(5, 99)
PIECES = st.lists(
    st.builds(Piece, width_mm=SIDES, height_mm=SIDES, count=st.integers(1, 30)), min_size=1, max_size=4
).map(tuple)


def offcuts(*sizes: tuple[float, float]) -> tuple[Offcut, ...]:
    """Return numbered offcuts of the given sizes [mm]."""
    return tuple(
        Offcut(id=f"offcut-{number}", width_mm=width, height_mm=height) for number, (width, height) in enumerate(sizes)
    )


def taken(pieces: Sequence[Piece], kept: tuple[Offcut, ...] = ()) -> FilmTaken:
    """Return the film taken from offcuts and a roll with 500 mm in use and a gap of 2 mm."""
    return take_film(tuple(pieces), roll=ROLL, strip_mm=500, gap_mm=2, turnable=True, offcuts=(kept,))


def test_offcuts_come_before_the_roll() -> None:
    """Two pieces fit the offcut, and the other three come from the roll."""
    found = taken([Piece(width_mm=60, height_mm=20, count=5)], offcuts((61, 43)))

    assert (OffcutUse(id="offcut-0", pieces=2, area_mm2=60 * 42, left=None),) == found.offcuts
    assert (20, 3 * 60 + 2 * 2) == (found.roll_length_mm, found.roll_used_mm)


def test_the_smallest_offcut_that_holds_all_pieces_is_used() -> None:
    """The larger offcut stays whole."""
    found = taken([Piece(width_mm=60, height_mm=20, count=2)], offcuts((300, 300), (70, 45), (20, 20)))

    assert ["offcut-1"] == [one.id for one in found.offcuts]
    assert found.roll_length_mm == 0


def test_where_no_offcut_holds_all_pieces_the_largest_is_filled_first() -> None:
    """Six pieces on the largest offcut, the other three on the next."""
    found = taken([Piece(width_mm=60, height_mm=20, count=9)], offcuts((62, 20), (62, 130), (62, 64)))

    assert [("offcut-1", 6), ("offcut-2", 3)] == [(one.id, one.pieces) for one in found.offcuts]


def test_an_offcut_smaller_than_the_piece_is_not_used() -> None:
    """The piece is cut from the roll."""
    found = taken([Piece(width_mm=60, height_mm=20, count=1)], offcuts((59, 59)))

    assert ((), 20, 60) == (found.offcuts, found.roll_length_mm, found.roll_used_mm)


@settings(max_examples=drawn(50))
@given(PIECES, st.lists(st.tuples(st.floats(5, 300), st.floats(5, 300)), max_size=4))
def test_no_piece_is_lost_between_offcuts_and_roll(pieces: tuple[Piece, ...], kept: list[tuple[float, float]]) -> None:
    """The film taken is at least the area of the pieces, and no offcut gives more than its area."""
    found = taken(pieces, offcuts(*kept))
    area = sum(piece.count * piece.width_mm * piece.height_mm for piece in pieces)

    assert found.piece_area_mm2 == pytest.approx(area)
    assert found.roll_area_mm2 + sum(one.area_mm2 for one in found.offcuts) >= area * (1 - 1e-9)
    for one in found.offcuts:
        width, height = kept[int(one.id.removeprefix("offcut-"))]
        assert one.area_mm2 <= width * height * (1 + 1e-9)


def test_a_long_run_repeats_the_nest_of_a_batch() -> None:
    """40,000 pieces take no more roll than their number of batches times one batch."""
    pieces = [Piece(width_mm=61, height_mm=23, count=20_000), Piece(width_mm=17.5, height_mm=41, count=20_000)]
    found = taken(pieces)
    batch = [(61.0, 23.0)] * 120 + [(17.5, 41.0)] * 120
    length = nest(batch, strip_mm=500, gap_mm=2, turnable=True).length_mm

    assert found.pieces == 40_000
    assert found.roll_area_mm2 >= found.piece_area_mm2
    assert found.roll_length_mm <= (length + 2) * -(-20_000 // 120)


def test_a_single_piece_among_many_is_nested() -> None:
    """A single large piece among 50,000 small ones is not lost when batches are formed."""
    found = taken([Piece(width_mm=50, height_mm=20, count=50_000), Piece(width_mm=400, height_mm=300, count=1)])
    rows = -(-50_000 // 9)

    assert found.roll_length_mm >= rows * 20
    assert found.roll_length_mm <= rows * 22 + 302


def test_a_piece_too_wide_is_named_by_its_index() -> None:
    """The error carries the index of the piece."""
    with pytest.raises(NestingError) as caught:
        taken([Piece(width_mm=60, height_mm=20, count=1), Piece(width_mm=600, height_mm=501, count=1)])
    assert caught.value.index == 1


def test_the_remnant_of_the_roll_lies_beside_the_film_taken() -> None:
    """Two pieces use 122 of 600 mm: 478 x 30 mm stay, measured on the whole roll and not the cutter's width."""
    found = taken([Piece(width_mm=60, height_mm=30, count=2)])

    assert Remnant(width_mm=478, height_mm=30) == found.roll_left


def test_the_larger_remnant_of_an_offcut_is_kept() -> None:
    """From 200 x 100 mm a piece of 60 x 20 mm leaves 200 x 80 mm beyond it, more than the 140 x 100 mm beside it."""
    found = taken([Piece(width_mm=60, height_mm=20, count=1)], offcuts((200, 100)))

    assert Remnant(width_mm=200, height_mm=80) == found.offcuts[0].left


def test_narrow_remnants_are_not_kept() -> None:
    """Remnants narrower than 25 mm are thrown away."""
    found = taken([Piece(width_mm=60, height_mm=20, count=1)], offcuts((80, 40)))

    assert found.offcuts[0].left is None


NAMES = st.lists(
    st.tuples(st.floats(20, 240), st.sampled_from([20.0, 26.0, 36.0]), st.integers(1, 2), st.integers(1, 3)),
    min_size=1,
    max_size=25,
    unique_by=lambda name: name[:2],
)
"""Width and height of a name, how many a pair needs, and pairs of the row."""


@settings(max_examples=drawn(60), deadline=None)
@given(NAMES, st.sampled_from([0.0, 2.0, 5.0]))
def test_a_roster_takes_no_more_film_than_its_rows_and_pairs(
    names: list[tuple[float, float, int, int]], gap_mm: float
) -> None:
    """The roster's film is at most that of its rows as orders of their own, and of its pairs one by one."""

    def film(chosen: list[tuple[float, float, int, int]]) -> float:
        pieces = tuple(
            Piece(width_mm=width, height_mm=height, count=each * pairs) for width, height, each, pairs in chosen
        )
        rows = tuple(
            Row(per_pair=tuple(name[2] if other == at else 0 for other in range(len(chosen))), pairs=name[3])
            for at, name in enumerate(chosen)
        )
        return take_film(
            pieces, roll=ROLL, strip_mm=500, gap_mm=gap_mm, turnable=True, offcuts=(), rows=rows
        ).charged_mm2

    rows = sum(film([name]) for name in names)
    pairs = sum(name[3] * film([(*name[:3], 1)]) for name in names)

    assert film(names) <= rows * (1 + 1e-12)
    assert rows <= pairs * (1 + 1e-12)
    assert film(names) >= sum(width * height * each * count for width, height, each, count in names) * (1 - 1e-12)


def test_equal_names_nested_together_have_gaps_that_single_pairs_have_not() -> None:
    """Four pairs of 60 x 20 mm: 4 x (122 x 20) one by one, and together 246 x 42 with the gaps between, which is more.

    The shop unrolls the length of the nest, and the roster is charged the film of its pairs.
    """
    piece = Piece(width_mm=60, height_mm=20, count=8)
    found = take_film(
        (piece,),
        roll=ROLL,
        strip_mm=500,
        gap_mm=2,
        turnable=False,
        offcuts=(),
        rows=(Row(per_pair=(2,), pairs=4),),
    )

    assert found.apart
    assert found.roll_length_mm * found.roll_used_mm > found.charged_mm2
    assert found.charged_mm2 == pytest.approx(4 * 122 * 20)


def test_losses_of_a_load_are_charged_once_for_a_roster() -> None:
    """157 pairs of 60 x 20 mm lose 50 mm each as orders of their own, and together once.

    The charge is that of the nest together, all of whose length and width is paid as remnants are worth nothing.
    """
    rule = LoadRule(lead_in_mm=30, trim_mm=20, remnant_share=0.0, least_kept_mm=25)

    def film(pairs: int) -> FilmTaken:
        return take_film(
            (Piece(width_mm=60, height_mm=20, count=2 * pairs),),
            roll=ROLL,
            rule=rule,
            strip_mm=500,
            gap_mm=2,
            turnable=False,
            offcuts=(),
            rows=(Row(per_pair=(2,), pairs=pairs),),
        )

    together, alone = film(157), film(1)

    assert 600 * (20 + 50) == alone.charged_mm2
    assert 600 * (together.roll_length_mm + 50) == together.charged_mm2
    assert together.charged_mm2 < 157 * alone.charged_mm2 / 10
    assert not together.apart


@settings(max_examples=drawn(40), deadline=None)
@given(
    NAMES,
    st.builds(
        LoadRule,
        lead_in_mm=st.floats(0, 100),
        trim_mm=st.floats(0, 100),
        remnant_share=st.floats(0, 1),
        least_kept_mm=st.sampled_from([0.0, 25.0]),
    ),
)
def test_one_rule_charges_orders_and_rosters(names: list[tuple[float, float, int, int]], rule: LoadRule) -> None:
    """With losses and remnants too a roster is charged no more than its rows as orders, nor an order than its pairs."""

    def charged(chosen: list[tuple[float, float, int, int]]) -> FilmTaken:
        return take_film(
            tuple(Piece(width_mm=width, height_mm=height, count=each * pairs) for width, height, each, pairs in chosen),
            roll=ROLL,
            rule=rule,
            strip_mm=500,
            gap_mm=2,
            turnable=True,
            offcuts=(),
            rows=tuple(
                Row(per_pair=tuple(name[2] if other == at else 0 for other in range(len(chosen))), pairs=name[3])
                for at, name in enumerate(chosen)
            ),
        )

    found = charged(names)
    rows = [charged([name]).charged_mm2 for name in names]
    pairs = [name[3] * charged([(*name[:3], 1)]).charged_mm2 for name in names]

    assert found.charged_mm2 <= sum(rows) * (1 + 1e-12)
    assert all(row <= pair * (1 + 1e-12) for row, pair in zip(rows, pairs, strict=True))
    assert found.charged_mm2 <= charged_mm2(found.roll_length_mm, found.roll_used_mm, ROLL, rule) * (1 + 1e-12)


def test_offcuts_leave_the_roll_its_share() -> None:
    """Half of the pieces are cut from an offcut: the roll film is at most half of the film pair by pair."""
    piece = Piece(width_mm=60, height_mm=20, count=8)
    found = take_film(
        (piece,),
        roll=ROLL,
        strip_mm=500,
        gap_mm=2,
        turnable=False,
        offcuts=(offcuts((122, 42)),),
        rows=(Row(per_pair=(2,), pairs=4),),
    )

    assert 4 == sum(one.pieces for one in found.offcuts)
    assert found.charged_mm2 == pytest.approx(2 * 122 * 20)


def test_rows_that_do_not_add_up_are_refused() -> None:
    """Two pairs of two pieces are not five pieces."""
    with pytest.raises(ValueError, match="as many"):
        take_film(
            (Piece(width_mm=60, height_mm=20, count=5),),
            roll=ROLL,
            strip_mm=500,
            gap_mm=2,
            turnable=False,
            offcuts=(),
            rows=(Row(per_pair=(2,), pairs=2),),
        )
