"""The board takes every event of a capture and gives its facts back."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.board import Board, Marker
from analysis.board.sensor import SensorState
from analysis.statistics.agreement import Tolerance, sums_of
from analysis.statistics.pairing import NO_VALUE, grid_values
from replay import event as ev
from replay.event import Event, pack_int
from replay.link_state import LinkState
from replay.payloads import encode_heart_rate
from replay.plan import Plan, PlannedSensor

S = 1_000_000_000


def _plan() -> Plan:
    def sensor(label: str, role: str) -> PlannedSensor:
        return PlannedSensor(label=label, role=role, source="simulated", kind=role)

    return Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=(
            sensor("Yarrow", "reference"),
            sensor("Sorrel", "test"),
            sensor("Crank", "companion"),
        ),
    )


def _hr(t_s: float, sensor: int, bpm: int, **more: object) -> Event:
    return Event(round(t_s * S), sensor, ev.HEART_RATE, encode_heart_rate(bpm, **more))  # type: ignore[arg-type]


def test_second_closes_with_the_event_after_it() -> None:
    """A grid second takes what arrived up to it and closes with the first later event."""
    board = Board(_plan())
    board.feed(_hr(1.0, 1, 100))
    assert board.second == 0
    board.feed(_hr(1.0, 2, 104))
    board.feed(_hr(1.4, 1, 120))
    assert board.second == 1
    assert board.grid(1).tolist() == [NO_VALUE, 100_000]
    assert board.snapshot().sensors[1].difference_bpm == 4.0


def test_finish_closes_its_own_second() -> None:
    """Finishing closes the grid second it falls on; advancing to it does not."""
    board = Board(_plan())
    board.advance(3 * S)
    assert board.second == 2
    board.finish(3 * S)
    assert board.second == 3
    early = Board(_plan())
    early.finish(3 * S - 1)
    assert early.second == 2


def test_series_and_grid_follow_the_pairing_rule() -> None:
    """Series hold the valid readings; the grid equals the batch pairing of them."""
    board = Board(_plan())
    for k in range(40):
        board.feed(_hr(k + 0.3, 1, 0 if 10 <= k < 20 else 100 + k, contact=k < 30))
    board.finish(45 * S)
    times, values = board.series(1)
    assert len(times) == len(values) == 20
    assert board.grid(1).tolist() == grid_values(times, values, 46, 3 * S).tolist()
    with pytest.raises(ValueError, match="read-only"):
        values[0] = 1


def test_agreement_equals_the_batch_functions() -> None:
    """Each window's agreement equals the batch sums over the same grid seconds."""
    board = Board(_plan())
    for k in range(700):
        board.feed(_hr(k + 0.2, 1, 100 + (k * 7) % 60))
        if k % 50 < 44:
            board.feed(_hr(k + 0.6, 2, 98 + (k * 11) % 70))
    board.finish(700 * S)
    windows = board.snapshot().sensors[1].windows
    for name, seconds in (("1 min", 60), ("5 min", 300), ("session", 701)):
        batch = sums_of(board.grid(1)[-seconds:], board.grid(2)[-seconds:], Tolerance(5, 10))
        expected = batch.summary()
        got = windows[name]
        assert (got.pairs, got.bias_bpm, got.mae_bpm, got.within_tolerance_percent) == (
            expected.pairs, expected.bias_bpm, expected.mae_bpm, expected.within_tolerance_percent,
        )  # fmt: skip
        assert (got.pearson_r, got.r_caution) == (expected.pearson_r, expected.r_caution)


def test_gaps_and_coverage_count_grid_seconds() -> None:
    """Gaps are the stretches of grid seconds without a value, the first before any reading."""
    board = Board(_plan())
    for k in (*range(5, 20), *range(30, 41)):
        board.feed(_hr(k, 1, 100))
    board.finish(40 * S)
    status = board.snapshot().sensors[0]
    # 0–4 before the first reading; 23–29, since the reading of second 19 holds until 22.
    assert (status.gaps, status.gap_s) == (2, 12)
    assert status.coverage == (41 - 12) / 41


@pytest.mark.parametrize(
    ("channel", "payload"),
    [
        (ev.HEART_RATE, b""),
        (ev.HEART_RATE, b"\x01\x50"),
        (ev.MQTT_HEART_RATE, b"fast"),
        (ev.BATTERY, b"\xff"),
        (ev.CYCLING, b"\x02\x01"),
        (ev.LINK, b"somewhere"),
        (ev.SIGNAL, b""),
        (ev.SERIAL, b"\xff\xfe"),
        ("unheard of", b"\x01"),
    ],
)
def test_bad_payload_is_counted_on_its_sensor(channel: str, payload: bytes) -> None:
    """What a sensor sends and cannot be read is counted and changes nothing else."""
    board = Board(_plan())
    board.feed(_hr(0.5, 2, 90))
    board.feed(Event(S, 2, channel, payload))
    status = board.snapshot().sensors[1]
    assert (status.malformed, status.bpm, status.link) == (1, 90.0, LinkState.WAITING)


@pytest.mark.parametrize(
    ("sensor", "channel", "payload"),
    [
        (0, ev.JUMP, b"1"),
        (0, ev.HEART_RATE, b"\x00\x50"),
        (9, ev.HEART_RATE, b"\x00\x50"),
        (-1, "", b""),
    ],
)
def test_stray_events_are_taken_without_a_sound(sensor: int, channel: str, payload: bytes) -> None:
    """Unreadable session events and events of unknown sensors never raise."""
    board = Board(_plan())
    board.feed(Event(S, sensor, channel, payload))
    board.finish(2 * S)
    assert board.snapshot().second == 2


def test_session_facts_reach_the_snapshot() -> None:
    """Anchors, markers, link, battery, signal, texts, doubled and advice are shown."""
    board = Board(_plan())
    board.feed(Event(0, 0, ev.ANCHOR, pack_int(1_000 * S)))
    board.feed(Event(S, 0, ev.MARKER, "Step ½".encode()))
    board.feed(Event(S, 1, ev.LINK, b"lost"))
    board.feed(Event(S, 1, ev.ADVICE, b"Adapter full?"))
    board.feed(Event(S, 1, ev.BATTERY, b"\x2a"))
    board.feed(Event(S, 1, ev.SIGNAL, b"\xb0"))
    board.feed(Event(S, 1, ev.FIRMWARE, b"2.1\0"))
    board.feed(Event(S, 1, ev.DOUBLED, b"\x00\x50"))
    snapshot = board.snapshot(5 * S)
    yarrow = snapshot.sensors[0]
    assert snapshot.utc_ns == 1_005 * S
    assert board.markers == [Marker(S, "Step ½")]
    assert snapshot.markers == 1
    assert (yarrow.link, yarrow.advice) == (LinkState.LOST, "Adapter full?")
    assert (yarrow.battery_percent, yarrow.signal_dbm) == (42, -80)
    assert (yarrow.firmware, yarrow.doubled) == ("2.1", 1)
    board.feed(Event(6 * S, 1, ev.LINK, b"streaming"))
    assert board.snapshot().sensors[0].advice == ""


def test_rates_are_those_of_the_last_ten_seconds() -> None:
    """Rates count the last 10 s, or the time since the first notification if it is shorter."""
    board = Board(_plan())
    for k in range(40):
        board.feed(_hr(5 + k / 2, 1, 120, rr=[512] if k % 2 else []))
    yarrow = board.snapshot().sensors[0]
    assert (yarrow.rate_hz, yarrow.rr_per_s) == (2.0, 1.0)
    assert board.snapshot(board.snapshot().t_ns + 20 * S).sensors[0].rate_hz == 0.0


def test_event_from_before_is_taken_as_of_now() -> None:
    """An event stamped before the newest one neither raises nor reopens a closed second."""
    board = Board(_plan())
    board.feed(_hr(5.0, 1, 100))
    board.advance(8 * S)
    board.feed(_hr(4.0, 1, 130))
    board.finish(8 * S)
    assert board.grid(1).tolist()[7:] == [100_000, 130_000]
    assert np.all(np.diff(board.series(1)[0]) >= 0)


def test_an_indoor_bike_tells_its_cadence() -> None:
    """The cadence of a companion that sends Indoor Bike Data is there for the rules to read."""
    state = SensorState(3, PlannedSensor(label="Trainer", role="companion", name="Trainer"))
    state.take(S // 2, Event(S // 2, 3, ev.INDOOR_BIKE, bytes.fromhex("4400c409b500c800")))
    state.close_second(0)
    state.close_second(1)
    assert state.has_cadence
    assert state.cadences[1] == 90.5
    state.take(2 * S, Event(2 * S, 3, ev.INDOOR_BIKE, b"\x44"))
    assert (state.notifications, state.malformed) == (2, 1)


@pytest.mark.parametrize("silent", [1, 2])
def test_a_gap_shows_no_difference(silent: int) -> None:
    """From the second at which a value is too old on, of the sensor or of the reference, there is
    neither a difference nor a verdict on it; with the next reading both are back.
    """
    board = Board(_plan())
    both = [_hr(t + 0.1 * n, n, 100 + n) for t in range(4) for n in (1, 2)]
    gone = [_hr(t + 0.1, 3 - silent, 110) for t in range(4, 9)]
    back = [_hr(9 + 0.1 * n, n, 120 + n) for n in (1, 2)]
    shown = {}
    for event in [*both, *gone, *back]:
        board.feed(event)
        shown[board.second] = board.snapshot().sensors[1]
    board.finish(10 * S)
    shown[10] = board.snapshot().sensors[1]
    told = {second: one.difference_bpm for second, one in shown.items()}
    # 3 s old at 6:00 and a little, so that 6 is the last second that it is held for.
    sign = 1 if silent == 1 else -1
    assert told[3] == 1.0
    assert told[6] == sign * (110 - (101 if silent == 1 else 102))
    assert [told[7], told[8], told[9]] == [None] * 3
    assert told[10] == 1.0
    assert [one.within is None for one in shown.values()] == [d is None for d in told.values()]
