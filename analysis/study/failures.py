"""Sessions in which a sensor lost the heart: counted and bounded, never averaged away.

A mean over sessions of which some are failures has no honest interval from few of them: of a
sensor that fails in 15 % the t interval covers .58 with 3 sessions and .84 with 12 (docs/study.md),
whatever the method, because most draws of few sessions hold no failure at all.  What can be said
is how many there were and how many there may be.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.statistics.estimate import CONFIDENCE, Interval, binomial_interval


@dataclass(frozen=True, slots=True)
class Failures:
    """``count`` of ``sessions`` were failures."""

    count: int
    sessions: int

    @property
    def interval(self) -> Interval | None:
        """Exact two-sided 95 % interval of the rate, shares (Clopper & Pearson, Biometrika
        1934;26:404–413); ``None`` without sessions.
        """
        return binomial_interval(self.count, self.sessions) if self.sessions else None

    @property
    def at_most(self) -> float | None:
        """One-sided 95 % upper bound of the rate where none was seen: 1 − .05^(1/k); else ``None``.

        >>> round(Failures(0, 12).at_most, 3)
        0.221
        """
        if self.count or not self.sessions:
            return None
        bound: float = 1 - (1 - CONFIDENCE) ** (1 / self.sessions)
        return bound
