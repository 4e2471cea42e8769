"""Late: a test sensor that follows the reference, but far behind."""

from __future__ import annotations

from typing import TYPE_CHECKING

from live.board.rules.base import BAD, GOOD, UNSURE, Explanation, Sign
from live.board.rules.following import Following, Follows
from live.board.rules.sensor_rule import SensorRule
from live.board.rules.thresholds import LATE, LateLimits
from live.board.snapshot import Measure, WarningKind

if TYPE_CHECKING:
    from live.board.bench import Bench
    from live.board.sensor import SensorState


class Late(SensorRule):
    """The delay at which it follows best is longer than optical sensors need."""

    kind = WarningKind.LATE

    def __init__(
        self,
        bench: Bench,
        watched: SensorState,
        following: Following | None = None,
        limits: LateLimits = LATE,
    ) -> None:
        super().__init__(bench, watched)
        self._limits = limits
        self.clear_after_s = limits.clear_after_s
        self._following = following or Following(bench, watched)
        self._seen: Follows | None = None
        self._in_a_row = 0
        self._since = 0

    def step(self, second: int) -> Sign:
        """See :class:`Rule`."""
        limits = self._limits
        newest = self._following.estimate(second)
        if newest is None:
            self.quiet_until = self._following.due
            return UNSURE
        if newest is not self._seen:
            self._seen = newest
            late = (
                newest.delay_s >= limits.delay_s
                and abs(newest.mean_mbpm) <= limits.mean_mbpm
                and newest.spread_mbpm <= limits.spread_mbpm
                and newest.spread_mbpm <= limits.better * newest.spread_now_mbpm
            )
            if late and self._in_a_row == 0:
                self._since = second
            self._in_a_row = self._in_a_row + 1 if late else 0
        if self._in_a_row >= limits.estimates:
            return BAD
        self.quiet_until = self._following.due
        return GOOD if newest.delay_s <= limits.fine_s else UNSURE

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        seen = self._seen
        delay_s = seen.delay_s if seen else 0
        return Explanation(
            f"{self.name} follows {self.bench.reference.label}, but about {delay_s} s late.",
            "Nothing is lost: compare it after taking the delay out, and check that its band is "
            "snug, since a loose one makes a sensor average for longer.",
            (
                Measure("delay", delay_s, "s", self._limits.delay_s),
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
        self._in_a_row = 0
