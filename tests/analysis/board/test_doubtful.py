"""Doubtful readings: a test sensor's value that leaps as no heart does."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from analysis.report.facts import session_facts
from analysis.session.compute import compute_record
from analysis.session.load import session_data
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


def test_record_holds_the_doubtful_readings_of_the_board() -> None:
    """Found again in the whole series: as many, at the same times, none of the reference."""
    source = random.Random(4)
    sent = [
        hr(k + 0.1 * n, n, source.choice((80, 86, 111, 117, 150)) if source.random() > 0.2 else 0)
        for k in range(1, 200)
        for n in (1, 2, 3)
        if source.random() > 0.1
    ]
    board = play(plan_of(), sent, until_s=200)
    record = compute_record(session_data(plan_of(), sent, 200 * S))
    assert record.reference.doubtful_s == ()
    for one in record.sensors:
        moments = board.sensor(one.number).doubtful
        assert 20 < len(moments) < 150
        assert one.facts.doubtful_s == tuple(round(t_ns / S, 3) for t_ns in moments)
    told = session_facts(record, Path("a.sqlite"))["sensors"][0]
    assert told["doubtful"] == len(told["doubtful_s"]) == len(board.sensor(2).doubtful)


def test_leap_of_the_reference_is_no_doubtful_reading_of_a_test_sensor() -> None:
    """It is judged by its own rules."""
    board = play(plan_of(), [hr(1, 1, 86), hr(2, 1, 30)], until_s=6)
    assert board.snapshot().sensors[0].doubtful == 0
