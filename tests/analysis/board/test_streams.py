"""What a sensor has sent lately, and which have sent the same at about the same moment."""

from __future__ import annotations

import pytest

from analysis.board.rules.streams import Coincidences, Stream
from analysis.board.session_state import SessionState
from replay.event import NS_PER_S
from replay.payloads import HeartRate
from tests.standins.session_events import plan_of


def _streams() -> list[Stream]:
    return [Stream(sensor) for sensor in SessionState(plan_of()).sensors]


def _sent(at_s: float, bpm: int, *rr: int) -> tuple[int, HeartRate]:
    return round(at_s * NS_PER_S), HeartRate(mbpm=1000 * bpm, rr=rr)


@pytest.mark.parametrize("first", [0, 1, 7])
def test_each_second_is_taken_in_once(first) -> None:
    """Whichever is looked at first, and however often it is asked."""
    stream = _streams()[0]
    stream.sensor.fresh = [_sent(first, 100, 600, 610), _sent(first + 0.5, 101, 590)]
    assert stream.look(first) is stream.look(first)
    assert (stream.new_readings, stream.new_beats) == (2, 3)
    assert list(stream.beats) == [600, 610, 590]
    assert [t_ns / NS_PER_S for t_ns in stream.beat_times] == [first, first, first + 0.5]
    stream.sensor.fresh = []
    stream.look(first + 1)
    assert (stream.new_readings, stream.new_beats, list(stream.new_changes)) == (0, 0, [])
    assert len(stream.readings) == 2


def test_changes_of_the_value_are_numbered() -> None:
    """A value that goes on, or that no heart has, is no change."""
    stream = _streams()[0]
    for second, bpm in enumerate((100, 100, 0, 100, 101, 100)):
        stream.sensor.fresh = [_sent(second, bpm)]
        stream.look(second)
    assert [(t_ns // NS_PER_S, mbpm) for t_ns, mbpm in stream.changes] == [
        (0, 100_000), (4, 101_000), (5, 100_000),
    ]  # fmt: skip
    numbered = {mbpm: [count for _, count in shown] for mbpm, shown in stream.shown.items()}
    assert numbered == {100_000: [1, 3], 101_000: [2]}


@pytest.mark.parametrize(
    ("second", "at_s", "alike"),
    [(0, (0.2, 0.25), True), (1, (1.2, 1.25), True), (5, (5.2, 5.35), False)],
)
def test_the_same_bpm_within_a_tenth_of_a_second_is_a_coincidence(second, at_s, alike) -> None:
    """Of two; a third that shows another value is none."""
    streams = _streams()
    coincidences = Coincidences(streams, NS_PER_S // 10)
    for stream, when, bpm in zip(streams, (*at_s, at_s[0]), (100, 100, 105), strict=True):
        stream.sensor.fresh = [_sent(when, bpm)]
    expected = set(streams[:2]) if alike else set()
    assert coincidences.look(second) == expected
    assert coincidences.look(second) == expected


def test_a_coincidence_may_lie_across_two_seconds() -> None:
    """One just before, the other just after the second was closed; no longer in the next."""
    one, two, other = streams = _streams()
    coincidences = Coincidences(streams, NS_PER_S // 10)
    one.sensor.fresh = [_sent(3.97, 100)]
    assert coincidences.look(4) == set()
    one.sensor.fresh, two.sensor.fresh = [], [_sent(4.02, 100)]
    assert coincidences.look(5) == {one, two}
    two.sensor.fresh, other.sensor.fresh = [], [_sent(4.05, 100)]
    assert coincidences.look(7) == {two, other}
    other.sensor.fresh = []
    assert coincidences.look(8) == set()
