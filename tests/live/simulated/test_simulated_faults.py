"""Rules of the fault benchmark: its labels are true, and its scores are counted right."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from benchmarks.fault_sim.draft import Session
from benchmarks.fault_sim.faults import JUDGEMENTS, Fault
from benchmarks.fault_sim.recorded import read_rr, recorded_session
from benchmarks.fault_sim.session import draw_session
from benchmarks.field_sim.labels import JUDGEMENTS as FIELD_JUDGEMENTS
from benchmarks.scoring.report import as_markdown, figures
from benchmarks.scoring.score import Score, score
from replay import event
from replay.channels import DECODERS, HEART_RATE_CHANNELS, decode
from replay.errors import SidebeatError
from replay.event import NS_PER_S
from replay.payloads import HeartRate
from replay.plan import Plan, PlannedSensor

SEEDS = (900_000, 900_008, 900_009, 900_010, 900_017, 900_018, 900_019)
"""Of the first twenty the fewest among which each kind that is asked for below comes twice."""


@pytest.fixture(scope="module")
def sessions() -> list[Session]:
    return [draw_session(seed, with_faults=True) for seed in SEEDS]


def _readings(session: Session, sensor: int) -> list[tuple[float, HeartRate]]:
    found = []
    for one in session.events:
        if one.sensor == sensor and one.channel in HEART_RATE_CHANNELS:
            reading = decode(one.channel, one.payload)
            assert isinstance(reading, HeartRate)
            found.append((one.t_ns / NS_PER_S, reading))
    return found


def _labelled(
    sessions: list[Session], *kinds: str
) -> Iterator[tuple[Fault, Session, list[tuple[float, HeartRate]]]]:
    """Faults of some kinds, with what the sensor sent while they were on."""
    count = 0
    for session in sessions:
        for fault in session.faults:
            if fault.kind in kinds:
                count += 1
                during = [
                    (t, r)
                    for t, r in _readings(session, fault.sensor)
                    if fault.began_s + 0.1 < t < fault.end_s - 2
                ]
                yield fault, session, during
    assert count >= 2 * len(kinds), "some of these faults were not drawn"


def test_sessions_are_captures_with_faults_inside(sessions):
    """Events come in order and decode; each fault has a judgement and lies within its session."""
    for session in sessions:
        assert all(one.t_ns <= two.t_ns for one, two in pairwise(session.events))
        for one in session.events:
            if one.channel in DECODERS:
                decode(one.channel, one.payload)
        for fault in session.faults:
            assert fault.kind in JUDGEMENTS
            assert 0 <= fault.began_s <= fault.start_s + 0.1
            assert fault.start_s < fault.end_s <= session.duration_s


def test_same_seed_same_session_and_clean_ones_are_clean(sessions):
    """A seed gives one session; without faults it has none."""
    again = draw_session(SEEDS[0], with_faults=True)
    assert (again.events, again.faults) == (sessions[0].events, sessions[0].faults)
    clean = draw_session(SEEDS[0], with_faults=False)
    assert clean.faults == ()
    assert clean.events != again.events


def test_silent_sensors_send_nothing(sessions):
    """During a silence, and before a late start, there is no reading."""
    for _, _, during in _labelled(sessions, "silent, link up", "silent, link lost", "not started"):
        assert [t for t, _ in during[2:]] == []


def test_sensors_off_the_skin_give_nothing_valid(sessions):
    """Off the skin every reading says so in the way of its kind."""
    for _, _, during in _labelled(sessions, "off, contact bits"):
        assert {reading.contact for _, reading in during[3:]} == {False}
    for _, _, during in _labelled(sessions, "off, bpm 0"):
        assert {reading.mbpm for _, reading in during[3:]} == {0}


def test_frozen_sensors_repeat_themselves(sessions):
    """A frozen sensor sends one bpm."""
    for _, _, during in _labelled(sessions, "frozen"):
        assert len({reading.mbpm for _, reading in during[3:]}) == 1


def test_bad_beats_are_in_the_rr(sessions):
    """From the start of a dry, loose or doubling strap its RR hold jumps no heart makes."""
    for _, _, during in _labelled(sessions, "dry, slowly", "loose, at once", "beats doubled"):
        rr = [x for _, reading in during for x in reading.rr]
        assert sum(abs(two - one) > 0.2 * one for one, two in pairwise(rr)) >= 3


def test_a_wrong_reference_leaves_the_others(sessions):
    """A wrong reference is outside the tolerance of the test sensors, which stay together."""
    for fault, session, during in _labelled(sessions, "wrong reference"):
        middle = (fault.start_s + fault.end_s) / 2
        bpm = next(reading.bpm for t, reading in during if t > middle)
        touched = {f.sensor for f in session.faults if f.began_s < middle < f.end_s}
        others = [
            next(reading.bpm for t, reading in _readings(session, number) if t > middle)
            for number in session.plan.tests
            if number not in touched
        ]
        assert others
        assert min(abs(other - bpm) for other in others) > 5


def _plan() -> Plan:
    return Plan(
        wearer="W1",
        activity="test",
        sensors=(
            PlannedSensor(label="a", role="reference", name="a"),
            PlannedSensor(label="b", role="test", name="b"),
        ),
    )


def _warning(kind: WarningKind, sensor: int, start_s: int) -> SensorWarning:
    return SensorWarning(
        1, kind, sensor, Severity.NOTICE, start_s, start_s, None, cause="", advice=""
    )


def _scored(faults: tuple[Fault, ...], *warnings: SensorWarning) -> Score:
    return score(Session(7, _plan(), 3600.0, [], faults), warnings, JUDGEMENTS)


SILENCE = Fault("silent, link up", 2, 100.4, 160.0, 101.0)


def test_right_warning_finds_the_fault():
    """A right warning on the right sensor finds the fault, timed from its start; it is no alarm."""
    scored = _scored((SILENCE,), _warning(WarningKind.SILENT, 2, 106))
    assert [one.found_s for one in scored.outcomes] == [pytest.approx(5.6)]
    assert scored.alarms == []


@pytest.mark.parametrize(
    "warning",
    [
        _warning(WarningKind.FROZEN, 2, 106),
        _warning(WarningKind.SILENT, 1, 106),
        _warning(WarningKind.SILENT, 2, 90),
        _warning(WarningKind.SILENT, 2, 190),
    ],
)
def test_wrong_warning_is_a_false_alarm(warning: SensorWarning):
    """The wrong kind, the wrong sensor, too early or too late: not found, and a false alarm."""
    scored = _scored((SILENCE,), warning)
    assert [one.found_s for one in scored.outcomes] == [None]
    assert len(scored.alarms) == 1


def test_fair_warning_neither_finds_nor_counts():
    """A true consequence of a fault does not find it and is no false alarm."""
    fault = Fault("late", 2, 100.0, 400.0, 100.0)
    scored = _scored((fault,), _warning(WarningKind.APART, 2, 160))
    assert [one.found_s for one in scored.outcomes] == [None]
    assert scored.alarms == []


def test_clean_sessions_count_apart():
    """Warnings of a clean session are its false alarms, over its own hours."""
    scored = _scored((), _warning(WarningKind.APART, 2, 160))
    assert (scored.clean_h, scored.faulty_h) == (1.0, 0.0)
    assert [alarm.kind for alarm in scored.clean_alarms] == ["apart"]


def test_every_warning_has_a_fault_that_it_finds():
    """Each rule is put to the test by one of the generators at least, or by a real broker: no
    generator of sessions has one (tests/live/capture/test_link_sentences.py has none, as a user
    would meet it, and tests/analysis/board/test_rule_broker.py bounds the rule).
    """
    judgements = [*JUDGEMENTS.values(), *FIELD_JUDGEMENTS.values()]
    tested = {str(kind) for judgement in judgements for kind in judgement.right}
    assert {str(kind) for kind in WarningKind} - tested == {str(WarningKind.BROKER_AWAY)}


def test_figures_carry_exact_intervals():
    """Shares have Clopper–Pearson, rates Poisson intervals: 0 of 10 and 0 in 1 h by the tables."""
    faults = tuple(Fault("frozen", 2, 100.0 * n, 100.0 * n + 50, 100.0 * n) for n in range(1, 11))
    total = _scored(faults)
    total.add(_scored(()))
    values = figures(total, JUDGEMENTS)
    row = next(row for row in values["faults"] if row["fault"] == "frozen")
    assert (row["faults"], row["found_in_time_percent"]) == (10, 0.0)
    assert row["found_in_time_high_percent"] == 30.8
    assert values["clean_false_alarms"]["high_per_hour"] == 3.689
    assert "| frozen" in as_markdown(values, "its labels")


def test_recorded_intervals_come_back_from_the_strap(tmp_path: Path):
    """The strap of a recorded file sends its RR to the resolution of 1/1024 s."""
    path = tmp_path / "rr.txt"
    intervals = [800, 790, 810, 805, 795] * 20
    path.write_text("\n".join(map(str, intervals)))
    session = recorded_session(path)
    sent = [x for _, reading in _readings(session, 1) for x in reading.rr]
    expected = [rr * 1.024 for rr in intervals[: len(sent)]]
    assert len(sent) > 95
    assert all(abs(one - two) <= 1.0 for one, two in zip(sent, expected, strict=True))
    assert any(one.channel == event.ANCHOR for one in session.events)


@pytest.mark.parametrize(
    ("text", "message"),
    [("800\nheart\n", "line 2"), ("800\n-3\n", "line 2"), ("800\n", "fewer than two")],
)
def test_bad_rr_files_are_refused(tmp_path: Path, text: str, message: str):
    """A line that is no RR in ms is named."""
    path = tmp_path / "rr.txt"
    path.write_text(text)
    with pytest.raises(SidebeatError, match=message):
        read_rr(path)
