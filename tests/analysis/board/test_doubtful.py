"""Doubtful readings: a test sensor's value that leaps as no heart does."""

from __future__ import annotations

import pytest

from tests.standins.session_events import S, hr, plan_of, play


@pytest.mark.parametrize(
    ("to", "within_s", "doubtful"),
    [(30, 1.0, 1), (117, 1.0, 1), (116, 1.0, 0), (56, 1.0, 0), (30, 4.0, 0)],
)
def test_leap_that_no_heart_makes_is_counted_as_doubtful(to, within_s, doubtful) -> None:
    """More than 30 bpm within a second and a half, on a test sensor; it stays a valid reading."""
    sent = [hr(1, 1, 86), hr(1.1, 2, 86), hr(1.1 + within_s, 2, to)]
    board = play(plan_of(), sent, until_s=6)
    assert [sensor.doubtful for sensor in board.snapshot().sensors] == [0, doubtful, 0]
    assert board.sensor(2).doubtful == [round((1.1 + within_s) * S)] * doubtful
    assert board.series(2)[1].tolist() == [86_000, to * 1000]


def test_leap_of_the_reference_is_no_doubtful_reading_of_a_test_sensor() -> None:
    """It is judged by its own rules."""
    board = play(plan_of(), [hr(1, 1, 86), hr(2, 1, 30)], until_s=6)
    assert board.snapshot().sensors[0].doubtful == 0
