"""How much work of a caller may wait."""

from __future__ import annotations

from featherline_service.computing.admission import COLD_QUESTIONS, MOST_IN_LINE, Line

WARM = COLD_QUESTIONS
SHORT_S = 1 / 128


def admitted(line: Line, seconds: float, now_s: float, count: int = 1_000, answered: int = WARM) -> int:
    """Return how many questions may join at once."""
    return sum(line.admit(seconds, now_s, 1, answered=answered) for _ in range(count))


def test_a_burst_may_wait_for_a_fifth_of_a_second() -> None:
    """Of questions of 50 ms there are five: the last joins when the line holds no more than 200 ms."""
    assert 5 == admitted(Line(0.0), 0.05, 0.0)


def test_of_long_questions_three_may_wait() -> None:
    """However long they take."""
    assert 3 == admitted(Line(0.0), 4.0, 0.0)


def test_more_processes_take_more() -> None:
    """Each has its own burst."""
    line = Line(0.0)
    assert 9 == sum(line.admit(0.05, 0.0, 2, answered=WARM) for _ in range(20))


def test_a_line_is_never_longer_than_so_many() -> None:
    """However short they are."""
    assert MOST_IN_LINE == admitted(Line(0.0), 0.0001, 0.0)


def test_of_a_flood_only_as_much_is_taken_as_is_answered_soon() -> None:
    """After a refusal, for a second; and from a second on in which the line was never empty."""
    line = Line(0.0)
    for _ in range(admitted(line, SHORT_S, 0.0)):
        line.leave(SHORT_S, 0.5)
    assert 3 == admitted(line, SHORT_S, 0.6)
    for _ in range(3):
        line.leave(SHORT_S, 0.7)
    assert 26 == admitted(line, SHORT_S, 1.8)


def test_a_line_that_does_not_empty_is_a_flood() -> None:
    """It holds what is answered within 20 ms."""
    line = Line(0.0)
    assert 2 == admitted(line, 0.01, 0.0, count=2)
    line.leave(0.01, 0.5)
    assert 2 == admitted(line, 0.01, 1.1)


def test_a_service_that_has_just_started_is_lenient() -> None:
    """What is not cached yet takes long, and is no flood."""
    assert 25 == admitted(Line(0.0), 0.125, 0.0, answered=0)
