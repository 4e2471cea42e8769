"""The limits of a sensor that repeats another, on both sides."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from analysis.board.rules.relay import Relay
from analysis.board.rules.sightings import Sightings
from analysis.board.rules.streams import Stream
from analysis.board.session_state import SessionState
from replay.event import NS_PER_S
from replay.payloads import HeartRate
from tests.standins.session_events import hear, plan_of

UNSTEADY = random.Random(8).choices(range(300, 1500), k=400)
"""RR of which hardly two are alike by chance, 1/1024 s."""

Change = Callable[[int, int], int]
"""What a repeater makes of the beat of this number."""


class _Pair:
    """The rule on one sensor beside another, each with one beat a second; ours ``lag_s`` later."""

    def __init__(self, own: int = 2, other: int = 1, lag_s: float = 0.5) -> None:
        self.lag_ns = round(lag_s * NS_PER_S)
        self.session = SessionState(plan_of())
        self.own, self.other = (self.session.sensors[n - 1] for n in (own, other))
        self.streams = Stream(self.own), Stream(self.other)
        self.rule = Relay(
            self.session,
            self.own,
            self.streams[0],
            self.streams[1:],
            sightings=Sightings(self.streams),
        )
        self.second = -1

    def wait(self, seconds: int) -> None:
        """So many seconds without a beat of either."""
        for _ in range(seconds):
            self.second += 1
            hear(self.own, [])
            hear(self.other, [])
            self.rule.step(self.second)

    def see(self, change: Change, seconds: int) -> list[int]:
        """Verdicts on so many seconds."""
        said = []
        for _ in range(seconds):
            self.second += 1
            beat = UNSTEADY[self.second]
            at_ns = self.second * NS_PER_S + NS_PER_S * 2 // 5
            hear(self.other, [(at_ns, HeartRate(mbpm=100_000, rr=(beat,)))])
            ours = HeartRate(mbpm=90_000, rr=(change(self.second, beat),))
            hear(self.own, [(at_ns + self.lag_ns, ours)])
            said.append(int(self.rule.step(self.second)))
        return said


def _same(_: int, beat: int) -> int:
    return beat


def _foreign(share_of_ten: int) -> Change:
    """So many in ten beats, in a row, are its own."""
    return lambda number, beat: beat + 100 + number if number % 10 < share_of_ten else beat


def _off(ticks: int, share_of_twenty: int, foreign: int = 0) -> Change:
    """So many in twenty beats are off by some ticks, others foreign."""

    def change(number: int, beat: int) -> int:
        place = number * 7 % 20
        if place < share_of_twenty:
            return beat + ticks
        return beat + 100 + number if place >= 20 - foreign else beat

    return change


@pytest.mark.parametrize(("without_s", "beats"), [(0, 21), (1, 20), (2, 24)])
def test_twenty_equal_beats_are_asked_for_every_five_seconds(without_s, beats) -> None:
    """From the first beat on: with one a second there are 21 when it is asked the fifth time, or 20
    where one is missing, which suffices.
    """
    pair = _Pair()
    pair.see(_same, 7)
    pair.wait(without_s)
    assert 7 + pair.see(_same, 40).index(1) + 1 == beats


@pytest.mark.parametrize(("foreign", "stands"), [(5, True), (7, False)])
def test_what_is_told_stands_while_four_in_ten_are_the_same(foreign, stands) -> None:
    """Of the newest forty, until there were fewer for half a minute."""
    pair = _Pair()
    pair.see(_same, 60)
    assert (pair.see(_foreign(foreign), 120)[-1] == 1) is stands


def test_a_relay_that_ends_is_told_of_for_half_a_minute_more() -> None:
    """Counted from when too few of the newest forty beats are the same, which takes 20 to 25 s."""
    pair = _Pair()
    pair.see(_same, 60)
    stood_s = pair.see(_foreign(10), 120).index(-1)
    assert 20 + 30 <= stood_s <= 25 + 30


@pytest.mark.parametrize(("off", "found", "stands"), [
    (3, True, True), (5, False, True), (7, False, True), (9, False, False),
])  # fmt: skip
def test_most_must_be_the_same_to_the_tick(off, found, stands) -> None:
    """Eight in ten to be told, six to stand: two straps on one heart agree in every other."""
    assert (1 in _Pair().see(_off(1, off), 80)) is found
    pair = _Pair()
    pair.see(_same, 60)
    assert (pair.see(_off(1, off), 120)[-1] == 1) is stands


@pytest.mark.parametrize(("ticks", "found"), [(2, True), (-2, True), (3, False)])
def test_rounding_moves_a_beat_by_two_ticks(ticks, found) -> None:
    """Such a beat is the same still, where too few are otherwise."""
    assert (1 in _Pair().see(_off(ticks, 3, foreign=2), 120)) is found


@pytest.mark.parametrize(("ticks", "found"), [(0, True), (1, True), (2, False)])
def test_a_unit_that_slipped_rounds_once(ticks, found) -> None:
    """Half of the beats may be off by a tick then."""
    in_ms = lambda number, beat: round(beat * 1000 / 1024) + ticks * (number % 2)  # noqa: E731
    assert (1 in _Pair().see(in_ms, 80)) is found


def test_beats_of_ninety_six_are_kept() -> None:
    """The newest forty, with room for what a relay holds back."""
    pair = _Pair()
    pair.see(_same, 150)
    assert [len(stream.beats) for stream in pair.streams] == [96, 96]


@pytest.mark.parametrize(("lag_s", "later"), [(0.29, False), (0.31, True)])
def test_a_reference_is_the_repeater_only_if_clearly_later(lag_s, later) -> None:
    """By 0.3 s; a test sensor that is earlier by less is the repeater all the same."""
    reference = _Pair(own=1, other=2, lag_s=lag_s).see(_same, 40)
    test = _Pair(own=2, other=1, lag_s=-lag_s).see(_same, 40)
    assert (1 in reference) is later
    assert (1 in test) is not later


@pytest.mark.parametrize(("lag_s", "first", "second"), [
    (0.09, False, True), (-0.09, False, True), (0.11, True, True), (-0.11, False, False),
])  # fmt: skip
def test_of_two_test_sensors_at_one_moment_the_later_in_the_plan_repeats(
    lag_s, first, second
) -> None:
    """Within a tenth of a second; else the one that is later."""
    assert (1 in _Pair(own=2, other=3, lag_s=lag_s).see(_same, 40)) is first
    assert (1 in _Pair(own=3, other=2, lag_s=lag_s).see(_same, 40)) is second
