"""The limits of a sensor that is late, on both sides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from analysis.board.rules.delay_estimate import DelayEstimate
from analysis.board.rules.late import Late
from analysis.board.session_state import SessionState
from tests.standins.session_events import plan_of, planned

ONE = plan_of(planned("Yarrow", "reference"), planned("Sorrel"))


class _Told:
    """Estimates as they are told, one every 20 s."""

    due = 10_000

    def __init__(self, made: Sequence[DelayEstimate | None]) -> None:
        self.made = made

    def estimate(self, second: int) -> DelayEstimate | None:
        """The one of these 20 s."""
        return self.made[second // 20] if second // 20 < len(self.made) else None


def _one(
    delay_s: int, *, spread: float = 1_000.0, mean: float = 500.0, now: float = 9_000.0
) -> DelayEstimate:
    return DelayEstimate(0, delay_s, spread, mean, now)


def _verdicts(*made: DelayEstimate) -> list[int]:
    """The rule's verdict when each of these is told."""
    session = SessionState(ONE)
    told = _Told([replace(one, second=20 * k) for k, one in enumerate(made)])
    rule = Late(session, session.tests[0], told)  # type: ignore[arg-type]
    return [int(rule.step(20 * k)) for k in range(len(made))]


@pytest.mark.parametrize(
    ("how", "told"),
    [
        ({"spread": 3_900, "now": 20_000}, True),
        ({"spread": 4_100, "now": 20_000}, False),
        ({"mean": 2_900}, True),
        ({"mean": -2_900}, True),
        ({"mean": 3_100}, False),
        ({"mean": -3_100}, False),
        ({"spread": 1_000, "now": 2_600}, True),
        ({"spread": 1_000, "now": 2_400}, False),
    ],
)
def test_a_delay_must_explain_the_difference(how, told) -> None:
    """Within 4 bpm, without lying 3 above or below, and two and a half times as well as none."""
    assert (1 in _verdicts(_one(21, **how), _one(21, **how))) is told


@pytest.mark.parametrize(("delay_s", "cleared"), [(15, True), (16, False)])
def test_it_is_over_five_seconds_below_the_limit(delay_s, cleared) -> None:
    """Of 20 s, in six estimates."""
    said = _verdicts(*[_one(21)] * 2, *[_one(delay_s)] * 6)
    assert said[1] == 1
    assert (said[-1] == -1) is cleared


@pytest.mark.parametrize(("newer", "told"), [(7, True), (8, False)])
def test_its_own_delay_is_the_middle_of_the_last_fifteen_estimates(newer, told) -> None:
    """Sixteen seconds are late beside 3, and usual beside 8, once that is the middle."""
    made = [*[_one(3)] * 15, *[_one(8)] * newer, _one(16), _one(16)]
    assert (1 in _verdicts(*made)) is told


IN_TIME = 4.0
"""How late, s, a sensor shows an effort that is in good order."""
STEEP = 30.0
"""By how much an effort rises in 15 s, bpm."""


def _after_efforts(*efforts: tuple[float, float]) -> int:
    """The rule's verdict when each of these efforts was judged: by how much it rose in 15 s,
    bpm, and how late it was shown, s.
    """
    session = SessionState(ONE)
    rule = Late(session, session.tests[0], _Told([]))  # type: ignore[arg-type]

    def shown(at: float, rise_bpm: float) -> int:
        # It begins and ends steeply, so that it is plain when.
        slow_s = 15 * 40 / rise_bpm
        times = [40, 45, 45 + slow_s, 50 + slow_s, 200, 240]
        return round(np.interp(at, times, [100, 110, 150, 160, 160, 100]) * 1000)

    for rise_bpm, late_s in efforts:
        for at in range(400):
            session.reference.held.append(shown(at, rise_bpm))
            session.tests[0].held.append(shown(at - late_s, rise_bpm))
            session.second += 1
            session.efforts.close_second(session.second, left_out=False)
    assert session.efforts.counts(session.tests[0].number).judged == len(efforts)
    return int(rule.step(session.second))


@pytest.mark.parametrize(
    ("late_s", "tells"),
    [
        ([15.0], False),
        ([15.0, 15.0], True),
        ([15.0, 18.9], True),  # two seconds about their middle
        ([15.0, 19.2], False),
        ([15.0, IN_TIME, 15.0, 15.0], True),  # three in four
        ([15.0, IN_TIME, IN_TIME, 15.0, 15.0], False),
        ([IN_TIME] * 2 + [15.0] * 5, True),  # of the last six
        ([IN_TIME] * 2 + [15.0] * 4, False),
        ([IN_TIME] * 5 + [15.0] * 4, False),
        ([IN_TIME] * 5 + [15.0] * 5, True),
    ],
)
def test_how_many_efforts_make_it_late(late_s, tells) -> None:
    """Two, and three in four of the last six, by about the same delay."""
    assert (_after_efforts(*[(STEEP, one) for one in late_s]) == 1) is tells


@pytest.mark.parametrize(("rise_bpm", "kept"), [(7.9, False), (8.1, True)])
def test_an_effort_that_rises_slowly_tells_nothing(rise_bpm, kept) -> None:
    """By 8 bpm the reference must have risen while the sensor was awaited; else the effort counts
    neither as late nor as in time.
    """
    slow, steep = (rise_bpm, 15.0), (STEEP, 15.0)
    assert (_after_efforts(slow, steep) == 1) is kept
    assert _after_efforts(slow, steep, steep) == 1


def test_it_is_asked_again_when_an_effort_may_have_returned() -> None:
    """Every five seconds."""
    session = SessionState(ONE)
    rule = Late(session, session.tests[0], _Told([]))  # type: ignore[arg-type]
    rule.step(100)
    assert rule.quiet_until == 105


@pytest.mark.parametrize(("delay_s", "told"), [(39, True), (40, False)])
def test_the_longest_delay_looked_for_is_no_best_one(delay_s, told) -> None:
    """Where a longer one might fit better still, none was found."""
    assert (1 in _verdicts(_one(delay_s), _one(delay_s))) is told


@pytest.mark.parametrize(("second_s", "told"), [(26, True), (27, False), (34, False)])
def test_two_estimates_must_agree(second_s, told) -> None:
    """Within four seconds; then the next that agrees with the newest tells."""
    assert (1 in _verdicts(_one(22), _one(second_s))) is told
    assert _verdicts(_one(22), _one(second_s), _one(second_s))[-1] == 1


def _of_a_hill(*, late_on_the_rise: bool, late_on_the_fall: bool) -> list[int]:
    """Verdicts where two estimates say 25 s of a rise and a fall that both sensors show."""
    session = SessionState(ONE)
    made = [replace(_one(25), second=20 * k) if k >= 20 else None for k in range(22)]

    def hill(at: int) -> int:
        return round(np.interp(at, [0, 270, 300, 340, 370], [100, 100, 140, 140, 100]) * 1000)

    for at in range(500):
        is_late = late_on_the_rise if at < 332 else late_on_the_fall
        session.reference.grid.append(hill(at))
        session.tests[0].grid.append(hill(at - 25 if is_late else at))
    rule = Late(session, session.tests[0], _Told(made))  # type: ignore[arg-type]
    return [int(rule.step(second)) for second in range(400, 440, 20)]


@pytest.mark.parametrize(
    ("on_the_rise", "on_the_fall", "told"),
    [(True, True, True), (False, True, False), (True, False, False), (False, False, False)],
)
def test_rise_and_fall_must_both_show_it(on_the_rise, on_the_fall, told) -> None:
    """A value that was held for once while the heart fell is a lapse and no delay."""
    said = _of_a_hill(late_on_the_rise=on_the_rise, late_on_the_fall=on_the_fall)
    assert (1 in said) is told
