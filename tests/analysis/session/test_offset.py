"""Two captures of one session on one axis of time, by their anchors of UTC."""

from __future__ import annotations

from contextlib import contextmanager

import numpy as np
import pytest

from analysis.session.offset import UtcClock, align, on_common_time, utc_clock
from replay.capture import Capture, CaptureWriter
from replay.errors import CaptureError
from replay.event import ANCHOR, NS_PER_S, SESSION, Event, pack_int
from tests.standins.feeds import PLAN, beat

NOON = 1_772_604_900 * NS_PER_S


def anchored(seconds, *, started=NOON, ppm=0.0, every=30, jump=(10**9, 0)):
    """Anchors of a capture clock that runs ``ppm`` fast, with UTC stepping at a second."""
    for second in range(0, seconds + 1, every):
        t_ns = second * NS_PER_S
        utc = started + round(t_ns / (1 + ppm / 1e6)) + (jump[1] if second >= jump[0] else 0)
        yield Event(t_ns, SESSION, ANCHOR, pack_int(utc))


@contextmanager
def captures(tmp_path, *made):
    opened = []
    for number, (started, seconds, events) in enumerate(made):
        path = tmp_path / f"{number}.sqlite"
        writer = CaptureWriter(path, PLAN, started_utc_ns=started, software="test")
        for event in sorted(events, key=lambda event: event.t_ns):
            writer.append(event)
        writer.close(t_ns=seconds * NS_PER_S, reason="stopped")
        opened.append(Capture.open(path))
    try:
        yield opened
    finally:
        for capture in opened:
            capture.close()


def test_the_same_instant_falls_on_the_same_place(tmp_path):
    """A later start is shifted, a clock that is 80 ppm fast is followed to the microsecond."""
    late = NOON + 41 * NS_PER_S
    made = (
        (NOON, 1800, anchored(1800)),
        (late, 1700, anchored(1700, started=late, ppm=80)),
    )
    with captures(tmp_path, *made) as (one, two):
        alignment = align(one, two)
        assert alignment.shift_ns == (0, 41 * NS_PER_S)
        assert alignment.drift_ppm == pytest.approx(80, abs=0.1)
        for true_s in (50, 333, 1500, 1700):
            utc = NOON + true_s * NS_PER_S
            t_two = round((utc - late) * (1 + 80e-6))
            assert alignment.to_common(1, t_two) == pytest.approx(true_s * NS_PER_S, abs=2000)
            assert alignment.to_common(0, true_s * NS_PER_S) == true_s * NS_PER_S


def test_the_earlier_of_the_two_begins_the_axis(tmp_path):
    """If the second file began first, the first is shifted, and no time is negative."""
    early = NOON - 100 * NS_PER_S
    made = ((NOON, 600, anchored(600)), (early, 600, anchored(600, started=early)))
    with captures(tmp_path, *made) as (one, two):
        alignment = align(one, two)
        assert alignment.shift_ns == (100 * NS_PER_S, 0)
        assert alignment.common_ns == 500 * NS_PER_S
        assert alignment.to_common(1, 0) == 0


def test_captures_of_different_times_are_refused(tmp_path):
    """Without a common instant there is one sentence with the distance."""
    later = NOON + 1000 * NS_PER_S
    made = ((NOON, 600, anchored(600)), (later, 60, anchored(60, started=later)))
    with (
        captures(tmp_path, *made) as (one, two),
        pytest.raises(CaptureError, match="by UTC 400 s lie between them"),
    ):
        align(one, two)


def test_without_anchors_the_start_is_taken_and_no_drift_is_claimed(tmp_path):
    """Captures that broke off before an anchor are aligned by their start."""
    made = (
        (NOON, 600, [beat(1, 1, 100)]),
        (NOON + 7 * NS_PER_S, 600, [beat(1, 1, 100)]),
    )
    with captures(tmp_path, *made) as (one, two):
        alignment = align(one, two)
        assert alignment.shift_ns == (0, 7 * NS_PER_S)
        assert alignment.drift_ppm is None


def test_a_clock_set_back_does_not_turn_time_around():
    """Anchors that run backwards are left out, so that both ways stay one to one."""
    clock = utc_clock(anchored(300, jump=(150, -60 * NS_PER_S)), NOON)
    times = [clock.utc(t * NS_PER_S) for t in range(0, 300, 7)]
    assert times == sorted(times)
    for t in range(0, 300, 7):
        assert clock.t(clock.utc(t * NS_PER_S)) == pytest.approx(t * NS_PER_S, abs=10)


def test_beyond_the_anchors_a_clock_runs_at_its_own_pace():
    """Before the first and behind the last anchor a second is a second."""
    clock = utc_clock(anchored(60), NOON)
    assert isinstance(clock, UtcClock)
    assert clock.utc(90 * NS_PER_S) == NOON + 90 * NS_PER_S
    assert clock.t(NOON - NS_PER_S) == -NS_PER_S


def test_between_two_anchors_time_runs_along_a_straight_line():
    """Both ways, in whole ns; what has no anchor has its start, and runs at its own pace."""
    clock = UtcClock(np.array([0, 10, 20]), np.array([100, 120, 130]))
    assert [clock.utc(t) for t in (-5, 0, 5, 10, 14, 20, 23)] == [95, 100, 110, 120, 124, 130, 133]
    assert [clock.t(utc) for utc in (95, 100, 110, 120, 124, 130, 133)] == [
        -5, 0, 5, 10, 14, 20, 23,
    ]  # fmt: skip
    bare = utc_clock([beat(1, 1, 100)], NOON)
    assert (bare.utc(0), bare.utc(7), bare.t(NOON - 7)) == (NOON, NOON + 7, -7)


@pytest.mark.parametrize(("seconds", "is_told"), [(119, False), (120, True)])
def test_a_drift_is_told_of_two_minutes_with_anchors(tmp_path, seconds, is_told):
    """Four anchors; with fewer a step of UTC would look like one."""
    made = [(NOON, 300, anchored(300, every=1)), (NOON, 300, anchored(seconds, every=1, ppm=-50))]
    with captures(tmp_path, *made) as (one, two):
        drift_ppm = align(one, two).drift_ppm
    assert (drift_ppm is not None) is is_told
    assert drift_ppm in (None, pytest.approx(-50, abs=0.1))


def test_events_keep_their_order_on_the_common_axis(tmp_path):
    """Times of the shifted events never decrease, and nothing else about them changes."""
    late = NOON + 5 * NS_PER_S
    beats = [beat(second + 0.2, 2, 100) for second in range(100)]
    made = (
        (NOON, 100, anchored(90)),
        (late, 100, [*anchored(90, started=late, ppm=-50), *beats]),
    )
    with captures(tmp_path, *made) as (one, two):
        moved = list(on_common_time(align(one, two), 1, two.events()))
        kept = list(two.events())
        assert list(on_common_time(align(one, two), 0, one.events())) == list(one.events())
    times = [event.t_ns for event in moved]
    assert times == sorted(times)
    assert [event[1:] for event in moved] == [event[1:] for event in kept]
    assert moved[-1].t_ns > kept[-1].t_ns
