"""Whether the beats of two sensors have lately been those of one heart.

What is told every few seconds is kept, and held against each other only when somebody asks: a rule
wants to know it seldom, and one match that was found answers for as long as it counts.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import Final

from analysis.board.rules.beat_match import match_beats
from analysis.board.rules.thresholds import RelayLimits


class _Told:
    """The newest beats of both at one moment; ``is_one``: ``None`` until they were compared."""

    __slots__ = ("is_one", "ours", "theirs")

    def __init__(self, ours: Sequence[int], theirs: Sequence[int]) -> None:
        self.ours: Final = ours
        self.theirs: Final = theirs
        self.is_one: bool | None = None


class OneHeart:
    """Two that measure one heart send nearly the same RR, and agree in bpm by right."""

    __slots__ = ("_limits", "_most", "_told")

    def __init__(self, limits: RelayLimits) -> None:
        self._limits: Final = limits
        self._most: Final = -(-limits.clear_s // limits.every_s)
        self._told: Final[deque[_Told]] = deque(maxlen=self._most)

    def take(self, ours: Sequence[int], theirs: Sequence[int]) -> None:
        """The newest RR of both, 1/1024 s, every ``every_s``; they must not change afterwards."""
        self._told.append(_Told(ours, theirs))

    @property
    def is_denied(self) -> bool:
        """Whether what was told within ``clear_s``, all of it, was not of one heart."""
        told = self._told
        if len(told) < self._most or any(one.is_one for one in told):
            return False
        return not any(self._is_one(one) for one in reversed(told))

    def _is_one(self, told: _Told) -> bool:
        if told.is_one is None:
            limits = self._limits
            least = limits.one_heart_share * len(told.ours)
            match = match_beats(
                told.ours,
                told.theirs,
                factor=1.0,
                most_off=limits.one_heart_off,
                ahead=limits.lost_rr,
                least=least,
            )
            told.is_one = len(match.pairs) >= least
        return told.is_one
