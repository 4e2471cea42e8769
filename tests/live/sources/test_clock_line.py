"""Another computer's clock is told within its bound, whatever the way between does."""

from __future__ import annotations

import numpy as np
import pytest

from live.sources.node.clock_line import ClockLine, Exchange
from tests.standins.links import OtherClock, Way, exchanges

HOUR_S = 3600.0
MS = 1_000_000


def _errors(
    clock: OtherClock, there: Way, back: Way, seconds: float = HOUR_S, seed: int = 1
) -> tuple[np.ndarray, np.ndarray, ClockLine]:
    """Of each moment from the first that is known: error and bound, ns."""
    line, errors, bounds = ClockLine(), [], []
    for stamps in exchanges(clock, there, back, seconds=seconds, seed=seed):
        line.add(Exchange(*stamps))
        now = line.now
        if now is None:
            continue
        at_s = stamps[3] / 1e9
        told_ns = now.translation.to_capture_ns(clock.reads_ns(at_s))
        errors.append(abs(told_ns - round(at_s * 1e9)))
        bounds.append(line.bound_ns(clock.reads_ns(at_s)))
    return np.array(errors), np.array(bounds), line


@pytest.mark.parametrize(("seed", "longer_s"), [(1, 0.0), (2, 0.005)])
def test_the_error_stays_under_five_milliseconds(seed: int, longer_s: float) -> None:
    """40 ppm, 20 ms, jittery round trips, one way up to 5 ms longer: p99 under 5 ms in an hour."""
    way = Way(least_s=0.002, jitter_s=0.01)
    errors, bounds, line = _errors(
        OtherClock(), Way(least_s=0.002 + longer_s, jitter_s=0.01), way, seed=seed
    )
    assert len(errors) > 3000
    assert np.percentile(errors, 99) < 5 * MS
    assert np.mean(errors <= bounds) >= 0.99
    assert line.count == 1
    assert abs(line.whole.translation.drift_ppb + 40_000) < 1_000


@pytest.mark.parametrize("longer_s", [0.02, 0.1])
def test_the_truth_lies_within_the_bound_where_the_ways_differ_much(longer_s: float) -> None:
    """An asymmetry that nobody can see moves the estimate, and the bound says how far at most."""
    errors, bounds, _ = _errors(
        OtherClock(ppm=-70, ahead_s=-5), Way(least_s=0.001 + longer_s), Way(least_s=0.001), 1200
    )
    assert np.median(errors) > longer_s / 2 * 1e9 * 0.8
    assert np.mean(errors <= bounds) >= 0.99
    assert np.median(bounds) < longer_s / 2 * 1e9 + 10 * MS


@pytest.mark.parametrize("step_s", [0.05, -0.2, 90.0, -4000.0])
def test_a_step_is_found_within_half_a_minute(step_s: float) -> None:
    """Another count begins, translated rightly, and before it none had begun."""
    clock = OtherClock(steps=[(600.0, step_s)])
    line, found_s = ClockLine(), None
    for stamps in exchanges(clock, Way(), Way(), seconds=700):
        if line.add(Exchange(*stamps)):
            assert found_s is None
            found_s = stamps[3] / 1e9
    assert found_s is not None
    assert 600 <= found_s <= 630
    assert line.count == 2
    at_s = 699.0
    told_ns = line.now.translation.to_capture_ns(clock.reads_ns(at_s))
    assert abs(told_ns - at_s * 1e9) < 5 * MS


def test_outliers_do_not_move_it() -> None:
    """Stamps that are wrong by seconds, now and then, change neither the count nor the error."""
    clock, line = OtherClock(), ClockLine()
    for number, stamps in enumerate(exchanges(clock, Way(), Way(), seconds=900)):
        sent, received_there, sent_there, received = stamps
        if number > 20 and number % 17 == 0:
            off = (-1) ** number * 3_000 * MS
            received_there, sent_there = received_there + off, sent_there + off
        line.add(Exchange(sent, received_there, sent_there, received))
    assert line.count == 1
    assert line.refused > 40
    at_s = 899.0
    told_ns = line.now.translation.to_capture_ns(clock.reads_ns(at_s))
    assert abs(told_ns - at_s * 1e9) < 5 * MS


def test_one_translation_serves_a_whole_session() -> None:
    """Every stamp of an hour lies within the bound that is told of the whole."""
    clock = OtherClock()
    _, _, line = _errors(clock, Way(), Way())
    whole = line.whole
    wrong = [
        abs(whole.translation.to_capture_ns(clock.reads_ns(at_s)) - at_s * 1_000_000_000)
        for at_s in range(5, 3600, 5)
    ]
    assert max(wrong) <= whole.bound_ns < 20 * MS


def _crowded(at_s: int, *, share: float, there_s: float, back_s: float) -> Exchange:
    """One of a way that takes 5 ms, for a share of the windows as long as is said instead."""
    window = at_s // 10
    if (window + 1) * share % 1 >= share:
        there_s = back_s = 0.005
    clock = OtherClock()
    stamps = clock.reads_ns(at_s + there_s), clock.reads_ns(at_s + there_s)
    return Exchange(at_s * 1_000_000_000, *stamps, round((at_s + there_s + back_s) * 1e9))


@pytest.mark.parametrize(
    ("share", "there_s", "back_s", "since_s"),
    [(0.3, 0.0005, 0.0135, 300), (0.6, 0.06, 0.005, 300), (0.9, 0.02, 0.003, 180)],
    ids=["few that no round trip tells", "most, by long ones", "nearly all, by a little more"],
)
def test_windows_of_a_crowded_way_do_not_turn_the_line(
    share: float, there_s: float, back_s: float, since_s: int
) -> None:
    """From some minute on one way of them is the longer: the drift stays that of the rest."""
    line, clock = ClockLine(), OtherClock()
    for at_s in range(600):
        late = share if at_s > since_s else 0.0
        line.add(_crowded(at_s, share=late, there_s=there_s, back_s=back_s))
    assert line.refused == 0
    found = line.now.translation
    assert abs(found.drift_ppb + 40_000) < 500
    assert abs(found.to_capture_ns(clock.reads_ns(599.0)) - 599_000_000_000) < MS // 2


def test_a_drift_that_a_changing_way_feigned_is_allowed_for() -> None:
    """The way there becomes longer as the one back becomes shorter: each round trip takes 10 ms,
    every middle lies on one line, and that is 100 ppm wrong.  After a silence of its length it is
    wrong by three times the half of a round trip, which its bound says, and hardly more.
    """
    line, clock = ClockLine(), OtherClock()
    for at_s in range(101):
        there_s = 1e-4 * at_s
        stamp = clock.reads_ns(at_s + there_s)
        line.add(Exchange(at_s * 1_000_000_000, stamp, stamp, at_s * 1_000_000_000 + 10 * MS))
    stamp = clock.reads_ns(200.0)
    error_ns = abs(line.now.translation.to_capture_ns(stamp) - 200_000_000_000)
    assert error_ns == pytest.approx(15 * MS, rel=0.02)
    assert error_ns <= line.bound_ns(stamp) < 1.3 * error_ns


def test_nothing_is_told_before_it_is_known() -> None:
    """After fewer than four exchanges, or with round trips of seconds, there is no translation."""
    line = ClockLine()
    told = []
    for stamps in exchanges(OtherClock(), Way(), Way(), seconds=5):
        told.append(line.now)
        line.add(Exchange(*stamps))
    assert told[:4] == [None] * 4
    assert told[4] is not None
    slow = ClockLine()
    for stamps in exchanges(OtherClock(), Way(least_s=2.0), Way(least_s=2.0), seconds=60):
        slow.add(Exchange(*stamps))
        assert slow.now is None


def test_a_reply_before_its_request_is_refused() -> None:
    """Stamps that run backwards are counted and change nothing."""
    line = ClockLine()
    for stamps in exchanges(OtherClock(), Way(), Way(), seconds=30):
        line.add(Exchange(*stamps))
    before = line.now
    assert not line.add(Exchange(10, 20, 15, 30))
    assert not line.add(Exchange(10, 20, 25, 5))
    assert line.refused == 2
    assert line.now == before


def test_a_long_session_needs_no_more_room() -> None:
    """Six hours of exchanges leave some hundred, and the drift is still told."""
    clock, line = OtherClock(), ClockLine()
    ways = Way(), Way()
    for stamps in exchanges(clock, *ways, seconds=20_000, every_s=lambda _: 5.0):
        line.add(Exchange(*stamps))
    assert len(line.kept) <= 300
    assert abs(line.whole.translation.drift_ppb + 40_000) < 500
