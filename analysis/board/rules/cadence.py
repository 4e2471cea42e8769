"""Stuck on cadence: the value follows the steps or the cranks instead of the heart."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from analysis.board.rules.base import (
    BAD,
    GOOD,
    UNSURE,
    UNTIL_NEWS,
    Explanation,
    SensorRule,
    Verdict,
)
from analysis.board.rules.deviation import Deviation, deviation_of
from analysis.board.rules.thresholds import CADENCE, CadenceLimits
from analysis.board.snapshot import Measure, WarningKind
from analysis.statistics.pairing import NO_VALUE

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class OnCadence(SensorRule):
    """Near the cadence (or twice, or half of it) while the reference is elsewhere, for long.

    A heart that happens to be near the cadence is told from it by the reference, which then
    agrees; while the reference has no value, by the other test sensors.  Without a cadence sensor
    a value is suspected that lies flat in the range of running steps, away from a reference that
    others agree with, without having followed it there.
    """

    kind = WarningKind.ON_CADENCE

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        deviation: Deviation | None = None,
        limits: CadenceLimits = CADENCE,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._deviation = deviation or deviation_of(session, watched)
        self._deviation.told.append(self)
        self._pods = tuple(sensor for sensor in session.sensors if sensor.is_companion)
        self._score = 0.0
        self._since = 0
        self._off_s = 0
        self._multiple = 1.0
        self._cadence = 0.0

    @property
    def suspected(self) -> bool:
        """Whether it has been near the cadence for long enough to lose its vote."""
        return self._score >= self._limits.raise_s / 2

    @property
    def on_counted_cadence(self) -> bool:
        """Whether it has lately been on a cadence that a sensor counts, and apart for no reason."""
        return self._score > 0 and self._cadence > 0

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        now = self._deviation.look(second)
        self.quiet_until = 0
        if now.paired and now.side == 0:
            if self._score:
                return self._away()
            self.quiet_until = UNTIL_NEWS  # nearly always
            return GOOD
        known = any(pod.has_cadence for pod in self._pods)
        if not now.paired and not (known and self._can_ask_others(second)):
            return UNSURE
        if not self._is_near(second, known=known):
            return self._away()
        self._off_s = 0
        needed = self._limits.raise_s if known and now.paired else self._limits.without_s
        if now.unexplained or not now.paired:
            if self._score == 0:
                self._since = second
            weight = self._limits.blunt_weight if now.follows and now.paired else 1.0
            self._score = min(self._score + weight, needed)
        return BAD if self._score >= needed else UNSURE

    def _is_near(self, second: int, *, known: bool) -> bool:
        """Whether it is where the cadence is, and what should agree with it is not; ``known``:
        whether there is a cadence.
        """
        now = self._deviation
        if not now.paired:
            return self._near_cadence(second) and self._others_are_elsewhere(second)
        if now.reference_leapt:
            return False  # a reference that leaps away leaves the others where the heart is
        return self._near_cadence(second) if known else self._like_cadence(second)

    def _away(self) -> Verdict:
        self._off_s += 1
        if self._score == 0:
            return GOOD
        self._score = max(0.0, self._score - 1)
        if self._off_s >= self._limits.clear_s:
            self._score = 0.0
        return GOOD if self._score == 0 else UNSURE

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        second = self.session.second
        value = self.watched.held[second] / 1000
        reference, label = self._beside(second)
        for_s = second - self._since + 1
        if self._cadence:
            of = {1.0: "the cadence of", 2.0: "twice the cadence of", 0.5: "half the cadence of"}
            words = of.get(self._multiple, f"{self._multiple:g} times the cadence of")
            what = f"has followed {words} {self._cadence:.0f} a minute"
        else:
            what = "has lain flat in the range of running steps"
        return Explanation(
            f"{self.name} {what} for {for_s} s: {value:.0f} bpm, while "
            f"{label} shows {reference:.0f}.",
            "Tighten its band and move it up the arm, away from the wrist bone; a change of step "
            "rate for half a minute often frees it.",
            (
                Measure("evidence", self._score, "s", self._limits.raise_s),
                Measure("cadence", self._cadence, "1/min"),
                Measure("multiple", self._multiple, ""),
                Measure(f"difference to {label}", value - reference, "bpm"),
            ),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"It has left the cadence: {self.watched.newest_valid_mbpm / 1000:.0f} bpm."

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._score = 0.0
        self._off_s = 0

    def _can_ask_others(self, second: int) -> bool:
        """Whether it has a value, and others have while the reference has none."""
        return (
            self.watched.held[second] != NO_VALUE
            and self.session.reference.held[second] == NO_VALUE
            and any(test.held[second] != NO_VALUE for test in self._others())
        )

    def _others(self) -> Iterator[SensorState]:
        return (test for test in self.session.tests if test is not self.watched)

    def _others_are_elsewhere(self, second: int) -> bool:
        """Without a reference: whether no other test sensor agrees with it."""
        value, within = self.watched.held[second], self.session.tolerance.within
        values = [test.held[second] for test in self._others()]
        return not any(within(other, value) for other in values if other != NO_VALUE)

    def _beside(self, second: int) -> tuple[float, str]:
        """Value in bpm and name of what it is held against."""
        for sensor in (self.session.reference, *self._others()):
            if sensor.held[second] != NO_VALUE:
                return sensor.held[second] / 1000, sensor.label
        return 0.0, self.session.reference.label

    def _near_cadence(self, second: int) -> bool:
        value, limits = self.watched.held[second], self._limits
        for pod in self._pods:
            if not pod.has_cadence:
                continue
            cadence = pod.cadences[second]
            for multiple in limits.multiples:
                if abs(value - 1000 * multiple * cadence) <= limits.near_mbpm and cadence > 0:
                    self._multiple, self._cadence = multiple, cadence
                    return True
        return False

    def _like_cadence(self, second: int) -> bool:
        limits, held = self._limits, self.watched.held
        value = held[second]
        if not limits.steps_low_mbpm <= value <= limits.steps_high_mbpm or second < limits.flat_s:
            return False
        recent = held[second - limits.flat_s : second + 1]
        low, high = min(recent), max(recent)
        if low == NO_VALUE or high - low > limits.flat_mbpm:
            return False
        self._cadence = 0.0
        reference = self.session.reference.held[second]
        within = self.session.tolerance.within
        return any(
            test is not self.watched
            and test.held[second] != NO_VALUE
            and within(reference, test.held[second])
            for test in self.session.tests
        )
