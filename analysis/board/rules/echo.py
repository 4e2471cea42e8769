"""Evidence that the values of one sensor are those of another a constant moment later."""

from __future__ import annotations

from collections import deque
from typing import Final

from analysis.board.rules.one_heart import OneHeart
from analysis.board.rules.streams import Change, Stream
from analysis.board.rules.thresholds import RelayLimits
from replay.event import NS_PER_S

_SURE_OF_LAG: Final = 4


class Echo:
    """What one stream has in common with another.

    ``score``: evidence that it repeats the other, never below 0; ``unlike``: changes that the
    other had not shown, less those that it had; ``lags``: by how much the newest of these came
    later.  ``is_followed``: whether each change is weighed; nearly all others are not, and then
    there is no evidence.  ``one_heart``: whether their beats have lately been those of one.
    """

    __slots__ = (
        "_lag_ns", "_last_count", "_limits", "is_followed", "lags", "one_heart", "score", "source",
        "unlike",
    )  # fmt: skip

    def __init__(self, source: Stream, limits: RelayLimits) -> None:
        self.source: Final = source
        self._limits: Final = limits
        self._lag_ns: Final = round(limits.most_lag_s * NS_PER_S)
        self.is_followed = False
        self.score = 0.0
        self.unlike = 0
        self.lags: deque[float] = deque(maxlen=15)
        self._last_count = 0
        self.one_heart: Final = OneHeart(limits)

    @property
    def lag_s(self) -> float:
        """The middle of the lags kept."""
        return sorted(self.lags)[len(self.lags) // 2] if self.lags else 0.0

    def forget(self) -> None:
        """Drop the evidence; it is not followed any more."""
        self.is_followed = False
        self.score = 0.0
        self.lags.clear()

    def take(self, change: Change) -> None:
        """Weigh one change of the own stream, the other having been looked at."""
        limits, (t_ns, mbpm, weight) = self._limits, change
        usual = self.lag_s if len(self.lags) >= _SURE_OF_LAG else None
        # What arrived in the same second counts, though it be later: their order is not certain.
        known_ns, oldest_ns = -(-t_ns // NS_PER_S) * NS_PER_S, t_ns - self._lag_ns
        count, times, match, matched_s = self.source.count, 0, 0, 0.0
        for at_ns, theirs, _ in reversed(self.source.changes):
            if at_ns < oldest_ns:
                break
            if theirs == mbpm and at_ns <= known_ns:
                times += 1
                lag_s = (t_ns - at_ns) / NS_PER_S
                in_band = usual is None or abs(lag_s - usual) <= limits.lag_band_s
                if in_band and not match and count > self._last_count:
                    match, matched_s = count, lag_s
            count -= 1
        if not match:
            self._miss()
            return
        self.unlike = self.unlike - 2 if self.unlike > 2 else 0
        self._last_count = match
        self.lags.append(matched_s)
        # A value that the other shows again and again is matched at any lag.
        by_chance = min(1.0, times * 2 * limits.lag_band_s / limits.most_lag_s)
        self.score = min(self.score + weight * (1 - by_chance), 2 * limits.raise_at)

    def _miss(self) -> None:
        limits = self._limits
        self.unlike = min(self.unlike + 1, 2 * limits.clear_unlike)
        self.score = max(0.0, self.score - limits.unlike)
        if not self.score:
            self.lags.clear()
