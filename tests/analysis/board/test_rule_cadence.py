"""The limits of a value that is stuck on the cadence, on both sides."""

from __future__ import annotations

import pytest

from analysis.board.rules.cadence import OnCadence
from analysis.board.session_state import SessionState
from tests.standins.session_events import plan_of, planned

PLAN = plan_of(
    planned("Yarrow", "reference"),
    planned("Sorrel"),
    planned("Tansy"),
    planned("Strides", "companion"),
)


def _asked(rows: list[tuple[int, int, int]], cadence: float | None = None):
    """The rule on Sorrel and its verdicts, at each second with these bpm and this cadence."""
    session = SessionState(PLAN)
    rule = OnCadence(session, session.tests[0])
    pod = session.sensors[3]
    pod.has_cadence = cadence is not None
    said = []
    for second, row in enumerate(rows):
        for sensor, bpm in zip(session.compared, row, strict=True):
            sensor.held.append(1000 * bpm)
        pod.cadences.append(cadence or 0.0)
        session.second = second
        said.append(int(rule.step(second)))
    return rule, said


def _stuck(bpm: int, seconds: int = 120) -> list[tuple[int, int, int]]:
    return [(110, bpm, 111)] * seconds


@pytest.mark.parametrize(
    ("off", "told"), [(0, True), (4, True), (-4, True), (5, False), (-5, False)]
)
def test_near_the_cadence_is_within_four(off, told) -> None:
    """Both are whole numbers, and averaged over some seconds."""
    _, said = _asked(_stuck(168 + off), 168.0)
    assert (1 in said) is told


def test_a_value_on_a_counted_cadence_is_told_after_28_seconds() -> None:
    """Longer than one that has lost the pulse rests somewhere by chance."""
    _, said = _asked(_stuck(168), 168.0)
    assert said.index(1) == 27


def test_one_that_has_gone_part_of_the_way_needs_seventy() -> None:
    """It may rest near the cadence by chance."""
    rise = [(100 + 10 * k, 100 + 7 * k, 100 + 10 * k) for k in range(10)]
    rows = [*[(100, 100, 100)] * 5, *rise, *[(200, 168, 200)] * 130]
    rule, said = _asked(rows, 168.0)
    assert said.index(1) - rule.since() + 1 in (70, 71)


@pytest.mark.parametrize(("bpm", "told"), [(149, False), (150, True), (190, True), (191, False)])
def test_without_a_cadence_only_running_steps_are_suspected(bpm, told) -> None:
    """From 150 to 190 a minute."""
    _, said = _asked(_stuck(bpm))
    assert (1 in said) is told


@pytest.mark.parametrize(("swing", "told"), [(5, True), (6, False)])
def test_without_a_cadence_it_must_be_as_flat_as_steps_are(swing, told) -> None:
    """Within five a minute."""
    rows = [(110, 160 + swing * (k % 4 == 0), 111) for k in range(120)]
    assert (1 in _asked(rows)[1]) is told


def test_without_a_cadence_it_is_flat_for_15_seconds_and_told_after_42_more() -> None:
    """Half as much again as beside a cadence."""
    restless = [(110, 152 + 30 * (k % 2), 111) for k in range(20)]
    rule, said = _asked([*restless, *_stuck(170)])
    assert rule.since() == 20 + 15
    assert said.index(1) - rule.since() + 1 == 42


@pytest.mark.parametrize(("away_s", "forgotten"), [(14, False), (15, True)])
def test_a_quarter_of_a_minute_off_the_cadence_forgets_it(away_s, forgotten) -> None:
    """For as long as a lock takes to end; less takes as much as it lasted."""
    rule, said = _asked([*_stuck(168, 27), *_stuck(140, away_s), *_stuck(168, 60)], 168.0)
    again = said.index(1) - 27 - away_s + 1
    assert again == (28 if forgotten else 15)
    assert (rule.since() > 0) is forgotten


def test_it_is_on_a_counted_cadence_from_its_first_second() -> None:
    """Which is known long before it is told; a range of steps is no cadence."""
    assert _asked(_stuck(168, 2), 168.0)[0].on_counted_cadence
    assert not _asked(_stuck(140, 2), 168.0)[0].on_counted_cadence
    assert not _asked(_stuck(170, 90))[0].on_counted_cadence
