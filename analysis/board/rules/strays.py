"""How telling a bad beat is on this strap: what it says for bad contact, against mere chance."""

from __future__ import annotations

from collections import deque
from math import log
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.board.rules.thresholds import StrayLimits


class Strays:
    """Told of each beat of a strap; weighs the bad ones.

    A well-seated strap misses or doubles single beats, too.  They come by chance, one in some
    hundreds, and stand alone; those of bad contact come close together.  The weight of a bad beat
    is the logarithm of the likelihood ratio of the two (cumulative sum of a Poisson process: Page,
    Biometrika 1954; Lucas, Technometrics 1985), where chance is as frequent as this strap has shown
    by the bad beats that stood alone.
    """

    def __init__(self, limits: StrayLimits) -> None:
        self._limits = limits
        self._beats = 0
        self._bad: deque[int] = deque()
        self._alone: deque[int] = deque()
        self._newest: int | None = None
        self._newest_is_near = False

    def count(self, beats: int = 1) -> None:
        """So many beats have come, of whatever kind."""
        self._beats += beats

    def take(self) -> float:
        """The beat just counted is bad; its weight, in nats."""
        limits, newest = self._limits, self._newest
        weight = self.weight  # before the newest counts: the two may be of one episode
        is_near = newest is not None and self._beats - newest <= limits.together
        if newest is not None and not is_near and not self._newest_is_near:
            self._alone.append(newest)
        self._newest, self._newest_is_near = self._beats, is_near
        self._bad.append(self._beats)
        return weight

    @property
    def weight(self) -> float:
        """What one bad beat weighs by now, in nats."""
        limits, alone = self._limits, self._alone
        while alone and self._beats - alone[0] > limits.kept:
            alone.popleft()
        seen = min(self._beats, limits.kept)
        chance = (limits.prior_strays + len(alone)) / (limits.prior_beats + seen)
        return min(max(log(limits.share / chance), limits.least), limits.most)

    @property
    def too_many(self) -> bool:
        """Whether more were bad lately than chance makes, however far apart."""
        limits, bad = self._limits, self._bad
        while bad and self._beats - bad[0] >= limits.among:
            bad.popleft()
        return len(bad) >= limits.many

    def is_bad(self) -> None:
        """It is told that the strap sits badly: its bad beats so far are no measure of chance, and
        are not told again.
        """
        self._alone.clear()
        self._bad.clear()

    def forget(self) -> None:
        """Bad beats so far are explained; how often single ones came is still known."""
        self._bad.clear()
        self._newest = None
