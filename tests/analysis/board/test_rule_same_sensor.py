"""Two places in the plan for one sensor: each limit on both sides."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from analysis.board.rules.base import BAD, GOOD, UNSURE, Verdict
from analysis.board.rules.same_sensor import SameSensor
from analysis.board.rules.sightings import Sightings
from analysis.board.rules.streams import Stream
from analysis.board.session_state import SessionState
from replay import event as ev
from replay.event import NS_PER_S, Event
from replay.payloads import HeartRate
from tests.standins.session_events import hear, plan_of

Shown = int | None
"""The bpm of a second, or that nothing came."""


class _Pair:
    """The rule on the third sensor beside the second, each with one reading a second."""

    def __init__(self, apart_s: float = 0.004, rr: tuple[int, ...] = ()) -> None:
        self.session = SessionState(plan_of())
        self.other, self.own = self.session.tests
        streams = Stream(self.other), Stream(self.own)
        self.rule = SameSensor(
            self.session, self.own, streams[1], streams[:1], sightings=Sightings(streams)
        )
        self.apart_ns = round(apart_s * NS_PER_S)
        self.rr = rr
        self.second = 0

    def see(self, own: Iterable[Shown], other: Iterable[Shown]) -> list[Verdict]:
        """Verdicts on these seconds."""
        said = []
        for ours, theirs in zip(own, other, strict=True):
            at_ns = self.second * NS_PER_S + NS_PER_S // 4
            hear(self.other, self._sent(at_ns, theirs))
            hear(self.own, self._sent(at_ns + self.apart_ns, ours))
            self.session.second = self.second
            said.append(self.rule.step(self.second))
            self.second += 1
        return said

    def _sent(self, at_ns: int, bpm: Shown) -> list[tuple[int, HeartRate]]:
        return [] if bpm is None else [(at_ns, HeartRate(mbpm=1000 * bpm, rr=self.rr))]

    def alike(self, seconds: int) -> list[Verdict]:
        """Both show the same, another bpm each second."""
        bpm = [100 + (self.second + k) % 50 for k in range(seconds)]
        return self.see(bpm, bpm)


@pytest.mark.parametrize(("rr", "readings"), [((), 15), ((500,), 8)])
def test_it_takes_so_many_equal_readings(rr, readings) -> None:
    """Fifteen by bpm alone; eight with RR, which two sensors do not send alike to the tick."""
    assert _Pair(rr=rr).alike(20).index(BAD) + 1 == readings


@pytest.mark.parametrize(("apart_s", "told"), [(0.09, True), (-0.09, True), (0.11, False)])
def test_equal_readings_count_at_one_moment_alone(apart_s, told) -> None:
    """Two subscriptions deliver within some ms; a tenth of a second is the most."""
    assert (BAD in _Pair(apart_s).alike(40)) is told


@pytest.mark.parametrize(("changes", "told"), [(4, False), (5, True)])
def test_readings_of_a_steady_heart_say_nothing(changes, told) -> None:
    """Five of them must have been new, the first among them."""
    steady = [100] * 20
    moving = [*steady, *(100 + k for k in range(1, changes)), *[99 + changes] * 10]
    assert (BAD in _Pair().see(moving, moving)) is told


@pytest.mark.parametrize(("lost", "told"), [(3, True), (4, False)])
def test_three_lost_on_the_way_say_nothing(lost, told) -> None:
    """Four in a row, and it begins anew."""
    pair = _Pair()
    pair.alike(10)
    pair.see(range(60, 60 + lost), [None] * lost)
    assert (BAD in pair.alike(5)) is told


@pytest.mark.parametrize(("lost", "more"), [(2, 11), (3, 11), (4, 15)])
def test_equal_readings_from_before_a_shared_change_count(lost, more) -> None:
    """It came to the value of the other later: what was equal since, but for three that were lost,
    is counted once both come to another value together.
    """
    pair = _Pair()
    pair.see([None] * 3 + [150] * 4, [150] * 7)
    pair.see([150] * lost, [None] * lost)
    assert pair.alike(20).index(BAD) + 1 == more


@pytest.mark.parametrize(("seconds", "until"), [(1, 5), (5, 5), (6, 10), (9, 10)])
def test_one_of_its_own_is_asked_every_five_seconds(seconds, until) -> None:
    """Whenever it was asked last: what the sensors say of themselves is looked at then."""
    pair = _Pair()
    pair.see(range(60, 60 + seconds), range(160, 160 + seconds))
    assert pair.rule.quiet_until == until


@pytest.mark.parametrize(("unlike", "stands"), [(2, True), (3, False)])
def test_three_unlike_readings_end_it(unlike, stands) -> None:
    """One that came together with the next, and that one, do not."""
    pair = _Pair()
    pair.alike(20)
    said = pair.see(range(60, 60 + unlike), range(160, 160 + unlike))
    assert (said[-1] is BAD) is stands
    if not stands:
        assert pair.rule.cleared() == "Their readings differ again."
        assert pair.alike(20).index(BAD) == 14


@pytest.mark.parametrize(("alone", "stands"), [(29, True), (30, False)])
def test_half_a_minute_without_the_other_ends_it(alone, stands) -> None:
    """It has sent nothing at any of the moments."""
    pair = _Pair()
    pair.alike(20)
    said = pair.see([60 + k % 40 for k in range(alone)], [None] * alone)
    assert (said[-1] is BAD) is stands


def test_without_a_reading_of_its_own_nothing_can_be_said() -> None:
    """And while it differs it is its own."""
    pair = _Pair()
    assert pair.see([None] * 3, [100, 101, 102]) == [UNSURE] * 3
    assert pair.see([90, 91, 92], [100, 101, 102]) == [GOOD] * 3


def test_it_says_since_when_and_by_what() -> None:
    """From the first equal reading on; the count goes on while it stands."""
    pair = _Pair()
    pair.see([90] * 5, [100] * 5)
    pair.alike(30)
    assert pair.rule.since() == 5
    told = pair.rule.explain()
    assert told.cause == (
        "Tansy and Sorrel are the same sensor: its last 15 readings were the same at the same "
        "moment."
    )
    assert (told.measures[0].value, told.measures[0].threshold) == (30, 15)


@pytest.mark.parametrize(
    ("serial", "model", "told"),
    [("ABC1", b"M", True), ("ABC", b"M", False), ("1111", b"M", False), ("ABC1", b"N", False)],
)
def test_a_serial_of_four_characters_tells(serial, model, told) -> None:
    """Of one maker and model; shorter ones, and one character over and over, are left empty."""
    pair = _Pair()
    for sensor, its_model in ((pair.other, b"M"), (pair.own, model)):
        for channel, text in ((ev.SERIAL, serial.encode()), (ev.MODEL, its_model)):
            sensor.take(0, Event(0, sensor.number, channel, text))
    assert (pair.see([None], [None]) == [BAD]) is told
    if told:
        assert pair.rule.explain().cause == (
            f"Tansy and Sorrel are the same sensor: both report the serial number {serial}."
        )
        assert pair.rule.since() == pair.session.second
