"""Raises and clears the warnings: hysteresis, precedence, and the list of all of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from analysis.board.rules.base import GOOD, UNSURE, UNTIL_NEWS, Rule, severity_of
from analysis.board.rules.suppression import Yield, gives_way, in_order
from analysis.board.snapshot import SensorWarning
from replay.event import SESSION

if TYPE_CHECKING:
    from analysis.board.session_state import Bench


class _Slot:
    """One rule and what stands of it.

    ``index``: of its standing warning in the list, −1 if none stands.  ``taken_by``,
    ``withheld_by``: slots with a standing warning that this one gives way to.
    """

    __slots__ = (
        "aspect", "bad_s", "good_s", "index", "rule", "taken_by", "takes", "withheld_by",
        "withholds",
    )  # fmt: skip

    def __init__(self, rule: Rule) -> None:
        self.rule: Final = rule
        self.bad_s = 0
        self.good_s = 0
        self.index = -1
        self.aspect = ""
        self.taken_by: list[_Slot] = []
        self.withheld_by: list[_Slot] = []
        self.takes: tuple[_Slot, ...] = ()
        self.withholds: tuple[_Slot, ...] = ()


class Referee:
    """Steps all rules once per closed grid second.

    ``make_rules``: makes the rules for a bench.
    """

    def __init__(self, bench: Bench, make_rules: Callable[[Bench], Sequence[Rule]]) -> None:
        self._bench = bench
        self._warnings: list[SensorWarning] = []
        self._news = True
        self._slots = [_Slot(rule) for rule in in_order(make_rules(bench))]
        self._awake = [(slot, slot.rule) for slot in self._slots]
        for winner in self._slots:
            winner.takes = self._yielding(winner, Yield.TAKEN_OVER)
            winner.withholds = self._yielding(winner, Yield.WITHHELD)

    @property
    def warnings(self) -> tuple[SensorWarning, ...]:
        """All warnings so far, in order of their start."""
        return tuple(self._warnings)

    @property
    def raised(self) -> int:
        """How many have been raised so far."""
        return len(self._warnings)

    @property
    def standing(self) -> tuple[SensorWarning, ...]:
        """Those that stand, most severe first, then the oldest."""
        standing = [self._warnings[slot.index] for slot in self._slots if slot.index >= 0]
        return tuple(sorted(standing, key=lambda w: (-w.severity, w.start_s, w.number)))

    def step(self, second: int) -> None:
        """Let every rule look at the grid second that was just closed."""
        news, self._news = self._news, False
        if news:
            self._awake = [(slot, slot.rule) for slot in self._slots]
        for slot, rule in self._awake:
            if slot.taken_by:
                self._give_way(slot, second)
                continue
            stands = slot.index >= 0
            if not stands:
                if slot.withheld_by:
                    slot.bad_s = 0
                    rule.reset()
                    continue
                if second < rule.quiet_until and not news:
                    continue
            sign = rule.step(second)
            if sign is UNSURE:
                continue
            if sign is GOOD:
                slot.bad_s = 0
                if stands:
                    slot.good_s += 1
                    if slot.good_s >= rule.clear_after_s:
                        self._clear(slot, second, rule.cleared())
            else:
                slot.good_s = 0
                if not stands:
                    slot.bad_s += 1
                    if slot.bad_s >= rule.raise_after_s:
                        self._raise(slot, second)
                elif rule.aspect != slot.aspect:
                    self._explain_anew(slot)
        if news:
            self._awake = [
                (slot, rule)
                for slot, rule in self._awake
                if slot.index >= 0 or rule.quiet_until != UNTIL_NEWS
            ]

    def news(self) -> None:
        """Something else than a reading has come: rules that wait for such are asked again."""
        self._news = True

    def acknowledge(self, sensor: int, kind: str, at_s: float) -> None:
        """The tester knows of what stands of this kind and sensor; nothing else changes by it."""
        for slot in self._slots:
            if slot.index < 0:
                continue
            warning = self._warnings[slot.index]
            if warning.calls and warning.sensor == sensor and warning.kind.value == kind:
                self._warnings[slot.index] = replace(warning, acknowledged_s=at_s)

    def _yielding(self, winner: _Slot, how: Yield) -> tuple[_Slot, ...]:
        plan = self._bench.plan
        tests = frozenset(plan.tests)
        return tuple(
            slot
            for slot in self._slots
            if gives_way(slot.rule, winner.rule, reference=plan.reference, tests=tests) is how
        )

    def _raise(self, slot: _Slot, second: int) -> None:
        rule = slot.rule
        why = rule.explain()
        slot.index = len(self._warnings)
        slot.aspect = rule.aspect
        slot.good_s = 0
        self._warnings.append(
            SensorWarning(
                number=len(self._warnings) + 1,
                kind=rule.kind,
                sensor=rule.sensor,
                severity=severity_of(
                    rule.kind,
                    of_session=rule.sensor == SESSION,
                    of_reference=rule.sensor == self._bench.plan.reference,
                ),
                since_s=max(0, min(rule.since(), second)),
                start_s=second,
                end_s=None,
                cause=why.cause,
                advice=why.advice,
                measures=why.measures,
            )
        )
        for other in slot.takes:
            other.taken_by.append(slot)
        for other in slot.withholds:
            other.withheld_by.append(slot)

    def _explain_anew(self, slot: _Slot) -> None:
        why = slot.rule.explain()
        slot.aspect = slot.rule.aspect
        self._warnings[slot.index] = replace(
            self._warnings[slot.index], cause=why.cause, advice=why.advice, measures=why.measures
        )

    def _clear(self, slot: _Slot, second: int, how: str) -> None:
        self._warnings[slot.index] = replace(self._warnings[slot.index], end_s=second, cleared=how)
        slot.index = -1
        slot.good_s = slot.bad_s = 0
        for other in slot.takes:
            other.taken_by.remove(slot)
        for other in slot.withholds:
            other.withheld_by.remove(slot)

    def _give_way(self, slot: _Slot, second: int) -> None:
        if slot.index >= 0:
            winner = slot.taken_by[0].rule
            whose = (
                f" of {self._bench.plan.sensor(winner.sensor).label}"
                if winner.sensor not in (slot.rule.sensor, SESSION)
                else ""
            )
            self._clear(slot, second, f"Explained by the warning '{winner.kind}'{whose}.")
        slot.bad_s = slot.good_s = 0
        slot.rule.reset()
