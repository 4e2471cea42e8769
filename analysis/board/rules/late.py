"""Late: a test sensor that follows the reference, but far behind."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, Verdict
from analysis.board.rules.delay_estimate import DelayEstimate, DelayEstimator
from analysis.board.rules.sensor_rule import SensorRule
from analysis.board.rules.thresholds import LATE, LateLimits
from analysis.board.snapshot import Measure, WarningKind

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class Late(SensorRule):
    """Its delay is longer than optical sensors need, or by far longer than its own was."""

    kind = WarningKind.LATE

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        delay: DelayEstimator | None = None,
        limits: LateLimits = LATE,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._delay = delay or DelayEstimator(session, watched)
        self._seen: DelayEstimate | None = None
        self._late_in_a_row = 0
        self._fine_in_a_row = 0
        self._limit_s = limits.delay_s
        self._usual: deque[int] = deque(maxlen=limits.usual_kept)
        self._since = 0

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        newest = self._delay.estimate(second)
        if newest is None:
            self.quiet_until = self._delay.due
            return UNSURE
        if newest is not self._seen:
            self._seen = newest
            self._judge(second, newest)
        if self._late_in_a_row >= self._limits.estimates:
            return BAD
        self.quiet_until = self._delay.due
        return GOOD if self._fine_in_a_row >= self._limits.fine_estimates else UNSURE

    def _judge(self, second: int, newest: DelayEstimate) -> None:
        limits = self._limits
        if not (
            abs(newest.mean_mbpm) <= limits.mean_mbpm and newest.spread_mbpm <= limits.spread_mbpm
        ):
            self._late_in_a_row = 0
            return
        usual = sorted(self._usual)[len(self._usual) // 2] if self._usual else limits.delay_s
        own = max(usual + limits.more_s, limits.more_least_s)
        self._limit_s = (
            min(own, limits.delay_s) if len(self._usual) >= limits.usual else (limits.delay_s)
        )
        late = (
            newest.delay_s >= self._limit_s
            and newest.spread_mbpm <= limits.better * newest.spread_now_mbpm
        )
        fine = newest.delay_s <= self._limit_s - limits.fine_s
        if late and self._late_in_a_row == 0:
            self._since = second
        self._late_in_a_row = self._late_in_a_row + 1 if late else 0
        if not fine:
            self._fine_in_a_row = 0
        else:
            self._fine_in_a_row += 1
            self._usual.append(newest.delay_s)

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        seen = self._seen
        delay_s = seen.delay_s if seen else 0
        return Explanation(
            f"{self.name} follows {self.session.reference.label}, but about {delay_s} s late.",
            "Nothing is lost: compare it after taking the delay out, and check that its band is "
            "snug, since a loose one makes a sensor average for longer.",
            (
                Measure("delay", delay_s, "s", self._limit_s),
                Measure("spread at that delay", seen.spread_mbpm / 1000 if seen else 0, "bpm"),
                Measure("spread without it", seen.spread_now_mbpm / 1000 if seen else 0, "bpm"),
            ),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        delay_s = self._seen.delay_s if self._seen else 0
        return f"It follows within {delay_s} s again."

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._late_in_a_row = 0
