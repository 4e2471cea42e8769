"""The throttle: who is called when, by a clock that the test turns."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from live.notify.throttle import CallReason, Throttle, check_kinds
from replay.attention import AttentionPlan
from replay.errors import PlanError

START, REMINDER, END = CallReason.START, CallReason.REMINDER, CallReason.END


def warning(number, start_s, end_s=None, *, kind=WarningKind.SILENT, sensor=2, **more):
    values = {
        "severity": Severity.TEST_FAULT, "since_s": start_s, "cause": "c", "advice": "a", **more
    }  # fmt: skip
    return SensorWarning(
        number=number, kind=kind, sensor=sensor, start_s=start_s, end_s=end_s, **values
    )


def throttle(**planned):
    made = Throttle(AttentionPlan(**planned))
    made.look(0.0, [])  # what follows is news
    return made


def told(calls):
    return [(call.reason, call.warning.number) for call in calls]


def over_time(who, warnings, seconds):
    """Calls by second, as a board with these warnings would cause them."""
    found = {}
    for second in seconds:
        now = [
            replace(w, end_s=w.end_s if w.end_s is not None and w.end_s < second else None)
            for w in warnings
            if w.start_s < second
        ]
        if calls := told(who.look(float(second), now)):
            found[second] = calls
    return found


def test_start_and_end_are_called_once():
    """A warning calls when it is raised and when it is over, and in between not again at once."""
    calls = over_time(throttle(), [warning(1, 10, 40)], range(1, 60))
    assert calls == {11: [(START, 1)], 41: [(END, 1)]}


def test_a_standing_warning_reminds_once_per_quiet_time():
    """What still stands after 60 s calls again, and again 60 s later."""
    calls = over_time(throttle(), [warning(1, 10)], range(1, 140))
    assert calls == {11: [(START, 1)], 71: [(REMINDER, 1)], 131: [(REMINDER, 1)]}


def test_without_a_quiet_time_each_warning_calls_once():
    """A quiet time of 0 lets every warning call, and reminds of none."""
    flapping = [warning(n, 10 * n, 10 * n + 5) for n in (1, 2, 3)]
    calls = over_time(throttle(quiet_s=0), flapping, range(1, 60))
    assert [reason for _, ((reason, _),) in sorted(calls.items())] == [START, END] * 3


def test_the_same_warning_does_not_call_again_within_the_quiet_time():
    """Raised, cleared and raised again within a minute, it has called once; nor is the end told of
    what did not call.
    """
    calls = over_time(throttle(), [warning(1, 10, 20), warning(2, 30, 40)], range(1, 60))
    assert calls == {11: [(START, 1)], 21: [(END, 1)]}


def test_what_outlasts_the_quiet_time_calls_after_it():
    """The second warning of a kind was quiet at first; it still stands when the time is over."""
    calls = over_time(throttle(), [warning(1, 10, 20), warning(2, 30)], range(1, 100))
    assert calls == {11: [(START, 1)], 21: [(END, 1)], 71: [(START, 2)]}


@pytest.mark.parametrize(
    "other",
    [
        warning(2, 30, sensor=3),
        warning(2, 30, kind=WarningKind.FROZEN),
        warning(2, 30, severity=Severity.REFERENCE_FAULT),
    ],
    ids=["another sensor", "another kind", "graver"],
)
def test_another_warning_calls_at_once(other):
    """A quiet time is one kind's of one sensor, and never holds back what is graver."""
    calls = over_time(throttle(), [warning(1, 10, 20), other], range(1, 60))
    assert calls[31] == [(START, 2)]


def test_an_acknowledged_warning_is_silent():
    """Neither a reminder nor a late start, but its end is told to who was told of the start."""
    known = replace(warning(1, 10), acknowledged_s=30.0)
    who = throttle()
    assert told(who.look(11.0, [warning(1, 10)])) == [(START, 1)]
    assert [told(who.look(float(s), [known])) for s in (31, 71, 131)] == [[], [], []]
    assert told(who.look(141.0, [replace(known, end_s=140)])) == [(END, 1)]
    who = throttle()
    assert told(who.look(31.0, [known])) == []
    assert told(who.look(141.0, [replace(known, end_s=140)])) == []


def test_a_kind_that_is_off_never_calls():
    """Off is off, also after any time; other kinds keep theirs."""
    who = throttle(quiet_s=60, quiet={"silent": None, "frozen": 5})
    frozen = warning(2, 10, kind=WarningKind.FROZEN)
    calls = over_time(who, [warning(1, 10, 70), frozen], range(1, 20))
    assert calls == {11: [(START, 2)], 16: [(REMINDER, 2)]}


def test_the_gravest_is_called_first():
    """Of several at once, the faults of the reference stand before those of test sensors."""
    raised = [
        warning(1, 10, severity=Severity.NOTICE, kind=WarningKind.LOW_BATTERY),
        warning(2, 10),
        warning(3, 10, sensor=1, severity=Severity.REFERENCE_FAULT),
        warning(4, 10, sensor=0, severity=Severity.SESSION_FAULT, kind=WarningKind.DISK_LOW),
    ]
    assert told(throttle().look(11.0, raised)) == [(START, n) for n in (4, 3, 2, 1)]


def test_history_calls_nobody():
    """Who comes late hears of what stands, not of what was over before."""
    late = Throttle(AttentionPlan())
    assert told(late.look(500.0, [warning(1, 10, 40), warning(2, 90)])) == [(START, 2)]


def test_what_came_and_went_between_two_looks_is_told():
    """Both its start and its end, in this order, and once."""
    who = throttle()
    who.look(9.5, [])
    gone = [warning(1, 10, 14)]
    assert told(who.look(20.0, gone)) == [(START, 1), (END, 1)]
    assert told(who.look(21.0, gone)) == []


def test_after_a_rest_the_past_is_history():
    """While nobody was to be called, what came and went is past; what stands calls."""
    who = throttle()
    who.rest()
    assert told(who.look(50.0, [warning(1, 10, 14), warning(2, 30)])) == [(START, 2)]


def test_the_end_of_the_session_ends_what_has_called():
    """Who was told of a start is told of an end, and no more than once."""
    who = throttle()
    standing = [warning(1, 10), warning(2, 12, sensor=3)]
    who.look(11.0, standing[:1])
    assert told(who.finish(standing)) == [(END, 1)]
    assert told(who.finish(standing)) == []


def test_a_quiet_time_for_an_unknown_kind_is_refused():
    """A word mistyped in the plan is found before the session begins."""
    check_kinds(AttentionPlan(quiet={kind.value: None for kind in WarningKind}))
    with pytest.raises(PlanError, match="knows the kinds not started, silent"):
        check_kinds(AttentionPlan(quiet={"sillent": 5}))
