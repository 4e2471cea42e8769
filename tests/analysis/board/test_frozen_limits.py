"""The limits of a value that stands still, on both sides, second by second."""

from __future__ import annotations

import random
from dataclasses import dataclass

import pytest

from analysis.board.rules.delay_estimate import DelayEstimate
from analysis.board.rules.frozen import Frozen
from analysis.board.rules.repeats import Repeats
from analysis.board.rules.thresholds import FROZEN
from analysis.board.session_state import SessionState
from analysis.board.snapshot import Measure
from replay.payloads import HeartRate
from replay.plan import Plan
from tests.standins.session_events import plan_of, planned

PLAN = plan_of(planned("Yarrow", "reference"), planned("Sorrel"))
WITH_A_STRAP = plan_of(planned("Yarrow", "reference"), planned("Sorrel", kind="strap"))
OTHERS = 20
"""Seconds before the run begins in which it shows another value."""


@dataclass
class _Delay:
    """What is known of the delay, from the first second on."""

    known: DelayEstimate | None = None

    def estimate(self, _second: int) -> DelayEstimate | None:
        """The same at each second."""
        return self.known


def _known(delay_s: int, spread_mbpm: float = 0.0) -> _Delay:
    return _Delay(DelayEstimate(0, delay_s, spread_mbpm, 0.0, 0.0))


class _Watched:
    """The rule on a test sensor, told of one second after the other."""

    def __init__(self, delay: _Delay | None = None, plan: Plan = PLAN) -> None:
        self.session = SessionState(plan)
        self.rule = Frozen(self.session, self.session.tests[0], delay=delay or _Delay())
        self.second = -1

    def see(self, reference: float, shown: float | None, rr: tuple[int, ...] = ()) -> int:
        """Its verdict on a second with these bpm; ``shown``: ``None`` for no notification."""
        self.second = self.session.second = self.second + 1
        test = self.session.tests[0]
        self.session.reference.held.append(round(1000 * reference))
        value = test.held[-1] if shown is None and test.held else round(1000 * (shown or 0))
        test.held.append(value)
        test.fresh = [] if shown is None else [(0, HeartRate(mbpm=value, rr=rr))]
        return int(self.rule.step(self.second))

    def measure(self, name: str) -> Measure:
        """One of those by which it would explain itself now."""
        (one,) = (one for one in self.rule.explain().measures if one.name == name)
        return one

    def runs(self, *lengths: int) -> None:
        """Runs of one value each of so many readings, beside a steady heart."""
        for number, length in enumerate(lengths):
            for _ in range(length):
                self.see(100, 120 + number % 2)


@pytest.mark.parametrize(
    ("lengths", "usual"),
    [
        ([2] * 39 + [20], 3),  # one in forty is no habit
        ([2] * 19 + [20], 30),  # one in twenty is
        ([10] * 20, 15),
        ([50] * 20, 60),
        ([30] * 6 + [2] * 54, 45),
        ([30] * 6 + [2] * 58, 3),  # of sixty runs
    ],
)
def test_a_usual_run_is_half_as_long_again_as_its_longer_ones(lengths, usual) -> None:
    """By the 95th of a hundred of the last sixty, and sixty readings at most."""
    watched = _Watched()
    watched.runs(*lengths, 1)
    assert watched.measure("longest usual run of readings").value == usual


@pytest.mark.parametrize(("silent_s", "begun"), [(59, 0), (60, 61)])
def test_a_silence_of_a_minute_is_no_part_of_a_run(silent_s, begun) -> None:
    """After a longer one it may have been put on anew."""
    watched = _Watched()
    watched.see(100, 120)
    for _ in range(silent_s):
        watched.see(100, None)
    watched.see(100, 120)
    assert watched.rule.since() == begun


@pytest.mark.parametrize(
    ("readings", "needed_bpm"), [(10, 8.0), (13, 7.4), (20, 6.0), (25, 5.0), (60, 5.0)]
)
def test_the_longer_it_stands_still_the_less_must_others_have_moved(readings, needed_bpm) -> None:
    """From 8 bpm at ten readings down to 5 at twenty-five."""
    # A leap counts once it has happened under a delay of six seconds, too: at the last reading.
    watched, leaps_at = _Watched(_known(0)), readings - 7
    watched.runs(*[1] * 15)
    said = [watched.see(100 if at < leaps_at else 200, 130) for at in range(readings)]
    assert said.index(1) == readings - 1
    assert watched.measure("movement of the others").threshold == pytest.approx(needed_bpm)


def _told_after_a_step(delay: _Delay) -> int:
    """How long after a step of the reference by 20 bpm a value that stands still is accused."""
    watched = _Watched(delay)
    for _ in range(OTHERS):
        watched.see(100, 101)
    for second in range(120):
        if watched.see(100 if second < 60 else 120, 100) == 1:
            return second - 60
    return -1


@pytest.mark.parametrize(
    ("delay", "told_s"),
    [
        # The mean of ten seconds has moved by 5 bpm in the third, by 8 in the fourth.
        (_known(10), 10 + 6 + 2),
        (_known(3), 3 + 6 + 2),
        (_known(10, spread_mbpm=4000), 10 + 6 + 3),
        (_known(10, spread_mbpm=2500), 10 + 6 + 2),
        (_Delay(), 20 + 2),
    ],
)
def test_others_must_have_moved_under_every_delay_it_may_have(delay, told_s) -> None:
    """Six seconds more than the known one, twenty where none is known; and by twice the spread with
    which it follows.
    """
    assert _told_after_a_step(delay) == told_s


@pytest.mark.parametrize(("runs", "readings", "breaks"), [
    (19, 12, False), (20, 11, False), (20, 12, True),
])  # fmt: skip
def test_a_habit_of_changing_is_broken_by_a_run_of_four_usual_ones(runs, readings, breaks) -> None:
    """Which it has after twenty changes; then a heart that has only just moved accuses it."""
    watched, said = _Watched(), []
    for number, length in enumerate([*[2] * runs, readings]):
        for at in range(length):
            moved = 60 if number == runs and at >= readings - 3 else 0
            said.append(watched.see(100 + moved + at % 2, 120 + number % 2))
    assert watched.measure("longest usual run of readings").value == 3
    assert 1 not in said[:-1]
    assert (said[-1] == 1) is breaks


@pytest.mark.parametrize(("still_s", "told_s"), [(0, 11), (6, 15), (10, 23)])
def test_a_late_sensor_may_stand_still_where_the_heart_did(still_s, told_s) -> None:
    """A run that breaks the habit, by its twelfth reading, is told once it is over twice as long
    as the heart has just stood still: for one second more than it did not rise.
    """
    watched = _Watched()
    rising = 0.0
    for second in range(60):
        if second < 60 - still_s:
            rising += 1
        watched.see(100 + rising, 100 + second // 2 % 2)
    first = watched.second + 1
    for second in range(40):
        if watched.see(100 + rising + second + 1, 150) == 1:
            assert second == told_s
            assert watched.rule.since() == first
            return
    pytest.fail("it is not told")


TICKS_140 = 439
"""The RR of 140 bpm, 1/1024 s."""


def _own_rr(ticks: int, plan: Plan = PLAN) -> list[int]:
    """Verdicts on 140 bpm whose RR go from its own to these, beside a steady heart."""
    watched, source = _Watched(plan=plan), random.Random(1)

    def see(middle: int) -> int:
        return watched.see(140, 140, tuple(middle + source.randint(-9, 9) for _ in range(2)))

    for _ in range(15):
        see(TICKS_140)
    return [see(ticks) for _ in range(30)]


@pytest.mark.parametrize(("ticks", "told"), [(426, False), (417, True), (453, False), (465, True)])
def test_a_value_that_its_own_rr_leave_by_more_than_5_bpm_is_frozen(ticks, told) -> None:
    """144 and 136 bpm are within what they wander by, 147 and 132 are not."""
    assert (1 in _own_rr(ticks)) is told


@pytest.mark.parametrize(("plan", "told_at"), [(WITH_A_STRAP, 6), (PLAN, 16)])
def test_for_how_long_its_own_rr_must_say_so(plan, told_at) -> None:
    """The median of ten seconds is of the new rate in the sixth; one more keeps a beat out of
    a strap's, eleven more are the delay of an optical sensor's bpm.
    """
    assert _own_rr(400, plan).index(1) == told_at


@pytest.mark.parametrize(
    ("beats_at", "is_a_rate"),
    [
        ([0, 1, 2, 3, 4], False),
        ([0, 1, 2, 3, 4, 5], True),
        ([0, 2, 4, 6, 8, 9], True),
        ([0, 2, 4, 6, 8, 10], False),
        ([0, 1, 2, 3, 4, 5, 12], False),
    ],
)
def test_fewer_than_six_beats_within_ten_seconds_are_no_rate(beats_at, is_a_rate) -> None:
    """Six that say what it shows make it good to stand still; else nothing is known of it."""
    watched, said = _Watched(), 0
    for at in range(-10, beats_at[-1] + 1):
        said = watched.see(140, 140, (TICKS_140 + at,) if at in beats_at else ())
    assert said == (-1 if is_a_rate else 0)


def test_how_many_rr_must_repeat() -> None:
    """Twelve, sixteen where it is one interval; more where two of three are equal by its habit: as
    many as make it one in a million.
    """
    varying, constant, habit = Repeats(FROZEN), Repeats(FROZEN), Repeats(FROZEN)
    varying.take([430, 440, 450, 460])
    assert varying.needed == 12
    constant.take([430] * 4)
    assert constant.needed == 16
    for number in range(100):  # no stretch of six repeats, and 33 of 48 comparisons are equal
        habit.take([*[430] * 5, 500 + number])
    assert habit.needed == 42


def test_many_readings_within_eight_seconds_are_not_frozen() -> None:
    """A heart at a steady pace shows one whole bpm for seconds, however often it is sent."""
    watched = _Watched()
    watched.runs(*[1] * 20)
    test, said = watched.session.tests[0], []
    for second in range(20, 35):
        watched.session.second = second
        watched.session.reference.held.append(100_000)
        test.held.append(130_000)
        test.fresh = [(0, HeartRate(mbpm=130_000, rr=(439,)))] * 4
        said.append(int(watched.rule.step(second)))
    assert said.index(1) == 8
