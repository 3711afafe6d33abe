"""Lines in Latin letters, Hebrew (aleph to gimel), Arabic (beh) and digits, each by the rules of UAX #9."""

from __future__ import annotations

import pytest

from featherline_service.shape.outlines.bidirectional import Run, embedding_levels, runs

A, B, G = "\u05d0", "\u05d1", "\u05d2"
BEH, THREE, MARK, NUN_MARK = "\u0628", "\u0663", "\u0301", "\u05b0"


@pytest.mark.parametrize(
    ("line", "base", "levels"),
    [
        ("", None, ""),
        ("ab", None, "00"),
        (A + B, None, "11"),
        ("12", None, "00"),  # P3: without a strong character the paragraph is level 0
        (" " + BEH, None, "11"),
        ("1" + A, None, "21"),
        ("a" + A, None, "01"),
        (A + "a", None, "12"),
        ("a" + A, 1, "21"),
        (A + "1", None, "12"),  # I2
        ("a" + A + "1", None, "012"),  # I1: a number is two levels up
        ("a1" + A, None, "001"),  # W7: a number after Latin letters is as they are
        (BEH + "1", None, "12"),  # W2
        ("a" + THREE, None, "02"),  # AN is two levels up
        (BEH + THREE, None, "12"),
        ("a" + MARK, None, "00"),  # W1
        (A + NUN_MARK + "a", None, "112"),
        (NUN_MARK + A, None, "11"),
        (A + "1,2", None, "1222"),  # W4: one common separator between numbers
        (A + "1,,2", None, "12112"),
        (A + "1+2", None, "1222"),  # W4: one European separator between European numbers
        (BEH + "1+2", None, "1212"),  # and not between Arabic ones
        (BEH + "1,2", None, "1222"),
        (A + "1,", None, "121"),  # W6: at the end it is neutral
        (A + ",1", None, "112"),
        (A + "$1", None, "122"),  # W5: terminators on either side
        (A + "1%%", None, "1222"),
        (A + "$,1", None, "1112"),
        (A + " " + B, None, "111"),  # N1
        (A + " a " + B, None, "11211"),  # N2
        ("a " + A + " " + B + " b", None, "0011100"),
        ("a " + A + " ", None, "0010"),  # L1: blanks at the end
        ("a" + "!" * 300, None, "0" * 301),
        (A + "a ", None, "121"),
        ("a\t" + A, None, "001"),  # L1: a separator
        (A + " \ta", None, "1112"),
        ("a" + A + " \t" + B, None, "01001"),
        (A + " 1 " + B, None, "11211"),  # N1: numbers count as to the left
        ("a " + THREE + "!" + A, None, "00211"),
    ],
)  # fmt: skip
def test_levels_follow_the_rules(line: str, base: int | None, levels: str) -> None:
    """P2 to P3, W1 to W7, N1 to N2, I1 to I2 and L1, by hand."""
    assert levels == "".join(map(str, embedding_levels(line, base)))


@pytest.mark.parametrize(
    ("line", "base", "levels"),
    [
        (f"a ({A}) b", 1, "2111112"),  # N0 b: text of the paragraph's direction inside
        (f"{A}(b)", None, "1121"),  # N0 c: inside differs from the paragraph, and before is the paragraph's
        (f"a({A})b", None, "00100"),
        (f"{A} (a) {B}", None, "1112111"),
        (f"a{A}({B})", None, "01111"),  # N0 c1: the direction inside, where it stands before as well
        (f"a{A}(b)", None, "01000"),  # N0 b: the paragraph's direction is inside
        (f"a{A}({B}b)", None, "010100"),
        (f"({A})", 0, "010"),  # N0 c2
        (f"a{A}(!)", None, "01000"),  # N0 d: nothing strong inside
        (f"a{A}[{B}]{MARK}", None, "011111"),  # marks on a bracket are as it is
        (f"a{A}({B}]", None, "01110"),  # no pair
        (f"a{A}[({B}])", None, "0111110"),  # that closes the outer one alone
        (f"a{A}\u2329{B}\u3009", None, "01111"),  # canonical equivalents are a pair
        (f"a{A}({THREE})", None, "01121"),  # a number inside counts as to the left
    ],
)  # fmt: skip
def test_brackets_go_in_pairs(line: str, base: int | None, levels: str) -> None:
    """N0 and BD16, by hand."""
    assert levels == "".join(map(str, embedding_levels(line, base)))


def test_brackets_beyond_sixty_three_open_ones_are_no_pairs() -> None:
    """BD16 stops at the 64th."""
    opened = f"a{A}" + "(" * 63 + B + ")" * 63
    too_many = f"a{A}" + "(" * 64 + B + ")" * 64

    assert [0] + [1] * 128 == embedding_levels(opened)
    assert [0] + [1] * 66 + [0] * 64 == embedding_levels(too_many)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("", []),
        ("ab", [Run(0, 2, leftwards=False)]),
        (A + B, [Run(0, 2, leftwards=True)]),
        ("a" + A + B + "c", [Run(0, 1, leftwards=False), Run(1, 3, leftwards=True), Run(3, 4, leftwards=False)]),
        (A + "bc", [Run(1, 3, leftwards=False), Run(0, 1, leftwards=True)]),
        (A + "12" + B, [Run(3, 4, leftwards=True), Run(1, 3, leftwards=False), Run(0, 1, leftwards=True)]),
        (
            "a" + A + "1" + B + "c",
            [
                Run(0, 1, leftwards=False),
                Run(3, 4, leftwards=True),
                Run(2, 3, leftwards=False),
                Run(1, 2, leftwards=True),
                Run(4, 5, leftwards=False),
            ],
        ),
    ],
)
def test_runs_are_from_left_to_right(line: str, expected: list[Run]) -> None:
    """L2: sequences of a level or higher are reversed, from the highest down to the first."""
    assert expected == runs(line)
