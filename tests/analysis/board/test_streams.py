"""What a sensor has sent lately."""

from __future__ import annotations

import pytest

from analysis.board.rules.streams import Stream
from analysis.board.rules.thresholds import RELAY
from analysis.board.session_state import SessionState
from replay.event import NS_PER_S
from replay.payloads import HeartRate
from tests.standins.session_events import hear, plan_of


def _streams() -> list[Stream]:
    return [Stream(sensor) for sensor in SessionState(plan_of()).sensors]


def _sent(at_s: float, bpm: int, *rr: int) -> tuple[int, HeartRate]:
    return round(at_s * NS_PER_S), HeartRate(mbpm=1000 * bpm, rr=rr)


@pytest.mark.parametrize("first", [0, 1, 7])
def test_each_second_is_taken_in_once(first) -> None:
    """Whichever is looked at first, and however often it is asked."""
    stream = _streams()[0]
    hear(stream.sensor, [_sent(first, 100, 600, 610), _sent(first + 0.5, 101, 590)])
    assert stream.look(first) is stream.look(first)
    assert (stream.new_readings, stream.new_beats) == (2, 3)
    assert list(stream.beats) == [600, 610, 590]
    assert [t_ns / NS_PER_S for t_ns in stream.beat_times] == [first, first, first + 0.5]
    hear(stream.sensor, [])
    stream.look(first + 1)
    assert (stream.new_readings, stream.new_beats, list(stream.new_changes)) == (0, 0, [])
    assert len(stream.readings) == 2


def test_changes_of_the_value_are_numbered() -> None:
    """A value that goes on, or that no heart has, is no change."""
    stream = _streams()[0]
    for second, bpm in enumerate((100, 100, 0, 100, 101, 100)):
        hear(stream.sensor, [_sent(second, bpm)])
        stream.look(second)
    assert [(t_ns // NS_PER_S, mbpm) for t_ns, mbpm, _ in stream.changes] == [
        (0, 100_000), (4, 101_000), (5, 100_000),
    ]  # fmt: skip
    assert stream.count == 3


def test_turns_and_leaps_are_more_telling_than_the_next_value_of_a_rise() -> None:
    """The first value is neither; what comes after it is the first turn."""
    stream = _streams()[0]
    for second, bpm in enumerate((100, 101, 102, 104, 103, 103, 101, 100)):
        hear(stream.sensor, [_sent(second, bpm)])
        stream.look(second)
    plain, leap, turn = RELAY.plain, RELAY.leap, RELAY.turn
    weights = [weight for _, _, weight in stream.changes]
    assert weights == [plain, turn, plain, leap, turn, leap, plain]


def test_a_thousandth_of_a_bpm_is_a_step() -> None:
    """A source that sends decimals turns by as little."""
    stream = _streams()[0]
    for second, mbpm in enumerate((100_000, 100_001, 100_002, 100_001)):
        hear(stream.sensor, [(second * NS_PER_S, HeartRate(mbpm=mbpm))])
        stream.look(second)
    weights = [weight for _, _, weight in stream.changes]
    assert weights == [RELAY.plain, RELAY.turn, RELAY.plain, RELAY.turn]


def test_the_places_of_beats_are_those_of_the_newest_in_each_unit() -> None:
    """In the unit of the beats a length may be two ticks off, in a slipped one a single tick."""
    stream = _streams()[0]
    for second, rr in enumerate(([500, 510], [520], [], [530])):
        reading = HeartRate(mbpm=120_000, rr=tuple(rr))
        hear(stream.sensor, [(second * NS_PER_S, reading)])
        stream.look(second)
        stream.places_of_beats(1.024)
    plain, slipped = stream.places_of_beats(1.0), stream.places_of_beats(1.024)
    assert (plain.width, slipped.width) == (4, 4)
    assert plain.equal([500, 530]) == [0b0001, 0b1000]
    assert plain.near([507, 508, 512, 513]) == [0, 0b0010, 0b0010, 0]
    assert slipped.near([520, 521, 523, 524]) == [0, 0b0010, 0b0010, 0]
    assert stream.places_of_beats(1.0) is plain
