"""Faults of the capturing computer: clock stepped, capture late, disk nearly full."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from analysis.board.rules.base import BAD, GOOD, UNSURE, UNTIL_NEWS, Explanation, Rule, Verdict
from analysis.board.rules.thresholds import SESSION, SessionLimits
from analysis.board.snapshot import Measure, WarningKind
from replay.event import NS_PER_S

if TYPE_CHECKING:
    from analysis.board.session_state import SessionState, Step


class _SessionRule(Rule):
    def __init__(self, session: SessionState, limits: SessionLimits = SESSION) -> None:
        super().__init__()
        self.session: Final = session
        self._limits = limits


class _StepRule(_SessionRule):
    """Something happened at an instant; the warning stands for a while so that it is seen."""

    least_ns: int
    stands_s: int

    def __init__(self, session: SessionState, limits: SessionLimits = SESSION) -> None:
        super().__init__(session, limits)
        self._step: Step | None = None

    def newest(self) -> Step | None:
        """The newest step that there was."""
        raise NotImplementedError

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        newest = self.newest()
        if newest is not self._step and newest is not None and abs(newest.size_ns) >= self.least_ns:
            self._step = newest
        if self._step is None:
            self.quiet_until = UNTIL_NEWS
            return UNSURE
        if second - self._step.t_ns / NS_PER_S < self.stands_s:
            self.quiet_until = 0
            return BAD
        return GOOD

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._step.t_ns // NS_PER_S if self._step else 0

    @property
    def size_s(self) -> float:
        """Size of the step in s."""
        return self._step.size_ns / NS_PER_S if self._step else 0.0


class ClockJump(_StepRule):
    """UTC moved against the capture clock: the computer slept, or its clock was set."""

    kind = WarningKind.CLOCK_JUMP

    def __init__(self, session: SessionState, limits: SessionLimits = SESSION) -> None:
        super().__init__(session, limits)
        self.least_ns = limits.jump_ns
        self.stands_s = limits.jump_stands_s

    def newest(self) -> Step | None:
        """See :class:`_StepRule`."""
        return self.session.last_jump

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        return Explanation(
            f"The computer's clock moved by {self.size_s:+.1f} s against the capture's: it slept, "
            "or its clock was set.",
            "Switch sleep off for the session; the capture goes on, on its own clock, and times of "
            "day before and after the step are kept apart.",
            (Measure("step of the clock", self.size_s, "s", self.least_ns / NS_PER_S),),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"The clock has been steady for {self.stands_s} s."


class CaptureLate(_StepRule):
    """The capture loop was blocked: the stamps of that moment are doubtful."""

    kind = WarningKind.CAPTURE_LATE

    def __init__(self, session: SessionState, limits: SessionLimits = SESSION) -> None:
        super().__init__(session, limits)
        self.least_ns = limits.late_ns
        self.stands_s = limits.late_stands_s

    def newest(self) -> Step | None:
        """See :class:`_StepRule`."""
        return self.session.last_late

    def since(self) -> int:
        """See :class:`Rule`."""
        step = self._step
        return max(0, step.t_ns - step.size_ns) // NS_PER_S if step else 0

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        return Explanation(
            f"The capture was held up for {self.size_s:.1f} s: stamps of that moment are doubtful "
            "by as much.",
            "Close other programs, and see that the computer does not save power.",
            (Measure("held up for", self.size_s, "s", self.least_ns / NS_PER_S),),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"The capture has kept up for {self.stands_s} s."


class DiskLow(_SessionRule):
    """Room runs out where the capture is written."""

    kind = WarningKind.DISK_LOW

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        del second
        free = self.session.free_bytes
        if free is None or free >= self._limits.disk_low_bytes:
            self.quiet_until = UNTIL_NEWS
        if free is None:
            return UNSURE
        if free < self._limits.disk_low_bytes:
            return BAD
        return GOOD if free >= self._limits.disk_fine_bytes else UNSURE

    def since(self) -> int:
        """See :class:`Rule`."""
        return self.session.second

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        free = (self.session.free_bytes or 0) / 1e6
        return Explanation(
            f"{free:.0f} MB are left where the capture is written.",
            "Make room on that disk now; when it is full, the capture stops.",
            (Measure("free space", free, "MB", self._limits.disk_low_bytes / 1e6),),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"There is room again: {(self.session.free_bytes or 0) / 1e6:.0f} MB."
