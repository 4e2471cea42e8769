"""When a test sensor is off by more than a delay or a blunted peak can explain."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from analysis.board.rules.delay_estimate import DelayEstimate
from analysis.board.rules.deviation import Deviation
from analysis.board.session_state import SessionState
from analysis.statistics.pairing import NO_VALUE
from tests.standins.session_events import plan_of, planned

PLAN = plan_of(planned("Yarrow", "reference"), planned("Sorrel"))
STRICT = replace(PLAN, tolerance_bpm=3, tolerance_percent=3)


@dataclass
class _Delay:
    """An estimator that knows this delay, or none."""

    known_s: int | None = None
    due: int = 0
    newest: DelayEstimate | None = None

    def estimate(self, second: int) -> DelayEstimate | None:
        """The same at each second."""
        if self.known_s is not None:
            self.newest = DelayEstimate(second, self.known_s, 0.0, 0.0, 0.0)
        return self.newest


def _looks(rows: list[tuple[float, float]], *, known_s: int | None = None, plan=PLAN):
    """The state at the last second, and at which of them the difference was unexplained."""
    session = SessionState(plan)
    deviation = Deviation(session, session.tests[0], _Delay(known_s))
    unexplained = []
    for second, row in enumerate(rows):
        for sensor, bpm in zip(session.sensors, row, strict=True):
            sensor.held.append(round(1000 * bpm))
        if deviation.look(second).unexplained:
            unexplained.append(second)
    return deviation, unexplained


@pytest.mark.parametrize(("known_s", "excused_s"), [(None, 25), (5, 11), (15, 21), (30, 25)])
def test_a_difference_is_unexplained_once_its_delay_has_passed(known_s, excused_s) -> None:
    """For 25 s while its own delay is not known, else for six more than that, at most as long."""
    rise = [(100 + 12 * k, 100) for k in range(1, 6)]
    _, unexplained = _looks([*[(100, 100)] * 40, *rise, *[(160, 100)] * 60], known_s=known_s)
    assert unexplained[0] - 39 == excused_s + 1


@pytest.mark.parametrize(("rise", "leapt"), [(12, False), (13, True), (-12, False), (-13, True)])
def test_more_than_twelve_bpm_in_a_second_is_a_leap_of_the_reference(rise, leapt) -> None:
    """Which no heart makes: nobody is expected to follow it, and the difference counts at once."""
    deviation, unexplained = _looks([*[(140, 140)] * 30, *[(140 + 3 * rise, 140)] * 5])
    assert deviation.reference_leapt
    assert unexplained[0] in (30, 31)
    deviation, _ = _looks([*[(140, 140)] * 30, (140 + rise, 180 if rise > 0 else 100)])
    assert deviation.reference_leapt is leapt


@pytest.mark.parametrize(
    ("gone", "follows"), [(13, False), (15, True), (25, True), (-15, False), (66, False)]
)
def test_a_sensor_that_has_gone_part_of_the_way_follows(gone, follows) -> None:
    """From a third of the way on, and not past the reference."""
    rise = [(100 + 10 * k, 100) for k in range(1, 4)]
    deviation, _ = _looks([*[(100, 100)] * 5, *rise, (140, 100 + gone)], plan=STRICT)
    assert deviation.follows is follows


@pytest.mark.parametrize(("moved", "follows"), [(9, False), (10, True)])
def test_the_reference_must_have_moved_by_ten(moved, follows) -> None:
    """Else it cannot be told whether a sensor follows."""
    deviation, _ = _looks([*[(100, 100)] * 5, (100 + moved, 105)], plan=STRICT)
    assert deviation.side == -1
    assert deviation.follows is follows


def test_within_the_tolerance_there_is_no_side() -> None:
    """Ten per cent of the reference, or 5 bpm where that is more."""
    assert _looks([(150, 165)])[0].side == 0
    assert _looks([(150, 166)])[0].side == 1
    assert _looks([(150, 134)])[0].side == -1
    assert _looks([(40, 45)])[0].side == 0
    assert _looks([(40, 46)])[0].side == 1


def test_a_leap_in_the_first_second_counts() -> None:
    """Also where the two have never agreed."""
    assert _looks([(100, 160), (140, 180)])[0].reference_leapt


def test_what_follows_is_held_against_the_way_since_a_leap() -> None:
    """The reference leapt by 40 bpm and then rose by 15: a sensor that rose by ten meanwhile goes
    with the heart.
    """
    rise = [(180, 140), (186, 144), (190, 147), (195, 150)]
    deviation, _ = _looks([*[(140, 140)] * 30, *rise])
    assert deviation.reference_leapt
    assert deviation.follows
    assert not _looks([*[(140, 140)] * 30, *rise[:-1], (195, 141)])[0].follows


def test_a_delay_that_another_rule_asked_for_holds_at_once() -> None:
    """It is not looked for again before it is due, but taken where it is known."""
    estimator = _Delay(5, due=10_000)
    estimator.estimate(0)
    session = SessionState(PLAN)
    deviation = Deviation(session, session.tests[0], estimator)
    rise = [(100 + 12 * k, 100) for k in range(1, 6)]
    unexplained = []
    for second, row in enumerate([*[(100, 100)] * 40, *rise, *[(160, 100)] * 20]):
        for sensor, bpm in zip(session.sensors, row, strict=True):
            sensor.held.append(1000 * bpm)
        if deviation.look(second).unexplained:
            unexplained.append(second)
    assert unexplained[0] - 39 == 5 + 6 + 1


@pytest.mark.parametrize(("left_out", "excused_s"), [(False, 25), (True, 11)])
def test_a_reference_at_fault_teaches_no_delay(left_out, excused_s) -> None:
    """What was known before its fault holds on behind it."""
    session, estimator = SessionState(PLAN), _Delay(5)
    deviation = Deviation(session, session.tests[0], estimator)
    rise = [(100 + 12 * k, 100) for k in range(1, 6)]
    unexplained = []
    for second, row in enumerate([*[(100, 100)] * 40, *rise, *[(160, 100)] * 60]):
        session.left_out = left_out and 20 <= second < 40
        estimator.known_s = 5 if second < 20 else 30
        for sensor, bpm in zip(session.sensors, row, strict=True):
            sensor.held.append(1000 * bpm)
        if deviation.look(second).unexplained:
            unexplained.append(second)
    assert unexplained[0] - 39 == excused_s + 1


def test_a_second_without_a_value_of_either_is_neither_in_nor_out() -> None:
    """Each look gives the state itself."""
    session = SessionState(PLAN)
    deviation = Deviation(session, session.tests[0], _Delay())
    for second, row in enumerate(((100_000, 100_000), (100_000, NO_VALUE), (NO_VALUE, 150_000))):
        for sensor, mbpm in zip(session.sensors, row, strict=True):
            sensor.held.append(mbpm)
        assert deviation.look(second) is deviation
        assert (deviation.paired, deviation.side) == (second == 0, 0)
