from __future__ import annotations

import pytest

from featherline_service.messages.told import told
from featherline_service.quantities import millimetres
from featherline_service.questions.checks import Checks, Places, RefusedError

PARTS = Places(
    rest="/placements/2",
    parts={"/shoe": "/order/shoe", "/onto": "/placements/2", "/onto/shoe": "/order/shoe"},
    whole={"/artwork": "/placements/2/backing", "/onto/old_marks": "/placements/2/onto"},
)


@pytest.mark.parametrize(
    ("part", "place"),
    [
        ("/film", "/placements/2/film"),
        ("/shoe", "/order/shoe"),
        ("/shoe/size", "/order/shoe/size"),
        ("/shoes", "/placements/2/shoes"),  # no part of the shoe, though it begins alike
        ("/onto/panel", "/placements/2/panel"),
        ("/onto/shoe/size", "/order/shoe/size"),  # the nearest above counts
        ("/artwork", "/placements/2/backing"),
        ("/artwork/text", "/placements/2/backing"),  # whole: its own parts have no place
        ("/onto/old_marks/0/film", "/placements/2/onto"),
        ("", "/placements/2"),
        ("lining", "/placements/2"),
    ],
)
def test_a_part_of_a_question_has_a_place_in_a_larger_one(part: str, place: str) -> None:
    """Below the nearest part above it that has one, or below the rest."""
    assert place == PARTS.pointer(part)


def test_places_of_the_same_question_are_its_own() -> None:
    """Without parts every pointer stays; what is none stays too, for there is no rest."""
    assert ["/film", "", "lining"] == [Places().pointer(part) for part in ("/film", "", "lining")]


def test_a_whole_comes_before_a_part_of_the_same_name() -> None:
    """Both may be said of one pointer."""
    both = Places(parts={"/artwork": "/parts"}, whole={"/artwork": "/whole"})

    assert "/whole" == both.pointer("/artwork/text")


def test_checks_of_a_part_gather_faults_with_the_whole() -> None:
    """Each at its place in the request, from the innermost outwards."""
    checks = Checks()
    inner = checks.under("/rows/3").at(Places(rest="/placements/1", parts={"/shoe": "/shoe"}))
    inner.note("/film", told("refused", "no such film"))
    inner.note("/shoe/size", told("refused", "no such size"))
    checks.note("/press", told("refused", "no such press"))

    expected = [
        ("/rows/3/placements/1/film", "no such film"),
        ("/rows/3/shoe/size", "no such size"),
        ("/press", "no such press"),
    ]
    assert expected == [(fault.pointer, fault.detail) for fault in checks.faults]
    assert checks.faults == inner.faults
    assert "/rows/3/placements/1/artwork" == inner.pointer("/artwork")
    assert "/artwork" == checks.pointer("/artwork")


def test_an_unknown_record_is_a_fault_that_lists_those_there_are() -> None:
    """In the order of the alphabet; a known one is returned."""
    checks = Checks()

    assert 2 == checks.record({"b": 1, "a": 2}, "film", "a", "/film")
    assert () == checks.faults
    assert checks.record({"b": 1, "a": 2}, "film", "c", "/film") is None
    assert [("/film", "The book has no film 'c'; it has: a, b")] == [
        (fault.pointer, fault.detail) for fault in checks.faults
    ]


def test_a_value_that_cannot_be_converted_is_a_fault() -> None:
    """With the conversion's own words; any other error is not caught."""
    checks = Checks()

    def broken(_: str) -> float:
        raise ZeroDivisionError

    assert 1.5 == checks.value(millimetres, "1.5 mm", "/width")
    assert checks.value(millimetres, "wide", "/width") is None
    (fault,) = checks.faults
    assert ("/width", "quantity.unreadable") == (fault.pointer, fault.code)
    assert fault.detail.startswith("'wide' is not a length: write a plain decimal")
    assert ("shown", "wide") == (fault.parameters[0].name, fault.parameters[0].value)
    with pytest.raises(ZeroDivisionError):
        checks.value(broken, "1", "/width")


def test_settling_raises_all_faults_at_once() -> None:
    """And nothing where there are none; to refuse is to note one more and settle."""
    checks = Checks()
    checks.settle()
    checks.note("/film", told("refused", "unknown"))
    with pytest.raises(RefusedError, match=r"^/film: unknown$") as settled:
        checks.settle()
    assert checks.faults == settled.value.faults
    with pytest.raises(RefusedError, match=r"^/film: unknown; /rows/0/press: off$") as refused:
        checks.under("/rows/0").refuse("/press", told("refused", "off"))
    assert ["/film", "/rows/0/press"] == [fault.pointer for fault in refused.value.faults]
