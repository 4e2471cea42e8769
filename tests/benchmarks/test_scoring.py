"""Scores are counted right whichever generator made the session, and by intensity."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest

from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from benchmarks import faults as command
from benchmarks.field_sim.labels import JUDGEMENTS, Fault
from benchmarks.scoring.intensity import HARD, LIGHT, RECOVERY, REST, intensities, reference_bpm
from benchmarks.scoring.report import as_markdown, figures
from benchmarks.scoring.score import Score, score
from replay.event import HEART_RATE, NS_PER_S, Event
from replay.payloads.heart_rate import encode_heart_rate
from replay.plan import Plan, PlannedSensor

PLAN = Plan(
    wearer="W1",
    activity="test",
    sensors=(
        PlannedSensor(label="a", role="reference", name="a"),
        PlannedSensor(label="b", role="test", name="b"),
    ),
)


@dataclass
class Made:
    """A session of an hour at a heart rate."""

    bpm: np.ndarray
    faults: tuple[Fault, ...] = ()
    seed: int = 7
    plan: Plan = PLAN
    duration_s: float = 3600.0
    events: list[Event] = field(default_factory=list)


def steps(*pairs: tuple[int, float]) -> np.ndarray:
    """A heart rate that stands at each value for so many seconds."""
    return np.concatenate([np.full(seconds, bpm) for seconds, bpm in pairs])


def warning(kind: WarningKind, sensor: int, start_s: int) -> SensorWarning:
    """A warning that was raised at a second."""
    return SensorWarning(
        1, kind, sensor, Severity.NOTICE, start_s, start_s, None, cause="", advice=""
    )


def test_intensity_follows_the_heart_rate():
    """Rest, light and hard by rate; light work after hard work is recovery for three minutes."""
    names = intensities(steps((300, 70.0), (300, 110.0), (300, 150.0), (600, 100.0)))
    assert (names[150], names[450], names[750]) == (REST, LIGHT, HARD)
    assert set(names[920:1070]) == {RECOVERY}
    assert names[1200] == LIGHT


def test_breathing_and_leaps_are_no_work():
    """A reading that leaps for a second, or swings with breath, does not change the intensity."""
    bpm = 80 + 14 * np.sin(np.arange(600) * 2 * np.pi / 4)
    bpm[300] = 170.0
    assert set(intensities(bpm)) == {REST}


def test_where_the_truth_is_unknown_the_reference_tells():
    """Without a true heart rate the reference's last valid reading stands for it."""
    events = [
        Event(second * NS_PER_S, 1, HEART_RATE, encode_heart_rate(bpm))
        for second, bpm in ((2, 80), (3, 0), (5, 120))
    ]
    assert reference_bpm(events, 1, 8).tolist() == [80, 80, 80, 80, 80, 120, 120, 120]
    assert set(reference_bpm([], 1, 3).tolist()) == {70.0}


def test_false_alarms_are_counted_where_the_heart_was():
    """A false alarm counts for the intensity at which it was raised, over the hours of that."""
    made = Made(steps((1800, 70.0), (1800, 150.0)))
    total = score(made, [warning(WarningKind.LOOSE_REFERENCE, 1, 2000)], JUDGEMENTS)
    rows = {row["intensity"]: row for row in figures(total, JUDGEMENTS)["clean_by_intensity"]}
    assert (rows["rest"]["all"]["count"], rows["hard"]["all"]["count"]) == (0, 1)
    assert rows["hard"]["hours"] == pytest.approx(0.5, abs=0.01)
    assert rows["hard"]["rules"]["loose reference"]["per_hour"] == pytest.approx(2.0, abs=0.05)
    # None in half an hour: below 3.689 in one hour, by the tables of Garwood (1936).
    assert rows["rest"]["all"]["high_per_hour"] == pytest.approx(2 * 3.689, rel=0.01)
    assert "false/sensor-h" in as_markdown(figures(total, JUDGEMENTS), "its labels")


def test_what_sensors_do_by_themselves_excuses_and_asks_nothing():
    """A label that only excuses leaves a session clean, and its warning is no false alarm."""
    own = Fault("outside by itself", 2, 100, 100, 200)
    inside = score(Made(steps((3600, 70.0)), (own,)), [warning(WarningKind.APART, 2, 150)],
                   JUDGEMENTS)  # fmt: skip
    assert (inside.clean_h, inside.outcomes, inside.clean_alarms) == (1.0, [], [])
    after = score(Made(steps((3600, 70.0)), (own,)), [warning(WarningKind.APART, 2, 300)],
                  JUDGEMENTS)  # fmt: skip
    assert [alarm.kind for alarm in after.clean_alarms] == ["apart"]


def test_what_could_never_be_known_is_not_counted():
    """A fault that never came to show is neither found nor missed; its warning is no alarm."""
    hidden = Fault("frozen", 2, 100, float("inf"), 200)
    total = score(Made(steps((3600, 70.0)), (hidden,)), [warning(WarningKind.FROZEN, 2, 150)],
                  JUDGEMENTS)  # fmt: skip
    assert (total.outcomes, total.alarms) == ([], [])


def test_scores_add_up():
    """Scores of sessions add: hours, seconds by intensity, alarms."""
    made = Made(steps((3600, 70.0)))
    total = Score()
    for second in (100, 200):
        total.add(score(made, [warning(WarningKind.APART, 2, second)], JUDGEMENTS))
    assert (total.clean_h, total.clean_s[REST], total.clean_sensor_h) == (2.0, 7200, 4.0)
    assert len(total.clean_alarms) == 2


@pytest.mark.parametrize("arguments", [["--hours", "0"], ["--seed", "-1"], ["--generator", "x"]])
def test_the_command_refuses_what_it_cannot_run(arguments, capsys):
    """No hours, a negative seed and an unknown generator are refused with a sentence."""
    with pytest.raises(SystemExit) as stopped:
        command.main(arguments)
    assert stopped.value.code == 2
    assert "error:" in capsys.readouterr().err


@pytest.mark.parametrize("generator", list(command.GENERATORS))
def test_both_generators_are_scored(generator):
    """One session of each generator is drawn, fed to the board and scored in a process's way."""
    one = command.one_session(generator, 0, 31)
    assert one.faulty_h > 0.3
    assert one.outcomes
    assert sum(one.faulty_s.values()) == pytest.approx(3600 * one.faulty_h, abs=2)
