"""No contact: the sensor is off the skin, by its contact bits, its bpm or its missing beats."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from analysis.board.rules.base import (
    BAD,
    GOOD,
    UNSURE,
    UNTIL_NEWS,
    Explanation,
    SensorRule,
    Verdict,
    age_s,
)
from analysis.board.rules.thresholds import CONTACT, ContactLimits
from analysis.board.snapshot import Measure, WarningKind
from analysis.board.unread import BySecond, Unread
from replay.event import NS_PER_S

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState
    from replay.payloads import HeartRate


class NoContact(SensorRule):
    """Readings arrive, and none of them can be of a heart.

    Looks at the contact bits, at a bpm of 0 or out of range, and at beats that have stopped coming
    from a sensor that sends them.  Optical sensors hold RR back while the arm moves, straps do not:
    on a test sensor the bpm must have stood still as well.
    """

    kind = WarningKind.NO_CONTACT
    sleeps_lightly = True

    def __init__(
        self, session: SessionState, watched: SensorState, limits: ContactLimits = CONTACT
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._unread = Unread(watched)
        self._no_beats_ns = round(limits.no_beats_s * NS_PER_S)
        self._held_ns = round(limits.held_s * NS_PER_S)
        self._mbpm = -1
        self._same_since_ns = 0
        self._score_s = 0
        self._bad_readings = 0
        self._since = 0
        self._sign = ""
        self._last_beat_ns = -1
        self._without = 0
        self._beat_gaps: deque[int] = deque(maxlen=limits.beat_gaps_kept)

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`.

        While the newest reading is valid only beats can be missing: one that is not wakes it.
        """
        self.quiet_until = 0
        watched, now_ns = self.watched, second * NS_PER_S
        fresh, newest = watched.fresh, watched.newest
        if watched.sends_rr:
            self._count_beats(self._unread.take(second))
        if not fresh and (newest is None or now_ns - watched.last_ns > watched.hold_ns):
            # Off the skin sensors send less, then nothing: no more is known than at the last one.
            return BAD if self._is_enough else UNSURE
        bad = self._look(fresh)
        if not bad and self._beats_stopped(second):
            return self._no_beats()
        if not bad and self._score_s == 0:
            self._bad_readings = 0
            if newest is not None and newest.valid_mbpm is not None:
                self.quiet_until = self._sleeps_until()
            return GOOD  # nearly always
        if bad and watched.is_acquiring(now_ns):
            return UNSURE
        return self._weigh(second, bad=bad)

    def _sleeps_until(self) -> int:
        if self.watched.sends_rr:
            return (self._last_beat_ns + self._no_beats_ns) // NS_PER_S
        return UNTIL_NEWS

    def _weigh(self, second: int, *, bad: bool) -> Verdict:
        """Bad seconds add to the evidence, good ones take from it."""
        if bad:
            if self._score_s == 0:
                self._since = second
            self._score_s += self._score_s < self._needed_s + self._limits.most_s
        elif self._score_s:
            self._score_s -= 1
        if self._score_s == 0:
            self._bad_readings = 0
            return GOOD
        return BAD if self._is_enough else UNSURE

    @property
    def _is_enough(self) -> bool:
        enough = self._bad_readings >= self._limits.least_readings
        return enough and self._score_s >= self._needed_s

    @property
    def _needed_s(self) -> int:
        return self._limits.range_s if self._sign == "range" else self._limits.raise_s

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        second = self.session.second
        for_s = second - self._since
        bpm = self.watched.newest.bpm if self.watched.newest else 0.0
        measures = [Measure("seconds without contact", for_s, "s", self._needed_s)]
        match self._sign:
            case "contact":
                cause = f"{self.name} says that it has had no skin contact for {for_s} s"
                cause += ", and sends RR that no heart has." if self._has_odd_rr() else "."
            case "zero":
                cause = f"{self.name} has sent 0 bpm for {for_s} s."
            case "beats":
                quiet = age_s(second, self._last_beat_ns)
                cause = (
                    f"{self.name} has reported no beat for {quiet:.0f} s, though it goes on "
                    f"sending {bpm:.0f} bpm."
                )
                measures = [Measure("time without a beat", quiet, "s", self._limits.no_beats_s)]
            case _:
                cause = f"{self.name} has sent {bpm:.0f} bpm, which no heart has, for {for_s} s."
        measures.append(Measure("bpm sent", bpm, "bpm"))
        advice = self.seat_advice
        if self._sign == "beats" and not self.watched.is_reference:
            advice += " If its value still does not change, switch it off and on: it is frozen."
        return Explanation(cause, advice, tuple(measures))

    def cleared(self) -> str:
        """See :class:`Rule`."""
        bpm = self.watched.newest.bpm if self.watched.newest else 0.0
        return f"Contact is back: {bpm:.0f} bpm."

    def reset(self) -> None:
        """See :class:`Rule`."""
        if self.watched.sends_rr:
            self._count_beats(self._unread.pass_over())
        self._score_s = self._bad_readings = 0
        self._last_beat_ns = -1

    def _look(self, fresh: list[tuple[int, HeartRate]]) -> bool:
        """Count the bad readings; whether the newest one is bad."""
        if self._score_s == 0 and self.watched.last_valid_ns == self.watched.last_ns:
            self._bad_readings = 0
            return False  # most seconds of most sensors
        for _, reading in fresh:
            if reading.valid_mbpm is None:
                self._bad_readings += 1
        newest = self.watched.newest
        if newest is None or newest.valid_mbpm is not None:
            return False
        if newest.contact is False:
            self._sign = "contact"
        else:
            self._sign = "zero" if newest.mbpm == 0 else "range"
        return True

    def _has_odd_rr(self) -> bool:
        newest = self.watched.newest
        low, high = self._limits.least_rr, self._limits.most_rr
        return newest is not None and not all(low <= rr <= high for rr in newest.rr)

    def _count_beats(self, unread: BySecond) -> None:
        for _, readings in unread:
            for t_ns, reading in readings:
                mbpm, _, _, rr, _ = reading
                if mbpm != self._mbpm:
                    self._mbpm = mbpm
                    self._same_since_ns = t_ns
                if not rr:
                    self._without += 1
                    continue
                if self._last_beat_ns >= 0:
                    self._beat_gaps.append(t_ns - self._last_beat_ns)
                self._last_beat_ns = t_ns
                self._without = 0

    def _beats_stopped(self, second: int) -> bool:
        limits, gaps = self._limits, self._beat_gaps
        if (
            self._last_beat_ns < 0
            or second * NS_PER_S - self._last_beat_ns <= self._no_beats_ns
            or self._without < limits.no_beats_readings
            or len(gaps) < limits.beats_usual
        ):
            return False
        if not self.watched.is_reference:
            moved_ns = max(self._same_since_ns, self._last_beat_ns)
            if second * NS_PER_S - moved_ns < self._held_ns:
                return False
        return sorted(gaps)[len(gaps) * 9 // 10] * 2 <= self._no_beats_ns

    def _no_beats(self) -> Verdict:
        if self._sign != "beats" or self._score_s == 0:
            self._since = self._last_beat_ns // NS_PER_S
        self._sign = "beats"
        self._score_s = self._limits.raise_s
        self._bad_readings = self._limits.least_readings
        return BAD
