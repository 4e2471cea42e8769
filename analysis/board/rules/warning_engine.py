"""Raises and clears the warnings: hysteresis, suppression, and the list of all of them.

A rule that fails costs itself alone: it is switched off, logged and told of, and everything else
goes on as if it had not been there from then on.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final, TypeAlias

from analysis.board.rules.base import BAD, GOOD, UNTIL_NEWS, Explanation, Rule, Verdict
from analysis.board.rules.registry import HELD_BY, ROW_OF, Suppression, in_order, suppression
from analysis.board.snapshot import RuleFailure, SensorWarning, Severity
from replay.event import SESSION

if TYPE_CHECKING:
    from analysis.board.session_state import SessionState

_log = logging.getLogger(__name__)

_ARRANGED_EVERY_S: Final = 60
"""Chosen: rules that begin to sleep are asked on for so long at most."""


class _Entry:
    """One rule and what stands of it.

    ``index``: of its standing warning in the list, −1 if none stands.  ``explained_by``,
    ``withheld_by``: entries with a standing warning that suppress this one, ``held_by`` how many
    in all; ``explains``, ``withholds``: those that this one suppresses while it stands.
    ``newest``: how it was explained since anybody asked for its warning, ``None`` if it was not.
    ``is_calm``: nothing of it stands, nothing holds it and it was not bad when last asked, which is
    how nearly all of them are in nearly all seconds; where in doubt False.  ``until``: the grid
    second for which it is called, 0 if it is asked each second.
    """

    __slots__ = (
        "bad_s", "explained_by", "explains", "good_s", "held_by", "index", "is_calm", "newest",
        "rule", "until", "withheld_by", "withholds",
    )  # fmt: skip

    def __init__(self, rule: Rule) -> None:
        self.rule: Final = rule
        self.bad_s = 0
        self.good_s = 0
        self.index = -1
        self.newest: Explanation | None = None
        self.is_calm = True
        self.until = 0
        self.explained_by: list[_Entry] = []
        self.withheld_by: list[_Entry] = []
        self.held_by = 0
        self.explains: tuple[_Entry, ...] = ()
        self.withholds: tuple[_Entry, ...] = ()


_Call: TypeAlias = tuple[int, _Entry, Callable[[int], Verdict]]
"""Place among all entries, the entry, and the step of its rule."""


class WarningEngine:
    """Steps the rules once per closed grid second, in order, those that sleep when they are due.

    ``make_rules``: makes the rules for a session.
    """

    def __init__(
        self, session: SessionState, make_rules: Callable[[SessionState], Sequence[Rule]]
    ) -> None:
        self._session = session
        self._warnings: list[SensorWarning] = []
        self._explained: list[_Entry] = []  # those of which somebody has not heard the newest
        self._failures: list[RuleFailure] = []
        self._standing: tuple[SensorWarning, ...] | None = ()  # None: to be made anew
        self._news = True
        self._turned = False  # whether this second anything was raised, cleared, bad or calm again
        self._entries = [_Entry(rule) for rule in in_order(make_rules(session))]
        self._calls: list[_Call] = []
        self._light: dict[int, list[_Call]] = {}
        self._call_of: dict[object, _Call] = {}
        self._each: list[_Call] = []
        self._due: dict[int, list[_Call]] = {}
        self._next = 0
        self._number_entries()
        self._arrange_suppression()

    @property
    def warnings(self) -> tuple[SensorWarning, ...]:
        """All warnings so far, in order of their start."""
        self._tell_newest()
        return tuple(self._warnings)

    @property
    def log(self) -> Sequence[SensorWarning]:
        """The same without a copy and perhaps with sentences that are older: to be read only, and
        at once.
        """
        return self._warnings

    @property
    def failures(self) -> tuple[RuleFailure, ...]:
        """The rules that have failed and are switched off, in order of their failure."""
        return tuple(self._failures)

    @property
    def raised(self) -> int:
        """How many have been raised so far."""
        return len(self._warnings)

    @property
    def standing(self) -> tuple[SensorWarning, ...]:
        """Those that stand, most severe first, then the oldest."""
        if self._standing is None:
            self._tell_newest()
            standing = [self._warnings[entry.index] for entry in self._entries if entry.index >= 0]
            standing.sort(key=lambda w: (-w.severity, w.start_s, w.number))
            self._standing = tuple(standing)
        return self._standing

    def step(self, second: int) -> None:
        """Let every rule that is not asleep look at the grid second just closed.  Never raises."""
        self._next = second + 1
        if self._news or second % _ARRANGED_EVERY_S == 0:
            news, self._news = self._news, False
            self._step_from(0, second, news=news)
            return
        self._turned = False
        calls, woken = self._each, self._due.pop(second, None)
        if woken:
            calls = sorted(calls + woken)
        bad = BAD
        for place, entry, ask in calls:
            try:
                if entry.is_calm:
                    if ask(second) is not bad:
                        continue
                    self._bad(entry, second)
                else:
                    self._step_one(entry, second, news=False)
                    if not self._turned:
                        continue
                behind = place + 1
            except Exception as error:
                self._switch_off(entry, second, error)
                behind = place
            # They may be held from now on, also those that sleep.
            self._step_from(behind, second, news=False)
            return
        if woken:
            self._lay_down(woken, second)

    def _step_from(self, first: int, second: int, *, news: bool) -> None:
        """Let all entries from this place on look, and find out who sleeps from now on."""
        for entry in self._entries[first:]:
            try:
                if not entry.is_calm:
                    self._step_one(entry, second, news=news)
                elif (news or second >= entry.rule.quiet_until) and entry.rule.step(second) is BAD:
                    self._bad(entry, second)
            except Exception as error:
                self._switch_off(entry, second, error)
        self._each, self._due = [], {}
        asleep = []
        for call in self._calls:
            entry = call[1]
            if entry.is_calm and entry.rule.quiet_until > second:
                asleep.append(call)
            else:
                entry.until = 0
                self._each.append(call)
        self._lay_down(asleep, second)

    def _number_entries(self) -> None:
        self._calls = [(at, entry, entry.rule.step) for at, entry in enumerate(self._entries)]
        self._light = {}
        self._call_of = {call[1].rule: call for call in self._calls}
        for call in self._calls:
            rule = call[1].rule
            if rule.sleeps_lightly:
                self._light.setdefault(rule.sensor, []).append(call)

    def _lay_down(self, calls: Iterable[_Call], second: int) -> None:
        """Call these again when they can be bad at the earliest."""
        due = self._due
        for call in calls:
            entry = call[1]
            until = entry.rule.quiet_until
            if until <= second:
                until = second + 1
            entry.until = until
            if until in due:
                due[until].append(call)
            elif until != UNTIL_NEWS:
                due[until] = [call]

    def _step_one(self, entry: _Entry, second: int, *, news: bool) -> None:
        """Let one rule look, whatever stands of it or holds it."""
        rule = entry.rule
        is_held = entry.held_by > 0 and self._is_held(entry, second)
        if not is_held and (second >= rule.quiet_until or entry.index >= 0 or news):
            verdict = rule.step(second)
            if verdict is BAD:
                self._bad(entry, second)
            elif verdict is GOOD:
                entry.bad_s = 0
                if entry.index >= 0:
                    self._good(entry, second)
        entry.is_calm = not (entry.held_by or entry.bad_s or entry.index >= 0)
        if entry.is_calm:
            self._turned = True

    def _is_held(self, entry: _Entry, second: int) -> bool:
        """Whether another warning that stands has this one's word; if so, it has been told so."""
        if entry.explained_by:
            self._give_way(entry, second)
            return True
        if entry.index >= 0:
            return False
        entry.bad_s = 0
        self._forget(entry)
        return True

    def _good(self, entry: _Entry, second: int) -> None:
        entry.good_s += 1
        if entry.good_s >= entry.rule.clear_after_s:
            self._clear(entry, second, entry.rule.cleared())

    def _bad(self, entry: _Entry, second: int) -> None:
        entry.good_s = 0
        if entry.index >= 0:
            self._explain_anew(entry)
            return
        if entry.is_calm:
            entry.is_calm = False
            self._turned = True
        entry.bad_s += 1
        if entry.bad_s >= entry.rule.raise_after_s:
            self._raise(entry, second)

    def news(self) -> None:
        """Something else than a reading has come: rules that wait for such are asked again."""
        self._news = True

    def stir(self, sensor: int) -> None:
        """Something else than one more valid reading has come from this sensor: rules of it that
        sleep lightly are asked at the next grid second.
        """
        for call in self._light.get(sensor, ()):
            self._wake(call)

    def wake(self, rule: object) -> None:
        """Have this rule asked at the next grid second, if it is still on."""
        call = self._call_of.get(rule)
        if call is not None:
            self._wake(call)

    def _wake(self, call: _Call) -> None:
        entry = call[1]
        if entry.until <= self._next:
            return
        if entry.until != UNTIL_NEWS:
            self._due[entry.until].remove(call)
        entry.rule.quiet_until = 0
        self._lay_down((call,), self._next - 1)

    def acknowledge(self, sensor: int, kind: str, at_s: float) -> None:
        """The tester knows of what stands of this kind and sensor; nothing else changes by it."""
        for entry in self._entries:
            if entry.index < 0:
                continue
            warning = self._warnings[entry.index]
            if warning.calls and warning.sensor == sensor and warning.kind.value == kind:
                self._change(entry, replace(warning, acknowledged_s=at_s))

    def _arrange_suppression(self) -> None:
        plan = self._session.plan
        reference, tests = plan.reference, frozenset(plan.tests)
        of_sensor: dict[int, list[_Entry]] = {}
        for entry in self._entries:
            of_sensor.setdefault(entry.rule.sensor, []).append(entry)
        for winner in self._entries:
            sensor = winner.rule.sensor
            # What is wrong with a test sensor says nothing of the others; there may be fifty.
            within_reach = self._entries if sensor in (SESSION, reference) else of_sensor[sensor]
            kinds = HELD_BY.get(winner.rule.kind)
            if not kinds:
                continue
            held = [
                (entry, suppression(entry.rule, winner.rule, reference=reference, tests=tests))
                for entry in within_reach
                if entry.rule.kind in kinds
            ]
            winner.explains = tuple([one for one, how in held if how is Suppression.EXPLAINED])
            winner.withholds = tuple([one for one, how in held if how is Suppression.WITHHELD])

    def _severity_of(self, rule: Rule) -> Severity:
        row = ROW_OF.get(rule.kind)
        if rule.sensor == SESSION:
            return Severity.SESSION_FAULT
        if row is not None and row.is_notice:
            return Severity.NOTICE
        of_reference = rule.sensor == self._session.plan.reference
        return Severity.REFERENCE_FAULT if of_reference else Severity.TEST_FAULT

    def _raise(self, entry: _Entry, second: int) -> None:
        rule = entry.rule
        why = rule.explain()
        warning = SensorWarning(
            number=len(self._warnings) + 1,
            kind=rule.kind,
            sensor=rule.sensor,
            severity=self._severity_of(rule),
            since_s=max(0, min(rule.since(), second)),
            start_s=second,
            end_s=None,
            cause=why.cause,
            advice=why.advice,
            measures=why.measures,
        )
        entry.good_s = 0
        entry.index = len(self._warnings)
        self._warnings.append(warning)
        self._standing = None
        self._turned = True
        for other in entry.explains:
            other.explained_by.append(entry)
            other.held_by += 1
            other.is_calm = False
        for other in entry.withholds:
            other.withheld_by.append(entry)
            other.held_by += 1
            other.is_calm = False

    def _explain_anew(self, entry: _Entry) -> None:
        why = entry.rule.explain()
        # In most seconds nobody asks what is said of it.
        if entry.newest is None:
            self._explained.append(entry)
        entry.newest = why
        self._standing = None

    def _tell_newest(self) -> None:
        """Put the newest sentences of those that stand into their warnings."""
        for entry in self._explained:
            why, entry.newest = entry.newest, None
            if why is not None:
                self._warnings[entry.index] = replace(
                    self._warnings[entry.index],
                    cause=why.cause,
                    advice=why.advice,
                    measures=why.measures,
                )
        self._explained.clear()

    def _change(self, entry: _Entry, warning: SensorWarning) -> None:
        self._warnings[entry.index] = warning
        self._standing = None

    def _clear(self, entry: _Entry, second: int, how: str) -> None:
        self._tell_newest()
        warning = self._warnings[entry.index]
        self._change(entry, replace(warning, end_s=second, cleared=how))
        entry.index = -1
        entry.good_s = entry.bad_s = 0
        self._turned = True
        for other in entry.explains:
            other.explained_by.remove(entry)
            other.held_by -= 1
        for other in entry.withholds:
            other.withheld_by.remove(entry)
            other.held_by -= 1

    def _give_way(self, entry: _Entry, second: int) -> None:
        if entry.index >= 0:
            winner = entry.explained_by[0].rule
            whose = (
                f" of {self._session.plan.sensor(winner.sensor).label}"
                if winner.sensor not in (entry.rule.sensor, SESSION)
                else ""
            )
            self._clear(entry, second, f"Explained by the warning '{winner.kind}'{whose}.")
        entry.bad_s = entry.good_s = 0
        self._forget(entry)

    def _forget(self, entry: _Entry) -> None:
        """Until when it sleeps is forgotten as well: it is asked as soon as nothing holds it."""
        entry.rule.reset()
        entry.rule.quiet_until = 0

    def _switch_off(self, entry: _Entry, second: int, error: Exception) -> None:
        rule = entry.rule
        _log.error("the rule %r of sensor %d failed", rule.kind.value, rule.sensor, exc_info=error)
        if entry.index >= 0:
            self._clear(entry, second, "The rule failed and was switched off.")
        self._entries.remove(entry)
        self._number_entries()
        words = f"{type(error).__name__}: {error}"
        self._failures.append(RuleFailure(rule.kind, rule.sensor, second, words))
