"""Who is called when: the quiet times, the reminders and the silence after an acknowledgement.

Pure: warnings and the time go in, calls come out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from live.protocol.alarm import Alarm
from replay.attention import AttentionPlan
from replay.errors import PlanError


class CallReason(StrEnum):
    """Why there is a call."""

    START = "start"
    """A warning calls for the first time."""
    REMINDER = "reminder"
    """It still stands after its quiet time, and nobody has acknowledged it."""
    END = "end"
    """A warning that has called is over."""


@dataclass(frozen=True, slots=True)
class Call:
    """One call, about one warning."""

    reason: CallReason
    warning: SensorWarning


@dataclass(frozen=True, slots=True)
class AlarmCall:
    """One call about the recording itself.  ``at_s``: session second of the alarm's beginning."""

    reason: CallReason
    alarm: Alarm
    at_s: float


ALARM_EVERY_S: Final = 4.0
"""From the start of one sound to the next: the pause is shorter than the sound."""


class AlarmThrottle:
    """Decides on calls for the alarm of one view: at its start, again and again, at its end.

    No quiet time of the plan holds it back; only the tester's acknowledgement does.
    """

    def __init__(self) -> None:
        self._start: AlarmCall | None = None
        self._called_s = 0.0

    def look(
        self, alarm: Alarm | None, *, is_known: bool, at_s: float, real_s: float
    ) -> list[AlarmCall]:
        """Calls that are due.  ``at_s``: session time; ``real_s``: any monotonic clock."""
        calls = []
        if self._start is not None and (
            alarm is None or alarm.headline != self._start.alarm.headline
        ):
            calls.append(replace(self._start, reason=CallReason.END))
            self._start = None
        if alarm is None or is_known:
            return calls
        if self._start is None:
            self._start = AlarmCall(CallReason.START, alarm, at_s)
            self._called_s = real_s
            calls.append(self._start)
        elif real_s - self._called_s >= ALARM_EVERY_S:
            self._called_s = real_s
            calls.append(AlarmCall(CallReason.REMINDER, alarm, self._start.at_s))
        return calls


def check_kinds(attention: AttentionPlan) -> None:
    """Raise :class:`PlanError` if a quiet time is for a kind of warning that does not exist."""
    known = [kind.value for kind in WarningKind]
    for kind in attention.quiet:
        if kind not in known:
            raise PlanError("attention.quiet", "knows the kinds " + ", ".join(known), kind)


class Throttle:
    """Decides on calls for one board.

    A warning calls when it is raised, unless one of the same kind and sensor has called within
    the quiet time and was as grave; if it still stands when that time is over, it calls then.  A
    warning that stands reminds once per quiet time.  An acknowledged one calls no more; its end
    is told all the same, to whoever was told of its start.
    """

    def __init__(self, attention: AttentionPlan) -> None:
        self._attention = attention
        self._last: dict[tuple[WarningKind, int], tuple[float, Severity]] = {}
        self._standing: set[int] = set()  # have called and are not over
        self._over = 0  # warnings before this position are over and told
        self._looked_s: float | None = None

    def look(self, now_s: float, warnings: Sequence[SensorWarning]) -> list[Call]:
        """Calls that are due at ``now_s`` (session seconds), the gravest first.

        ``warnings``: all of the session so far, in order of start.  What was over before the
        first look, or before the look after a rest, is history and calls nobody.
        """
        calls: list[Call] = []
        leading = True
        for at in range(self._over, len(warnings)):
            warning = warnings[at]
            if warning.end_s is None:
                leading = False
                calls += self._standing_calls(now_s, warning)
                continue
            calls += self._ended_calls(now_s, warning)
            if leading:
                self._over = at + 1
        self._looked_s = now_s
        return sorted(calls, key=lambda call: -call.warning.severity)

    def rest(self) -> None:
        """Nobody is to be called for now; the next look is as the first one."""
        self._looked_s = None

    def finish(self, warnings: Sequence[SensorWarning]) -> list[Call]:
        """The session is over: the end of everything that has called and is not over."""
        calls = [Call(CallReason.END, w) for w in warnings if w.number in self._standing]
        self._standing.clear()
        return calls

    def _standing_calls(self, now_s: float, warning: SensorWarning) -> list[Call]:
        if not warning.calls or not self._may_call(now_s, warning):
            return []
        if warning.number not in self._standing:
            return [self._call(CallReason.START, now_s, warning)]
        if self._attention.quiet_of(warning.kind.value):  # without a quiet time once is enough
            return [self._call(CallReason.REMINDER, now_s, warning)]
        return []

    def _ended_calls(self, now_s: float, warning: SensorWarning) -> list[Call]:
        calls = []
        if warning.number not in self._standing:
            # It came and went between two looks.
            if not self._is_news(warning) or warning.acknowledged_s is not None:
                return []
            if not self._may_call(now_s, warning):
                return []
            calls.append(self._call(CallReason.START, now_s, warning))
        self._standing.discard(warning.number)
        return [*calls, Call(CallReason.END, warning)]

    def _is_news(self, warning: SensorWarning) -> bool:
        return self._looked_s is not None and warning.start_s >= self._looked_s

    def _may_call(self, now_s: float, warning: SensorWarning) -> bool:
        quiet_s = self._attention.quiet_of(warning.kind.value)
        if quiet_s is None:
            return False
        last = self._last.get((warning.kind, warning.sensor))
        return last is None or now_s - last[0] >= quiet_s or warning.severity > last[1]

    def _call(self, reason: CallReason, now_s: float, warning: SensorWarning) -> Call:
        self._last[warning.kind, warning.sensor] = (now_s, warning.severity)
        self._standing.add(warning.number)
        return Call(reason, warning)
