"""Which sensors come to the same values: against holding each change against each."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.board.rules.echo import Echo
from analysis.board.rules.sightings import Sightings
from analysis.board.rules.streams import Stream
from analysis.board.rules.thresholds import RELAY, SAME_SENSOR
from analysis.board.session_state import SessionState
from replay.event import NS_PER_S
from replay.payloads import HeartRate
from tests.standins.session_events import hear, plan_of

MOMENT_NS = round(SAME_SENSOR.window_s * NS_PER_S)


def _streams() -> list[Stream]:
    return [Stream(sensor) for sensor in SessionState(plan_of()).sensors]


def _sent(at_s: float, bpm: int) -> tuple[int, HeartRate]:
    return round(at_s * NS_PER_S), HeartRate(mbpm=1000 * bpm)


def _together(sightings: Sightings, streams: list[Stream]) -> set[tuple[int, int]]:
    return {
        (place, other)
        for place, stream in enumerate(streams)
        for other, theirs in enumerate(streams)
        if theirs in sightings.together(stream)
    }


@pytest.mark.parametrize(
    ("second", "at_s", "alike"),
    [(0, (0.2, 0.25), True), (1, (1.2, 1.25), True), (5, (5.2, 5.35), False)],
)
def test_the_same_bpm_within_a_tenth_of_a_second_is_a_coincidence(second, at_s, alike) -> None:
    """Of two; a third that comes to another value is in none."""
    streams = _streams()
    sightings = Sightings(streams)
    for stream, when, bpm in zip(streams, (*at_s, at_s[0]), (100, 100, 105), strict=True):
        hear(stream.sensor, [_sent(when, bpm)])
    for _ in range(2):
        sightings.look(second)
        assert _together(sightings, streams) == ({(0, 1), (1, 0)} if alike else set())


def test_a_coincidence_may_lie_across_two_seconds() -> None:
    """One just before, the other just after the second was closed; no longer in the next."""
    one, two, other = streams = _streams()
    sightings = Sightings(streams)
    found = []
    for second, stream, at_s in ((4, one, 3.97), (5, two, 4.02), (7, other, 4.05), (8, one, 7.5)):
        for each in streams:
            hear(each.sensor, [])
        hear(stream.sensor, [_sent(at_s, 101 if second == 8 else 100)])
        sightings.look(second)
        found.append(_together(sightings, streams))
    assert found[:2] == [set(), {(0, 1), (1, 0)}]
    assert found[2] == {(0, 2), (2, 0), (1, 2), (2, 1)}  # .08 s after the first
    assert found[3] == set()


def _drawn(count: int, seed: int) -> list[tuple[int, int, int, int]]:
    """Of each second: how the first moves, whether the second shows a value of its own, how late it
    is, and what the third shows.  Sessions differ in how faithful the second is: to all that the
    first shows, by one lag, or hardly.  From a seed, as drawing each number would cost most.
    """
    chance = Random(seed)
    own, wavers, late = (
        chance.choice([0, 0.05, 0.25]),
        chance.choice([0, 0.2, 1]),
        chance.randrange(5),
    )
    return [
        (
            chance.randrange(10),
            int(chance.random() < own),
            chance.randrange(5) if chance.random() < wavers else late,
            chance.randint(98, 102),
        )
        for _ in range(count)
    ]


_seconds = st.builds(_drawn, st.integers(20, 60), st.integers(0, 2**32))


def _played(drawn: list[tuple[int, int, int, int]], streams: list[Stream]) -> Iterator[int]:
    """A first that wanders, a second that repeats most of it up to 4 s later, a third by itself."""
    bpm, waiting = 100, dict[int, int]()
    for second, (move, is_foreign, late_s, third) in enumerate(drawn, 1):
        bpm = min(max(bpm + (-2, -1, -1, 0, 0, 1, 1, 1, 2, 3)[move], 90), 110)
        waiting[second + late_s // 2] = 80 + move if is_foreign else bpm
        for stream, at_s, value in zip(
            streams, (0.6, 0.3, 0.25), (bpm, waiting.pop(second, None), third), strict=True
        ):
            sent = [] if value is None else [_sent(second - at_s, value)]
            hear(stream.sensor, sent)
        yield second


@given(_seconds)
def test_nobody_with_enough_evidence_is_passed_over(drawn) -> None:
    """Each echo is followed from the start here: where a change makes or leaves it sure, the quick
    look says so, too.  A value of its own makes nobody sure who was not before.
    """
    streams = _streams()
    sightings = Sightings(streams)
    pairs = [(own, Echo(other, RELAY)) for own in streams for other in streams if other is not own]
    for second in _played(drawn, streams):
        sightings.look(second)
        for own, echo in pairs:
            for change in own.new_changes:
                before = echo.score
                echo.take(change)
                if echo.score >= max(before, RELAY.raise_at):
                    assert echo.source in sightings.echoed(own)


@given(_seconds)
def test_together_are_those_who_came_to_a_value_within_the_window(drawn) -> None:
    """One of two equal changes is of this second, the other the newest to that value."""
    streams = _streams()
    sightings = Sightings(streams)
    newest: list[dict[int, int]] = [{} for _ in streams]
    for second in _played(drawn, streams):
        sightings.look(second)
        now = [(at, *change) for at, stream in enumerate(streams) for change in stream.new_changes]
        for place, t_ns, mbpm, _ in now:
            newest[place][mbpm] = t_ns
        expected = {
            pair
            for place, t_ns, mbpm, _ in now
            for other in range(len(streams))
            if other != place
            and abs(newest[other].get(mbpm, -NS_PER_S) - t_ns) <= MOMENT_NS
            for pair in ((place, other), (other, place))
        }  # fmt: skip
        assert _together(sightings, streams) == expected


def _suspected(lag_s: float, seconds: int, own_ones: range = range(0)) -> list[bool]:
    """Whether one may repeat the other after each second: turns alone, each value of the other
    shown once, with values of its own at these seconds.
    """
    other, own, _ = streams = _streams()
    sightings = Sightings(streams)
    shown = [(60 if at % 2 else 140) + at for at in range(seconds)]
    suspect = []
    for second in range(seconds):
        hear(other.sensor, [_sent(second, shown[second])])
        at = round(second - lag_s - 0.4)
        mine = 220 - second % 2 if second in own_ones else shown[at] if at >= 0 else None
        hear(own.sensor, [] if mine is None else [_sent(at + lag_s, mine)])
        sightings.look(second)
        suspect.append(other in sightings.echoed(own))
    return suspect


@pytest.mark.parametrize("lag_s", [0.5, 6.0])
def test_a_repeater_is_suspect_once_there_can_be_evidence_enough(lag_s) -> None:
    """Its first change is no turn (.12); then 9 turns at .8 each, and not 8."""
    first = round(lag_s + 0.4)
    assert _suspected(lag_s, 30) == [second >= first + 9 for second in range(30)]


def test_evidence_has_an_end_from_which_three_values_of_its_own_take_enough() -> None:
    """14 − 9 and one turn more are not 7; from there it takes two further turns."""
    suspect = _suspected(0.5, 40, range(30, 33))
    assert suspect[29]
    assert suspect[30:36] == [False] * 5 + [True]


def test_values_that_were_shown_long_ago_are_forgotten() -> None:
    """A source that sends decimals comes to a new value with each reading."""
    streams = _streams()
    sightings = Sightings(streams)
    for second in range(5000):
        hear(streams[0].sensor, [(second * NS_PER_S, HeartRate(mbpm=60_000 + second))])
        sightings.look(second)
    hear(streams[0].sensor, [])
    hear(streams[1].sensor, [(5000 * NS_PER_S, HeartRate(mbpm=64_999))])
    sightings.look(5000)
    assert _together(sightings, streams) == set()
    hear(streams[1].sensor, [(5001 * NS_PER_S, HeartRate(mbpm=64_998))])
    hear(streams[2].sensor, [(5001 * NS_PER_S, HeartRate(mbpm=64_998))])
    sightings.look(5001)
    assert _together(sightings, streams) == {(1, 2), (2, 1)}


def test_what_was_shown_of_late_is_kept_when_the_rest_is_forgotten() -> None:
    """Whenever that is."""
    one, two, _ = streams = _streams()
    sightings = Sightings(streams)
    for second in range(4200):
        at_ns = second * NS_PER_S
        hear(one.sensor, [(at_ns, HeartRate(mbpm=60_000 + second))])
        hear(two.sensor, [(at_ns - NS_PER_S + MOMENT_NS, HeartRate(mbpm=59_999 + second))])
        sightings.look(second)
        assert _together(sightings, streams) == ({(0, 1), (1, 0)} if second else set())
