"""Readings that wait for a rule that sleeps: each is taken once, in its second, or never."""

from __future__ import annotations

import pytest

from analysis.board.sensor import KEPT_S, SensorState
from analysis.board.unread import BySecond, Unread
from tests.standins.session_events import S, hr, planned


class _Sent:
    """A sensor that sends once in each second but every third."""

    def __init__(self) -> None:
        self.sensor = SensorState(2, planned("Sorrel"))
        self.unread = Unread(self.sensor)
        self.second = -1

    def close(self, seconds: int) -> None:
        """So many seconds more."""
        for _ in range(seconds):
            self.second += 1
            self.sensor.fresh = []
            if self.second % 3:
                at_s = self.second - 0.5
                self.sensor.take(round(at_s * S), hr(at_s, 2, 100))
            self.sensor.close_second(self.second)


def _seconds(taken: BySecond) -> list[tuple[int, int]]:
    """Each second, and that in which its reading came; −1 for none."""
    return [
        (second, -(-readings[0][0] // S) if readings else -1)
        for second, readings in taken
    ]  # fmt: skip


def _sent(first: int, end: int) -> list[tuple[int, int]]:
    return [(second, second if second % 3 else -1) for second in range(first, end)]


@pytest.mark.parametrize("asleep_s", [1, 2, 7, KEPT_S])
def test_what_was_slept_through_is_taken_in_its_seconds(asleep_s) -> None:
    """However long, up to what is kept, and only once."""
    sent = _Sent()
    for _ in range(4):
        sent.close(asleep_s)
        end = sent.second + 1
        assert _seconds(sent.unread.take(sent.second)) == _sent(end - asleep_s, end)


def test_what_is_older_than_what_is_kept_is_gone() -> None:
    """No rule sleeps for longer."""
    sent = _Sent()
    sent.close(100)
    assert _seconds(sent.unread.take(99)) == _sent(100 - KEPT_S, 100)


def test_a_rule_that_is_held_takes_what_it_slept_through_and_nothing_of_the_second() -> None:
    """Nor anything of the seconds after, as long as it is held."""
    sent = _Sent()
    sent.close(5)
    assert _seconds(sent.unread.pass_over()) == _sent(0, 4)
    for _ in range(3):
        sent.close(1)
        assert _seconds(sent.unread.pass_over()) == []
    sent.close(2)
    assert _seconds(sent.unread.take(9)) == _sent(8, 10)
