"""Whether a reference's contact and beats hold, over the last seconds of its readings."""

from __future__ import annotations

from collections import deque
from typing import Final

from analysis.board.rules.beats import Beat, BeatJudge
from analysis.board.rules.thresholds import BeatLimits
from replay.event import NS_PER_S
from replay.payloads import RR_PER_S, HeartRate

HOLD_S: Final = 15.0
"""So long contact and beats must hold: a dry strap comes and goes within a few breaths."""
_SUM_SHARE: Final = 0.03
"""RR may be 1.024 times too long or short by the unit (a rule of the live board tells which), and
a notification arrives some tens of ms late; more is missing or doubled beats."""
_SUM_BEATS: Final = 1.5
"""The beats at both ends of the stretch belong to it in part."""
_MOST_BAD: Final = 2
"""One early beat of the heart itself may come out as two; three in 15 s are a bad seat."""


class Streak:
    """How long something has held without a break, on the caller's clock."""

    def __init__(self) -> None:
        self.since_ns = -1

    def hold(self, t_ns: int) -> None:
        """It holds now."""
        if self.since_ns < 0:
            self.since_ns = t_ns

    def end(self) -> None:
        """It does not."""
        self.since_ns = -1

    def seconds(self, t_ns: int) -> float:
        """Length so far in s; 0 if it does not hold."""
        return (t_ns - self.since_ns) / NS_PER_S if self.since_ns >= 0 else 0.0


class BeatWatch:
    """RR of one sensor: their sum against the time that passed, and each against the others.

    The sum of the RR intervals of consecutive notifications is the time between them, whatever
    the heart does; it falls short when beats are missed, and runs over when some are counted
    twice.  Single beats are judged as the live rules judge them.
    """

    def __init__(self) -> None:
        self._judge = BeatJudge(BeatLimits())
        self._heard: deque[tuple[int, float, int]] = deque()  # t_ns, RR sum in s, beats
        self._bad: deque[int] = deque()
        self.ever = False
        """Whether the sensor has sent any RR."""

    def take(self, t_ns: int, reading: HeartRate) -> None:
        """One reading with its stamp."""
        self.ever |= bool(reading.rr)
        self._heard.append((t_ns, sum(reading.rr) / RR_PER_S, len(reading.rr)))
        for rr in reading.rr:
            self._bad += [
                t_ns
                for judged in self._judge.judge(rr)
                if judged.beat not in (Beat.GOOD, Beat.EARLY)
            ]
        oldest_ns = t_ns - round(HOLD_S * NS_PER_S)
        # One notification from before the stretch stays: the first sum needs its start.
        while len(self._heard) > 1 and self._heard[1][0] <= oldest_ns:
            self._heard.popleft()
        while self._bad and self._bad[0] < oldest_ns:
            self._bad.popleft()

    def forget(self) -> None:
        """The sensor was away: what follows is a new stretch."""
        self._heard.clear()
        self._bad.clear()
        self._judge.forget()

    @property
    def span_s(self) -> float:
        """Length of the stretch that is known, in s."""
        return (self._heard[-1][0] - self._heard[0][0]) / NS_PER_S if self._heard else 0.0

    def complaint(self) -> str:
        """What is wrong with the beats of the last 15 s; empty if nothing is."""
        if len(self._bad) > _MOST_BAD:
            return f"{len(self._bad)} of its last beats cannot be a heart's"
        beats = sum(count for _, _, count in list(self._heard)[1:])
        span_s = self.span_s
        if span_s < HOLD_S / 3 or not self.ever:
            return ""
        rr_s = sum(length for _, length, _ in list(self._heard)[1:])
        usual_s = rr_s / beats if beats else span_s
        if abs(rr_s - span_s) <= _SUM_SHARE * span_s + _SUM_BEATS * usual_s:
            return ""
        what = "are missing" if rr_s < span_s else "are counted twice"
        return f"beats {what}: its RR add up to {rr_s:.1f} s in {span_s:.1f} s"
