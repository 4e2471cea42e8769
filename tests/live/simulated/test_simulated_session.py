"""Rules of the simulated wearers and of the sessions made from them."""

from __future__ import annotations

import math
from collections import defaultdict
from itertools import pairwise

import pytest

from live.simulated import KINDS, Trouble, TroubleKind, simulate
from live.simulated.noise import Noise, SlowNoise
from live.simulated.script import SCRIPTS, Phase, Script
from live.simulated.wearer import STEP_S, WEARERS, Trace, beat_times, heart_rate, wearer_for
from replay import event
from replay.channels import DECODERS, decode
from replay.errors import PlanError
from replay.event import CHANNELS, NS_PER_S, Event
from replay.payloads import HeartRate
from replay.plan import Plan, PlannedSensor


def _plan(
    *kinds: str, activity: str = "rowing ergometer", wearer: str = "W1", seed: int = 1
) -> Plan:
    sensors = tuple(
        PlannedSensor(
            label=f"S{n}",
            role="reference" if n == 1 else "test",
            source="simulated",
            kind=kind,
        )
        for n, kind in enumerate(kinds, 1)
    )
    return Plan(wearer="W1", activity=activity, sensors=sensors, invented=True, seed=seed)


def _readings(events: list[Event]) -> dict[int, list[tuple[float, HeartRate]]]:
    found: dict[int, list[tuple[float, HeartRate]]] = defaultdict(list)
    for one in events:
        if one.channel == event.HEART_RATE:
            reading = decode(one.channel, one.payload)
            assert isinstance(reading, HeartRate)
            found[one.sensor].append((one.t_ns / NS_PER_S, reading))
    return found


def _links(events: list[Event], sensor: int) -> list[tuple[float, str]]:
    return [
        (one.t_ns / NS_PER_S, one.payload.decode())
        for one in events
        if one.channel == event.LINK and one.sensor == sensor
    ]


def test_events_are_those_of_a_capture():
    """Every event is in order of time, on a known channel, and every payload decodes."""
    events = list(simulate(_plan(*KINDS), 300))
    assert all(one.t_ns <= two.t_ns for one, two in pairwise(events))
    assert {one.channel for one in events} <= set(CHANNELS)
    for one in events:
        if one.channel in DECODERS:
            decode(one.channel, one.payload)
    assert {one.sensor for one in events} == set(range(len(KINDS) + 1))


def test_same_seed_same_session():
    """A plan gives the same events each time; another seed gives others."""
    kinds = ("strap", "wrist", "arm")
    assert list(simulate(_plan(*kinds), 90)) == list(simulate(_plan(*kinds), 90))
    assert list(simulate(_plan(*kinds), 90)) != list(simulate(_plan(*kinds, seed=2), 90))


def test_one_sensor_does_not_disturb_another():
    """A sensor sends the same whatever is beside it or happens to its neighbours."""
    alone = [one for one in simulate(_plan("strap"), 120) if one.sensor == 1]
    with_others = [
        one
        for one in simulate(
            _plan("strap", "wrist"), 120, troubles={2: [Trouble(TroubleKind.SILENT, 20, 60)]}
        )
        if one.sensor == 1
    ]
    assert alone == with_others


def test_noise_has_the_spread_it_is_asked_for():
    """Noise has mean 0 and the asked SD; slow noise SD 1 and its memory."""
    noise = Noise(5)
    drawn = [noise.normal(3.0) for _ in range(20_000)]
    assert sum(drawn) / len(drawn) == pytest.approx(0, abs=0.1)
    assert math.sqrt(sum(x * x for x in drawn) / len(drawn)) == pytest.approx(3.0, rel=0.03)
    slow = SlowNoise(Noise(6), 10.0, 1.0)
    values = [slow.step() for _ in range(50_000)]
    power = sum(x * x for x in values) / len(values)
    lagged = sum(x * y for x, y in zip(values, values[10:], strict=False)) / len(values)
    assert power == pytest.approx(1.0, rel=0.1)
    assert lagged / power == pytest.approx(1 / math.e, abs=0.06)


def test_heart_answers_with_its_time_constants():
    """After a step of work 63 % of the change has happened when a time constant has passed."""
    wearer = WEARERS["W1"]
    script = Script((Phase(300, 0.2), Phase(300, 0.8), Phase(300, 0.2)))
    rate = heart_rate(wearer, script, 900, Noise(3))
    for begin, constant in ((300.0, wearer.on_s), (600.0, wearer.off_s)):
        before, after = rate.at(begin), rate.at(begin + 6 * constant)
        share = (rate.at(begin + constant) - before) / (after - before)
        assert share == pytest.approx(1 - 1 / math.e, abs=0.06)


@pytest.mark.parametrize("code", [*WEARERS, "X7"])
def test_beats_vary_less_in_hard_work(code: str):
    """RMSSD is 20 to 60 ms at rest and 2 to 8 ms in hard exercise, and the rate is kept."""
    wearer = wearer_for(code, 11)
    spread = []
    for bpm in (wearer.rest_bpm, wearer.rest_bpm + 0.9 * (wearer.max_bpm - wearer.rest_bpm)):
        beats = list(beat_times(wearer, Trace((bpm, bpm)), 300, Noise(4)))
        intervals = [(two - one) / 1e6 for one, two in pairwise(beats)]
        assert 60_000 * len(intervals) / sum(intervals) == pytest.approx(bpm, rel=0.01)
        steps = [(two - one) ** 2 for one, two in pairwise(intervals)]
        spread.append(math.sqrt(sum(steps) / len(steps)))
    assert 18 <= spread[0] <= 66
    assert 2 <= spread[1] <= 8


def test_strap_counts_the_time_that_passes():
    """A good strap's RR sum to the time that passed, to the resolution of 1/1024 s."""
    readings = _readings(list(simulate(_plan("strap"), 600)))[1]
    total = sum(sum(reading.rr) for _, reading in readings) / 1024
    first = next(i for i, (_, reading) in enumerate(readings) if reading.rr)
    assert total == pytest.approx(readings[-1][0] - readings[first][0], abs=1.5)
    assert all(len(reading.rr) <= 3 for _, reading in readings)
    assert all(reading.contact is True for _, reading in readings)


def test_drying_strap_loses_beats_before_contact():
    """Drying electrodes give intervals no heart makes, more and more; wetted, none."""
    troubles = {
        1: [Trouble(TroubleKind.DRYING, 200, 280), Trouble(TroubleKind.NO_CONTACT, 280, 320)]
    }
    readings = _readings(list(simulate(_plan("strap"), 500, troubles=troubles)))[1]

    def odd(start: float, end: float) -> float:
        """Share of the intervals that jump by more than 20 %."""
        rr = [x for t, reading in readings if start <= t < end for x in reading.rr]
        return sum(abs(two - one) > 0.2 * one for one, two in pairwise(rr)) / len(rr)

    assert odd(60, 200) == 0
    assert 0 < odd(200, 240) < odd(240, 281)
    off = [reading for t, reading in readings if 287 < t < 320]
    assert off
    assert all(r.contact is False and r.mbpm == 0 and not r.rr for r in off)
    assert odd(323, 480) == 0


def test_optical_sensor_is_late_and_blunt():
    """The slow wrist sensor is behind on the rise and below the peak; the arm sensor is not."""
    script = Script((Phase(240, 0.35), Phase(120, 0.92, 30, effort=True), Phase(120, 0.3)))
    plan = _plan("strap", "wrist-slow", "arm")
    readings = _readings(list(simulate(plan, 480, script)))

    def mean(number: int, start: float, end: float) -> float:
        values = [r.bpm for t, r in readings[number] if start <= t < end]
        return sum(values) / len(values)

    low = {n: mean(n, 220, 240) for n in readings}
    peak = {n: mean(n, 345, 362) for n in readings}

    def half_rise(number: int) -> float:
        half = (low[number] + peak[number]) / 2
        return next(t for t, r in readings[number] if t > 240 and r.bpm >= half)

    assert half_rise(2) - half_rise(1) > 4
    assert abs(half_rise(3) - half_rise(1)) < 4
    assert peak[1] - peak[2] > 4
    assert abs(peak[3] - peak[1]) < 3


def test_sensor_locks_on_to_the_cadence():
    """Locked on, the sensor shows the cadence and not the heart."""
    troubles = {2: [Trouble(TroubleKind.ON_CADENCE, 300, 420, 1.0)]}
    plan = _plan("strap", "wrist", activity="easy trail running")
    script = Script((Phase(600, 0.5, 164),))
    readings = _readings(list(simulate(plan, 600, script, troubles=troubles)))
    locked = [r.bpm for t, r in readings[2] if 330 < t < 420]
    free = [r.bpm for t, r in readings[2] if 200 < t < 300]
    heart = [r.bpm for t, r in readings[1] if 330 < t < 420]
    assert sum(locked) / len(locked) == pytest.approx(164, abs=4)
    assert sum(heart) / len(heart) < 150
    assert sum(free) / len(free) < 150


def test_missed_effort_stays_low():
    """In a missed effort the sensor stays near where it was while the heart rises."""
    start, end = SCRIPTS["kettlebell sets"].efforts[3]
    troubles = {2: [Trouble(TroubleKind.MISSED_EFFORT, start, end + 15)]}
    events = list(simulate(_plan("strap", "wrist", activity="kettlebell sets"), troubles=troubles))
    readings = _readings(events)
    rise = {
        n: max(r.bpm for t, r in rows if start < t < end + 10)
        - next(r.bpm for t, r in rows if t >= start)
        for n, rows in readings.items()
    }
    assert rise[1] > 30
    assert rise[2] < rise[1] / 2


def test_late_start_silence_and_drop_show_in_the_link():
    """A late sensor is searched for, a silent one goes quiet, a broken link is made again."""
    troubles = {
        1: [Trouble(TroubleKind.LATE_START, 0, 60)],
        2: [Trouble(TroubleKind.SILENT, 40, 70)],
        3: [Trouble(TroubleKind.DROPPED, 50, 80)],
    }
    events = list(simulate(_plan("strap", "wrist", "arm"), 120, troubles=troubles))
    readings = _readings(events)
    assert readings[1][0][0] > 60
    assert not [t for t, _ in readings[2] if 40.1 < t < 70]
    assert not [t for t, _ in readings[3] if 50.1 < t < 81]
    joined = ["searching", "connecting", "preparing", "streaming"]
    assert [s for _, s in _links(events, 1)] == [*joined, "stopped"]
    assert [s for _, s in _links(events, 2)] == [*joined, "quiet", "streaming", "stopped"]
    assert [s for _, s in _links(events, 3)] == [*joined, "lost", *joined, "stopped"]


def test_sensor_tells_who_it_is_before_it_streams():
    """Device Information, battery and place come once per link, before the first reading."""
    mine = [one for one in simulate(_plan("strap"), 30) if one.sensor == 1]
    first = next(i for i, one in enumerate(mine) if one.channel == event.HEART_RATE)
    before = [one.channel for one in mine[:first]]
    for channel in (
        event.MODEL, event.SERIAL, event.FIRMWARE, event.HARDWARE, event.MAKER,
        event.BATTERY, event.BODY_LOCATION, event.SIGNAL,
    ):  # fmt: skip
        assert before.count(channel) == 1


def test_session_keeps_utc_and_disk():
    """UTC anchors come every 30 s, free disk space every minute, markers when they were set."""
    started = 1_772_604_900 * NS_PER_S
    events = [
        one
        for one in simulate(_plan("strap"), 125, started_utc_ns=started, notes=[(61.5, "wetted")])
        if one.sensor == event.SESSION
    ]
    anchors = [one for one in events if one.channel == event.ANCHOR]
    assert [one.t_ns // NS_PER_S for one in anchors] == [0, 30, 60, 90, 120]
    assert event.unpack_int(anchors[0].payload) == started
    assert [one.t_ns // NS_PER_S for one in events if one.channel == event.DISK] == [0, 60, 120]
    assert [(one.t_ns, one.payload) for one in events if one.channel == event.MARKER] == [
        (61_500_000_000, b"wetted")
    ]


@pytest.mark.parametrize("activity", SCRIPTS)
def test_every_activity_is_hard_and_easy(activity: str):
    """Each script makes the heart range over at least 30 bpm, with efforts in it."""
    script = SCRIPTS[activity]
    rate = heart_rate(WEARERS["W2"], script, script.duration_s, Noise(9))
    values = [rate.at(t * STEP_S) for t in range(int(script.duration_s / STEP_S))]
    assert max(values) - min(values) >= 30
    assert max(values) <= WEARERS["W2"].max_bpm + 1
    assert len(script.efforts) >= 3


@pytest.mark.parametrize(
    ("plan", "field"),
    [
        (_plan("strap", "ring"), "sensor 'S2', kind"),
        (_plan("strap", activity="chess"), "session.activity"),
    ],
)
def test_what_cannot_be_simulated_is_refused(plan: Plan, field: str):
    """An unknown kind or activity is refused with the names of those that exist."""
    with pytest.raises(PlanError) as caught:
        list(simulate(plan))
    assert caught.value.field == field
