"""Unit slip: RR intervals in another unit than 1/1024 s."""

from __future__ import annotations

from collections import deque
from math import inf
from typing import TYPE_CHECKING, Final, NamedTuple

from analysis.board.rules.base import (
    BAD,
    GOOD,
    UNSURE,
    UNTIL_NEWS,
    Explanation,
    SensorRule,
    Verdict,
)
from analysis.board.rules.beat_phase import UnitEvidence
from analysis.board.rules.thresholds import UNIT_SLIP, UnitSlipLimits
from analysis.board.snapshot import Measure, WarningKind
from replay.event import NS_PER_S
from replay.payloads import RR_PER_S

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState

_NO_BEAT_NS: Final = 5 * NS_PER_S // 2
_WAVERS: Final = 1.7
_AWAY: Final = 5

_made: Final = tuple.__new__
"""Makes a total without the detour through names: there is one for each notification."""


class _Total(NamedTuple):
    """At ``t_ns``, sums since the account began: time heard, ticks of RR, beats, bpm, readings,
    and how often notifications were lost.
    """

    t_ns: int
    heard_ns: int
    ticks: int
    beats: int
    mbpm: int
    readings: int
    lost: int


def _time_over_rr(first: _Total, last: _Total) -> float:
    ticks = last.ticks - first.ticks
    return (last.heard_ns - first.heard_ns) / NS_PER_S / (ticks / RR_PER_S) if ticks else 0.0


class UnitSlip(SensorRule):
    """RR that are 1.024 times, or 1/1.024 of, what the time that passed allows.

    Beats left out shorten their sum, too, but they go missing whole, and then each RR still agrees
    with the bpm: what a slip takes away evenly shows in when the beats come (see
    :mod:`.beat_phase`), the more of it is asked for where the sum does not say the same.
    """

    kind = WarningKind.UNIT_SLIP
    sleeps_lightly = True

    def __init__(
        self, session: SessionState, watched: SensorState, limits: UnitSlipLimits = UNIT_SLIP
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self.raise_after_s = limits.raise_after_s
        self.clear_after_s = limits.clear_after_s
        self._span_ns = round(limits.span_s * NS_PER_S)
        self._longest_ns = round(limits.lossy_span_s * NS_PER_S)
        # Those of the newest stretch that suffices, and those from before it, oldest first.
        self._totals: deque[_Total] = deque()
        self._before: deque[_Total] = deque()
        self._spacing_ns = 0.0
        self._last_ns = -1
        self._beat_ns = -1
        self._slips: Final = (limits.slip, 1 / limits.slip)
        self._evidence: Final = UnitEvidence(self._slips, limits)
        self._ratio = 1.0
        self._against_bpm = 1.0
        self._slip = limits.slip
        self._since = 0
        self._factor = 1.0

    @property
    def factor(self) -> float:
        """What the RR must be multiplied with to be in 1/1024 s, as far as is known."""
        return self._factor

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`.  Until RR come there is nothing to weigh."""
        del second
        if not self.watched.sends_rr:
            self.quiet_until = UNTIL_NEWS
            return UNSURE
        fresh, totals = self.watched.fresh, self._totals
        for t_ns, reading in fresh:
            if reading.rr or totals:
                self._take(t_ns, reading.rr, reading.valid_mbpm)
        if not totals or not fresh:
            return UNSURE
        first, last = self._first(), totals[-1]
        if first is None:
            return UNSURE
        ticks, beats = last.ticks - first.ticks, last.beats - first.beats
        count = last.readings - first.readings
        if not ticks or not beats or not count:
            return UNSURE
        if not self._evidence.is_there:
            self._factor = 1.0
            return GOOD  # nearly always
        limits, bpm = self._limits, last.mbpm - first.mbpm
        self._ratio = _time_over_rr(first, last)
        self._against_bpm = ticks / RR_PER_S / beats * (bpm / count / 1000) / 60
        slip = max(self._slips, key=self._evidence.of)
        evidence, by_sum = self._evidence.of(slip), self._is_by_sum(slip)
        if evidence >= self._needed(slip, by_sum=by_sum):
            self._slip = self._factor = slip
            self._since = (first.t_ns if by_sum else self._evidence.begun_ns(slip)) // NS_PER_S
            return BAD
        if evidence and abs(self._ratio - 1) > limits.fine:
            return UNSURE
        self._factor = 1.0
        return GOOD

    def _needed(self, slip: float, *, by_sum: bool) -> float:
        """Evidence that is asked for.  RR that are too long make the newest beat seem older, as
        beats that are left out do: without the sum of the RR these are not told apart.
        """
        limits = self._limits
        if by_sum:
            return limits.evidence
        return limits.evidence_alone if slip > 1 else inf

    def _is_by_sum(self, slip: float) -> bool:
        """Whether the sum of the RR is what this slip would make of it, against time and bpm."""
        limits = self._limits
        return (
            abs(self._ratio - slip) <= limits.band
            and abs(self._against_bpm * slip - 1) <= limits.fine
        )

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        slip, needed = self._limits.slip, self._slip
        factor = f"1/{slip}" if needed > 1 else f"{slip}"
        by_sum = self._is_by_sum(needed)
        what = f"are {factor} of what the time that passed allows (time over RR {self._ratio:.3f})"
        if not by_sum:
            what = f"come as if each were {factor} of the beat, besides beats that are left out"
        return Explanation(
            f"The RR of {self.name} {what}: they are in another unit.",
            f"Its bpm can be used; its RR can only after multiplying them by {needed:.3f}, "
            "so report it to the maker.",
            (
                Measure("time that passed over sum of RR", self._ratio, "", needed),
                Measure("rate by bpm over rate by RR", self._against_bpm, ""),
                Measure("evidence by when beats come", self._evidence.of(needed), "",
                        self._needed(needed, by_sum=by_sum)),
            ),
        )  # fmt: skip

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return "Its RR fill the time that passes again."

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._forget()
        self._last_ns = -1

    def _take(self, t_ns: int, rr: tuple[int, ...], mbpm: int | None) -> None:
        last_ns, self._last_ns = self._last_ns, t_ns
        if rr:
            self._beat_ns = t_ns
        totals, usual_ns, spacing_ns = self._totals, self._spacing_ns, t_ns - last_ns
        lost = last_ns >= 0 and usual_ns > 0 and spacing_ns > _WAVERS * usual_ns
        if last_ns >= 0 and not lost:
            usual_ns += (spacing_ns - usual_ns) / 20 if usual_ns else spacing_ns
            self._spacing_ns = usual_ns
        away = lost and spacing_ns > _AWAY * usual_ns
        if away or mbpm is None or t_ns - self._beat_ns > _NO_BEAT_NS:
            self._forget()
            if away:
                self._spacing_ns = 0.0
            return
        if not totals:
            totals.append(_Total(t_ns, 0, 0, 0, 0, 0, 0))
            return
        last = totals[-1]
        if lost:  # the time and the beats of a lost notification are left out alike
            self._evidence.skip(spacing_ns / NS_PER_S, rr)
            totals[-1] = last._replace(lost=last.lost + 1)
            return
        self._evidence.take(t_ns, spacing_ns / NS_PER_S, usual_ns / NS_PER_S, rr)
        _, heard_ns, ticks, beats, sum_mbpm, readings, times_lost = last
        heard_ns += spacing_ns
        sums = (ticks + sum(rr), beats + len(rr), sum_mbpm + mbpm, readings + 1, times_lost)
        totals.append(_made(_Total, (t_ns, heard_ns, *sums)))
        before = self._before
        while heard_ns - totals[1].heard_ns >= self._span_ns:
            before.append(totals.popleft())
        while before:
            second = before[1] if len(before) > 1 else totals[0]
            if heard_ns - second.heard_ns < self._longest_ns:
                break
            before.popleft()

    def _first(self) -> _Total | None:
        """Where the newest stretch that suffices begins; earlier where notifications were lost."""
        totals, limits = self._totals, self._limits
        first, newest = totals[0], totals[-1]
        if newest.heard_ns - first.heard_ns < self._span_ns:
            return None
        if newest.lost - first.lost <= limits.few_lost:
            return first
        oldest = self._before[0] if self._before else first
        long_enough = newest.heard_ns - oldest.heard_ns >= self._longest_ns - NS_PER_S
        return oldest if long_enough else None

    def _forget(self) -> None:
        self._totals.clear()
        self._before.clear()
        self._evidence.forget()
