"""Thinning: notifications arrive at well under the sensor's own rate."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import deque
from math import ceil
from operator import sub
from typing import TYPE_CHECKING

import numpy as np

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, SensorRule, Verdict
from analysis.board.rules.losses import lost_share
from analysis.board.rules.thresholds import SILENT, THINNING, ThinningLimits
from analysis.board.snapshot import Measure, WarningKind
from replay.link_state import LinkState

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class Thinning(SensorRule):
    """Compares the readings of the last seconds with what was usual while all was well.

    A link that loses single notifications all the time loses many of one window by chance: where so
    few come too often by chance, the next window must be as thin.

    Seconds in which all was well are counted when it wakes, for which the counts of two windows
    must be kept.
    """

    kind = WarningKind.THINNING
    sleeps_lightly = True  # a link that is closed

    def __init__(
        self, session: SessionState, watched: SensorState, limits: ThinningLimits = THINNING
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self.raise_after_s = limits.raise_after_s
        self.clear_after_s = limits.clear_after_s
        self._usual: deque[int] = deque(maxlen=limits.kept_s // limits.window_s)
        self._first = -1  # grid second from which on readings are counted
        self._counted = -1  # the last one counted towards a block
        self._until_block = limits.window_s
        self._usual_count = 0.0
        self._thin = self._fine = 0  # from so many on it is not thin, and all is well
        self._well = 0  # valid readings by when all was well
        self._thin_s = 0

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        self.quiet_until = 0
        came, limits = self.watched.came, self._limits
        if self._first < 0:
            if came[-1] == came[-2]:
                return UNSURE
            self._first = second
            self._counted = second + limits.window_s - 2
        if second <= self._counted:
            self.quiet_until = self._counted + 1
            return UNSURE
        self._sum = came[-1] - came[-1 - limits.window_s]
        is_well = self._sum >= self._fine and self.watched.link is not LinkState.STOPPED
        if is_well and second < self._counted + self._until_block:
            self._thin_s = 0
            self.quiet_until = self._sleeps_until(second)
            return GOOD
        self._count_slept(second)
        if self.watched.link is LinkState.STOPPED:
            return UNSURE
        if self._sum < self._thin:
            self._thin_s += 1
            if self._thin_s <= limits.window_s and self._comes_by_chance(self._lost):
                return UNSURE
            return BAD
        self._thin_s = 0
        if not is_well:
            return UNSURE
        self._until_block -= 1
        if self._until_block <= 0:
            self._learn()
        self.quiet_until = self._sleeps_until(second)
        return GOOD

    def _learn(self) -> None:
        """All has been well for a window: what came in it is usual."""
        limits = self._limits
        self._until_block = limits.window_s
        self._usual.append(self._sum)
        usual = sorted(self._usual)
        self._usual_count = usual[len(usual) // 2]
        self._well = len(self.watched.times)
        if self._usual_count >= limits.least_usual:
            self._thin = ceil(limits.thin * self._usual_count)
            self._fine = ceil(limits.fine * self._usual_count)
        else:
            self._thin = self._fine = 0

    def _count_slept(self, second: int) -> None:
        """Count the seconds before this one in which all was well: none of them was thin."""
        window_s, came = self._limits.window_s, list(self.watched.came)
        slept, self._counted = second - 1 - self._counted, second
        sums = map(sub, came[-1 - slept : -1], came[-1 - slept - window_s :])
        ordered = sorted(sums)
        self._until_block -= len(ordered) - bisect_left(ordered, self._fine)

    def _sleeps_until(self, second: int) -> int:
        """Until it may learn, or has seen so few that it may be thin if no more come."""
        came, window_s = self.watched.came, self._limits.window_s
        first = len(came) - 1 - window_s
        not_thin_s = bisect_right(came, came[-1] - self._thin, first) - first
        return min(self._counted + self._until_block, second + not_thin_s)

    @property
    def _lost(self) -> float:
        """The share that its link lost while all was well; asked for only where few have come."""
        times = self.watched.times.view[max(0, self._well - SILENT.counted - 1) : self._well]
        return lost_share(np.diff(times))

    def _comes_by_chance(self, lost: float) -> bool:
        """Whether a link that loses such a share makes windows as thin as this one too often to be
        a fault.
        """
        lost = max(lost, self._limits.least_lost)
        sent = max(round(self._usual_count / (1 - lost)), self._sum + 1)
        windows_per_h = 3600 / self._limits.window_s
        return windows_per_h * falls_a_window(self._sum, sent, lost) > self._limits.per_h

    def since(self) -> int:
        """See :class:`Rule`."""
        return self.session.second - self._limits.window_s

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        window = self._limits.window_s
        rate, usual = self._sum / window, self._usual_count / window
        return Explanation(
            f"{self.name} sends {rate:.1f} readings a second instead of its usual {usual:.1f}.",
            "Turn so that the body is not in between, or move the computer closer.",
            (Measure("readings a second", rate, "1/s", self._limits.thin * usual),
             Measure("usual readings a second", usual, "1/s")),
        )  # fmt: skip

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"It sends {self._sum / self._limits.window_s:.1f} readings a second again."

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._first = self._counted = -1
        self._sum = self._thin_s = 0
        self._until_block = self._limits.window_s


def falls_a_window(count: int, sent: int, lost: float) -> float:
    """How often per window the readings of the last ``sent`` notifications fall to ``count``.

    Losses are taken to be independent, each with chance ``lost``: the count falls where one that
    came leaves the window, one that was lost enters it, and ``count`` of the others have come.
    """
    others = sent - 1
    # By logarithms, since the binomial coefficient of a fast sensor is no float any more.
    ways = math.lgamma(others + 1) - math.lgamma(count + 1) - math.lgamma(others - count + 1)
    chance = ways + count * math.log1p(-lost) + (others - count) * math.log(lost)
    return sent * lost * (1 - lost) * math.exp(chance)
