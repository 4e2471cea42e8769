"""From the events of a capture to its arrays, and to the agreement in its record."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from analysis.report.facts import session_facts
from analysis.session.compute import compute_record
from analysis.session.load import SessionData, load_session, session_data
from analysis.statistics.agreement import Tolerance
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.rolling import RollingAgreement
from analysis.statistics.stretch import Stretch, gaps_of, kept_seconds
from replay.capture import Capture, CaptureWriter
from replay.capture.notes import EffectiveNotes
from replay.event import (
    BATTERY,
    FIRMWARE,
    HEART_RATE,
    MARKER,
    MQTT_HEART_RATE,
    NS_PER_S,
    RUNNING,
    SESSION,
    Event,
    Stamp,
)
from replay.foreign_time import Translation
from replay.payloads import encode_heart_rate
from replay.plan import Plan, PlannedSensor


def _plan(**changes: float) -> Plan:
    return Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", placement="chest", name="Yarrow"),
            PlannedSensor(label="Pod", role="companion", source="simulated", kind="footpod"),
            PlannedSensor(
                label="Sorrel", role="test", placement="left wrist", source="mqtt", topic="a",
                firmware="2.0", **changes,
            ),
            PlannedSensor(label="Tansy", role="test", placement="right wrist", name="Tansy"),
        ),
    )  # fmt: skip


def _events(seconds: int = 600) -> list[Event]:
    """Ten minutes: Sorrel reads 2 bpm too much, silent from 200 to 259 s; Tansy joins late."""
    source = np.random.default_rng(1)
    events = [
        Event(1, 3, FIRMWARE, b"1.9"),
        Event(2, 4, FIRMWARE, b"7.1\0"),
        Event(3, 4, FIRMWARE, b"\xff"),
        Event(4, 1, BATTERY, b"\x55"),
    ]
    for k in range(seconds):
        heart = int(120 + 40 * np.sin(k / 60))
        t_ns = k * NS_PER_S + 400_000_000
        events.append(Event(t_ns, 1, HEART_RATE, encode_heart_rate(heart, contact=k >= 10)))
        events.append(Event(t_ns + 1, 2, RUNNING, b"\x00\x00\x02\xa0"))
        if not 200 <= k < 260:
            wrist = heart + 2 + int(source.integers(-2, 3))
            events.append(Event(t_ns + 2, 3, MQTT_HEART_RATE, str(wrist).encode()))
        if k >= 300:
            events.append(Event(t_ns + 3, 4, HEART_RATE, encode_heart_rate(heart)))
    events += [
        Event(seconds * NS_PER_S, 3, MQTT_HEART_RATE, b"error"),
        Event(seconds * NS_PER_S, 3, MQTT_HEART_RATE, b"0"),
        Event(seconds * NS_PER_S, SESSION, MARKER, b"done"),
    ]
    return events


@pytest.fixture(scope="module")
def data() -> SessionData:
    """The invented session of ten minutes."""
    return session_data(_plan(), _events(), 600 * NS_PER_S)


def test_events_are_sorted_into_series(data: SessionData) -> None:
    """Each compared sensor has its valid readings; malformed and invalid ones are counted."""
    assert list(data.sensors) == [1, 3, 4]
    assert data.seconds == 601
    sorrel = data.sensors[3]
    assert (sorrel.notifications, sorrel.malformed, sorrel.invalid) == (542, 1, 1)
    assert len(sorrel.t_ns) == len(sorrel.mbpm) == 540
    assert data.reference.invalid == 10  # no contact for the first ten
    assert data.markers == ((600 * NS_PER_S, "done"),)


def test_firmware_comes_from_the_plan_or_else_from_the_sensor(data: SessionData) -> None:
    """What the tester planned stands above what the sensor says of itself; garbage is no text."""
    assert data.sensors[3].firmware == "2.0"
    assert data.sensors[4].firmware == "7.1"


def test_gaps_and_coverage_follow_the_grid(data: SessionData) -> None:
    """A silence of 60 s is a gap that begins when the last reading is too old."""
    # The last reading before the silence is at 199.4 s and holds to 202.4 s.
    expected = (Stretch(0, 1, "no valid reading", 3), Stretch(203, 261, "no valid reading", 3))
    assert expected == data.sensors[3].gaps
    assert data.sensors[3].coverage_percent == pytest.approx(100 * (601 - 59) / 601)
    assert data.sensors[4].gaps == (Stretch(0, 301, "no valid reading", 4),)


def test_the_result_is_that_of_the_pairs(data: SessionData) -> None:
    """Pairs, bias and share of each sensor are those of pushing the grids through the monitor."""
    result = compute_record(data)
    for sensor in result.sensors:
        rolling = RollingAgreement([None], Tolerance(5, 10))
        for pair in zip(data.reference.grid, data.sensors[sensor.number].grid, strict=True):
            rolling.push(*pair)
        live = rolling.sums[0].summary()
        assert live.pairs == sensor.whole.pairs
        assert live.bias_bpm == sensor.whole.bias.value
        assert live.within_tolerance_percent == sensor.whole.within.value
        assert sensor.without_exclusions is None
    assert result.sensors[1].whole.bias.value == 0


def test_exclusions_concern_whom_they_name(data: SessionData) -> None:
    """A stretch of the reference counts for all, one of a test sensor for that one; both shown."""
    stretches = [Stretch(100, 150, "dry strap", 1), Stretch(400, 420, "taken off", 3)]
    sorrel, tansy = compute_record(data, exclusions=stretches).sensors
    assert (sorrel.excluded_s, tansy.excluded_s) == (70, 50)
    assert sorrel.whole.pairs - sorrel.without_exclusions.pairs == 70
    assert tansy.whole.pairs == tansy.without_exclusions.pairs  # it had not begun then
    whole_session = compute_record(data, exclusions=[Stretch(590, 900, "cool-down")])
    assert [sensor.excluded_s for sensor in whole_session.sensors] == [11, 11]


def test_overlapping_exclusions_count_once() -> None:
    """Seconds in two stretches are taken out once, and stretches may reach past the session."""
    kept = kept_seconds(10, [Stretch(-5, 3), Stretch(2, 5), Stretch(9, 99)])
    assert kept.tolist() == [False] * 5 + [True] * 4 + [False]


def test_stretches_in_nanoseconds_take_the_grid_seconds_inside() -> None:
    """A stretch from_ns <= t < to_ns holds the grid seconds whose instant lies in it."""
    assert Stretch.of_ns(NS_PER_S, 3 * NS_PER_S) == Stretch(1, 3)
    assert Stretch.of_ns(NS_PER_S + 1, 3 * NS_PER_S + 1) == Stretch(2, 4)


def test_a_grid_without_gaps_has_none() -> None:
    """Gaps at either end and in the middle are found; a full grid has none."""
    assert gaps_of(np.array([1, 2], dtype=np.int32)) == ()
    holed = np.array([NO_VALUE, 5, NO_VALUE, NO_VALUE, 5, NO_VALUE], dtype=np.int32)
    assert [(gap.start_s, gap.end_s) for gap in gaps_of(holed)] == [(0, 1), (2, 4), (5, 6)]


def test_a_capture_file_gives_the_same_as_its_events(tmp_path: Path, data: SessionData) -> None:
    """Written, read and loaded, a session has the same arrays, and its noted exclusions count."""
    path = tmp_path / "session.sqlite"
    writer = CaptureWriter(path, _plan(), started_utc_ns=0, software="test")
    for event in _events():
        writer.append(event)
    writer.close(t_ns=600 * NS_PER_S, reason="test")
    with Capture.open(path) as capture:
        capture.add_note("exclusion", from_ns=0, to_ns=60 * NS_PER_S, sensor=0, reason="warm-up")
    with Capture.open(path) as capture:
        loaded = load_session(capture)
    for number, series in data.sensors.items():
        assert np.array_equal(series.grid, loaded.sensors[number].grid)
    assert loaded.exclusions == (Stretch(0, 60, "warm-up"),)
    assert [sensor.excluded_s for sensor in compute_record(loaded).sensors] == [60, 60]


def test_the_result_is_plain_json(data: SessionData) -> None:
    """The facts survive JSON unchanged and name sensors, exclusions and both results."""
    record = compute_record(data, exclusions=[Stretch(100, 150, "dry strap", 1)])
    facts = session_facts(record, Path("a.sqlite"))
    assert facts == json.loads(json.dumps(facts, allow_nan=False))
    assert [sensor["label"] for sensor in facts["sensors"]] == ["Sorrel", "Tansy"]
    assert facts["reference"]["label"] == "Yarrow"
    assert facts["exclusions"] == [
        {"start_s": 100, "end_s": 150, "sensor": "Yarrow", "reason": "dry strap"}
    ]
    sorrel = facts["sensors"][0]
    assert sorrel["whole_session"]["pairs"] > sorrel["without_exclusions"]["pairs"]
    assert sorrel["longest_gap_s"] == 58


def test_a_missing_reference_is_said_first() -> None:
    """When the reference covers little of the session, the result says so."""
    events = [event for event in _events() if event.sensor != 1 or event.t_ns < 300 * NS_PER_S]
    result = compute_record(session_data(_plan(), events, 600 * NS_PER_S))
    assert "49 %" in result.cautions[0]


def test_a_wider_age_limit_is_said() -> None:
    """A sensor whose values are held for longer than usual is named."""
    result = compute_record(session_data(_plan(hold_s=10), _events(60), 60 * NS_PER_S))
    assert any("Sorrel" in caution and "longer than 3 s" in caution for caution in result.cautions)


def test_an_empty_session_is_a_result_without_numbers() -> None:
    """A capture without a single reading gives no pairs and no error."""
    result = compute_record(session_data(_plan(), [], 0))
    assert [sensor.whole.pairs for sensor in result.sensors] == [0, 0]
    json.dumps(session_facts(result, Path("a.sqlite")), allow_nan=False)


NODE_CLOCK = "node:attic/1"
KNOWN = {NODE_CLOCK: Translation(offset_ns=-900 * NS_PER_S)}


def _node_plan() -> Plan:
    return Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", placement="chest", name="Yarrow"),
            PlannedSensor(label="Sorrel", role="test", source="node", node="attic", name="Sorrel"),
            PlannedSensor(label="Tansy", role="test", source="mqtt", topic="a"),
        ),
    )


def _stamped(
    arrived_s: float, at_s: float, payload: bytes, *, offset_s: int | None = -900, sensor: int = 2
) -> Event:
    """What happened at a second, stamped by a clock that is 900 s ahead, and arrived later."""
    offset_ns = None if offset_s is None else offset_s * NS_PER_S
    stamp = Stamp(round((at_s + 900) * NS_PER_S), NODE_CLOCK, offset_ns)
    return Event(round(arrived_s * NS_PER_S), sensor, HEART_RATE, payload, stamp)


def _bpm(bpm: int) -> bytes:
    return encode_heart_rate(bpm)


def test_a_reading_of_another_clock_stands_where_it_happened_and_once() -> None:
    """However late, out of order or twice it arrived; each is counted once, whatever it was."""
    bad, off = b"\x01", encode_heart_rate(0)
    events = [
        _stamped(3.0, 2.5, _bpm(102)), _stamped(3.1, 1.5, _bpm(101)), _stamped(3.2, 1.5, _bpm(101)),
        _stamped(4.0, 3.5, bad), _stamped(4.1, 3.5, bad), _stamped(4.2, 3.6, off),
        _stamped(4.3, 3.6, off), _stamped(8.4, 8.25, _bpm(108)),
    ]  # fmt: skip
    data = session_data(_node_plan(), events, round(10.5 * NS_PER_S))
    sorrel = data.sensors[2]
    assert data.seconds == 11
    assert (sorrel.t_ns / NS_PER_S).tolist() == [1.5, 2.5, 8.25]
    assert sorrel.mbpm.tolist() == [101_000, 102_000, 108_000]
    assert sorrel.grid.tolist() == [
        NO_VALUE, NO_VALUE, 101_000, 102_000, 102_000, 102_000, NO_VALUE, NO_VALUE, NO_VALUE,
        108_000, 108_000,
    ]  # fmt: skip
    assert (sorrel.notifications, sorrel.malformed, sorrel.invalid) == (5, 1, 1)
    assert sorrel.unplaced == 0


def test_readings_of_a_node_whose_clock_was_never_known_are_counted() -> None:
    """Those that arrived before it was, unless it has been found since; they stand where they
    arrived.  A message that its sender gave a time never needs another clock.
    """
    events = [
        _stamped(2, 1.5, _bpm(101), offset_s=None),
        _stamped(3, 2.5, _bpm(102)),
        _stamped(4, 3.5, _bpm(103), offset_s=None, sensor=3),
    ]
    plan, end_ns = _node_plan(), 10 * NS_PER_S
    unknown = session_data(plan, events, end_ns)
    assert [one.unplaced for one in unknown.tests] == [1, 0]
    assert (unknown.sensors[2].t_ns / NS_PER_S).tolist() == [2, 2.5]
    found = session_data(plan, events, end_ns, EffectiveNotes(translations=KNOWN))
    assert found.sensors[2].unplaced == 0
    assert (found.sensors[2].t_ns / NS_PER_S).tolist() == [1.5, 2.5]


def test_a_marker_that_was_delivered_twice_is_one() -> None:
    """What a node sends again, when it was set; two that the tester set are two."""
    stamp = Stamp(902 * NS_PER_S, NODE_CLOCK, -900 * NS_PER_S)
    sent = Event(3 * NS_PER_S, SESSION, MARKER, b"warm", stamp)
    events = [sent, sent._replace(t_ns=4 * NS_PER_S), Event(5 * NS_PER_S, SESSION, MARKER, b"warm")]
    data = session_data(_node_plan(), events, 10 * NS_PER_S)
    assert data.markers == ((2 * NS_PER_S, "warm"), (5 * NS_PER_S, "warm"))
    assert data.markers == data.recorded


def test_only_a_test_sensor_has_doubtful_readings() -> None:
    """The reference has rules of its own."""
    leap = [Event(k * NS_PER_S, n, HEART_RATE, _bpm(100 + 50 * k)) for k in (1, 2) for n in (1, 2)]
    data = session_data(_node_plan(), leap, 10 * NS_PER_S)
    assert data.sensors[2].doubtful_ns.tolist() == [2 * NS_PER_S]
    assert data.sensors[1].doubtful_ns.tolist() == []
