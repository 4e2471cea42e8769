"""Faults of the capturing computer, weak signals, and what the analysis may leave out."""

from __future__ import annotations

import pytest

from analysis.board import suggest_exclusions
from analysis.board.rules.base import BAD, GOOD, UNSURE
from analysis.board.rules.levels import WeakSignal
from analysis.board.rules.session import CaptureLate, ClockJump, DiskLow
from analysis.board.session_state import SessionState
from analysis.board.snapshot import Severity
from analysis.board.snapshot import WarningKind as K
from analysis.statistics.stretch import Stretch
from replay import event as ev
from replay.event import Event, pack_int
from tests.standins.session_events import S, plan_of, play, stream


def _session(t_s: float, channel: str, value: int) -> Event:
    return Event(round(t_s * S), 0, channel, pack_int(value))


def test_clock_jump_is_told_at_once_and_stands_a_minute() -> None:
    """A step of the clock is told in the second it happened; a small correction is not."""
    events = [_session(10.5, ev.JUMP, 40_000_000), _session(20.5, ev.JUMP, -300 * S)]
    (warning,) = play(plan_of(), events, until_s=120, rules=lambda b: [ClockJump(b)]).warnings
    assert (warning.sensor, warning.severity) == (0, Severity.SESSION_FAULT)
    assert (warning.since_s, warning.start_s, warning.end_s) == (20, 21, 81)
    assert "-300.0 s" in warning.cause


def test_second_jump_prolongs_the_warning() -> None:
    """A second step while the warning stands is told in it."""
    events = [_session(20.5, ev.JUMP, 5 * S), _session(60.5, ev.JUMP, 7 * S)]
    (warning,) = play(plan_of(), events, until_s=200, rules=lambda b: [ClockJump(b)]).warnings
    assert "+7.0 s" in warning.cause
    assert warning.end_s == 121


def test_late_capture_tells_since_when_stamps_are_doubtful() -> None:
    """A blocked loop is told with the moment from which stamps are doubtful."""
    events = [_session(10.5, ev.LATE, 50_000_000), _session(20.5, ev.LATE, 2 * S)]
    (warning,) = play(plan_of(), events, until_s=60, rules=lambda b: [CaptureLate(b)]).warnings
    assert (warning.since_s, warning.start_s, warning.end_s) == (18, 21, 31)
    assert "2.0 s" in warning.cause


def test_disk_nearly_full_has_hysteresis() -> None:
    """Below 200 MB it is told, and it ends above 300 MB."""
    sizes = [(5, 250), (10, 150), (20, 250), (30, 190), (40, 320)]
    events = [_session(t, ev.DISK, mb * 1_000_000) for t, mb in sizes]
    (warning,) = play(plan_of(), events, until_s=60, rules=lambda b: [DiskLow(b)]).warnings
    assert (warning.start_s, warning.end_s) == (10, 40)


def test_weak_signal_needs_seconds_and_has_hysteresis() -> None:
    """A weak signal is told after 10 s and ends after 10 s of a better one, if they are new."""
    levels = [*((t, -93) for t in range(10, 30)), *((t, -88) for t in range(30, 50)),
              *((t, -80) for t in range(50, 80)), (80, -95), (84, -70), (90, -99)]  # fmt: skip
    events = [Event(t * S, 2, ev.SIGNAL, (dbm & 0xFF).to_bytes(1, "little")) for t, dbm in levels]
    board = play(
        plan_of(), events, until_s=95, rules=lambda b: [WeakSignal(b, s) for s in b.sensors]
    )
    (warning,) = board.warnings
    assert (warning.start_s, warning.end_s, warning.severity) == (19, 59, Severity.NOTICE)


@pytest.mark.parametrize(("age_s", "said"), [(0, BAD), (30, BAD), (31, UNSURE), (400, UNSURE)])
def test_a_strength_of_half_a_minute_ago_says_nothing(age_s, said) -> None:
    """Neither that it is weak nor, later, that it is well again."""
    session = SessionState(plan_of())
    rule = WeakSignal(session, session.tests[0])
    session.tests[0].take(10 * S, Event(10 * S, 2, ev.SIGNAL, b"\xa5"))
    assert rule.step(10 + age_s) is said
    strong = WeakSignal(session, session.tests[0])
    session.tests[0].take(10 * S, Event(10 * S, 2, ev.SIGNAL, b"\xc4"))
    assert strong.step(10 + age_s) is (GOOD if age_s <= 30 else UNSURE)


def test_reference_faults_become_suggested_exclusions() -> None:
    """Faults of the reference are stretches from when they began; those of others are not."""
    plan = plan_of()
    board = play(
        plan,
        stream(1, 0.5, 60, 140),
        stream(1, 80.5, 150, 140, contact=True),
        stream(1, 150.5, 200, 0),
        stream(2, 0.5, 100, 139),
        [Event(S, 1, ev.BATTERY, b"\x05")],
        until_s=200,
    )
    assert {w.kind for w in board.warnings if w.sensor == 1} == {
        K.LOW_BATTERY, K.SILENT, K.NO_CONTACT,
    }  # fmt: skip
    stretches = suggest_exclusions(board.warnings, plan, 201)
    assert stretches == [
        Stretch(59, 84, "the reference was silent", 1),
        Stretch(151, 201, "the reference had no contact", 1),
    ]
