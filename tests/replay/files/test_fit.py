"""What FIT files hold beside the heart rate of their records."""

from __future__ import annotations

import pytest

from replay.capture import Capture
from replay.channels import decode
from replay.errors import ActivityFileError
from replay.event import HEART_RATE, NS_PER_S
from replay.files import TableOptions, read_activity
from replay.files.importing import ImportedSensor, planned, write_alone
from replay.plan import Plan, PlannedSensor
from tests.standins.activity_files import START_S, fit_messages, fit_time

NEEDS = ("fitdecode",)  # imported by what is called


def record(second, bpm, *more):
    return (20, [(253, 0x86, "I", fit_time(START_S + second)), (3, 0x02, "B", bpm), *more])


def test_device_firmware_laps_and_signals(tmp_path):
    """Product, software version, laps, cadence, power, speed and altitude are read."""
    path = fit_messages(
        tmp_path / "a.fit",
        [
            (0, [(0, 0x00, "B", 4), (1, 0x84, "H", 255), (8, 0x07, "6s", b"Tansy")]),
            (23, [(0, 0x02, "B", 0), (5, 0x84, "H", 312)]),
            *(
                record(
                    s, 100 + s % 9, (4, 0x02, "B", 80), (7, 0x84, "H", 200), (6, 0x84, "H", 2500),
                    (2, 0x84, "H", (100 + 500) * 5),
                )
                for s in range(40)
            ),
            *(
                (19, [(253, 0x86, "I", fit_time(START_S + end)),
                      (2, 0x86, "I", fit_time(START_S + begin))])
                for begin, end in ((0, 20), (20, 39))
            ),
        ],
    )  # fmt: skip
    series = read_activity(path)
    assert "Tansy" in series.device
    assert series.firmware == "3.12"
    assert {name: values[0] for name, (_, values) in series.signals.items()} == {
        "power": 200, "cadence": 80, "speed": 2.5, "altitude": 100,
    }  # fmt: skip
    assert [((lap.from_ns // NS_PER_S) - START_S, lap.name) for lap in series.laps] == [
        (0, "lap 1"), (20, "lap 2"),
    ]  # fmt: skip


def test_rr_become_part_of_the_readings(tmp_path):
    """The hrv messages behind a record are its RR, and reach the capture as a payload with RR."""
    messages = []
    for second in range(30):
        messages.append(record(second, 75))
        messages.append((78, [(0, 0x84, "5H", (800, 805, 0xFFFF, 0xFFFF, 0xFFFF))]))
    series = read_activity(fit_messages(tmp_path / "a.fit", messages))
    assert series.rr_ms[0] == (800.0, 805.0)
    sensor = PlannedSensor(label="A", role="reference", source="file", file="a")
    sensor = planned(series, sensor, offset_s=0, alignment="own clock")
    plan = Plan(wearer="W1", activity="x", sensors=(sensor,))
    write_alone(
        tmp_path / "a.sqlite", plan, [ImportedSensor(series=series, sensor=sensor)],
        started_utc_ns=START_S * NS_PER_S, duration_ns=29 * NS_PER_S, software="test",
    )  # fmt: skip
    with Capture.open(tmp_path / "a.sqlite") as capture:
        event = next(e for e in capture.events() if e.sensor == 1)
        assert event.channel == HEART_RATE
        assert decode(event.channel, event.payload).rr == (round(819.2), round(824.32))
        assert event.foreign.stamp_ns == START_S * NS_PER_S


def test_beats_that_a_strap_had_stored(tmp_path):
    """Where no record has a heart rate, the beats of hr messages are the readings."""
    beats = [(1000 + 800 * n) for n in range(16)]
    ticks = [round(ms * 1.024) for ms in beats]
    messages = [
        (132, [(253, 0x86, "I", fit_time(START_S)), (9, 0x86, "I", ticks[0]), (6, 0x02, "B", 75)]),
        (132, [(9, 0x86, "8I", ticks[1:9]), (6, 0x02, "8B", [75] * 8)]),
        (20, [(253, 0x86, "I", fit_time(START_S)), (3, 0x02, "B", 0xFF)]),
    ]
    series = read_activity(fit_messages(tmp_path / "a.fit", messages))
    assert len(series.values) == 9
    assert (series.times_ns[8] - series.times_ns[0]) / NS_PER_S == pytest.approx(6.4, abs=0.002)
    assert series.values[0] == "75"
    assert any("strap had stored" in sentence for sentence in series.remarks)


def test_a_clock_that_was_never_set(tmp_path):
    """Times counted from power-up are elapsed times; --start says when they began."""
    rows = [(20, [(253, 0x86, "I", 5000 + s), (3, 0x02, "B", 90 + s % 7)]) for s in range(60)]
    path = fit_messages(tmp_path / "a.fit", rows)
    series = read_activity(path)
    assert (series.anchored, series.times_ns[:2]) == (False, (0, NS_PER_S))
    series = read_activity(path, TableOptions(start="2026-03-04T07:15:00Z"))
    assert (series.anchored, series.times_ns[0]) == (True, START_S * NS_PER_S)
    with pytest.raises(ActivityFileError, match="ISO 8601"):
        read_activity(path, TableOptions(start="soon"))


def test_a_clock_that_was_set_on_the_way(tmp_path):
    """Records from before the time was known have none, and are counted; the others keep theirs."""
    early = [(20, [(253, 0x86, "I", 5000 + s), (3, 0x02, "B", 90)]) for s in range(10)]
    series = read_activity(
        fit_messages(tmp_path / "a.fit", [*early, *(record(s, 95) for s in range(20))])
    )
    assert (series.counts.no_time, len(series.values), series.anchored) == (10, 20, True)
