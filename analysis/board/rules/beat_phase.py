"""How long before each notification its newest beat was, if the RR are in a given unit.

A notification brings the beats that are complete: the newest is less than one beat old.  In the
right unit the RR account for that age from notification to notification; in another they drift away
from it by a beat every so often, and must be brought back.  Beats that are left out only ever make
it seem older, by whole beats: that it has not happened yet cannot come from them.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Final

from replay.payloads import RR_PER_S

if TYPE_CHECKING:
    from analysis.board.rules.thresholds import UnitSlipLimits

_NEWEST: Final = 5


@dataclass(slots=True)
class BeatPhase:
    """Bounds of the newest beat's age, s, with RR that are to be multiplied with ``unit``."""

    limits: UnitSlipLimits
    unit: float
    youngest: float = 0.0
    oldest: float = -1.0
    """Below ``youngest`` while nothing is known."""

    def forget(self) -> None:
        """Nothing is known of the newest beat any more."""
        self.oldest = self.youngest - 1.0

    def pass_by(self, passed_s: float, rr_s: float) -> None:
        """One that came early or late: its time counts, it bounds nothing."""
        aged = passed_s - rr_s * self.unit
        self.youngest += aged
        self.oldest += aged

    def skip(self, passed_s: float, rr_s: float, usual_s: float) -> None:
        """One behind others that were lost with a whole number of beats, about as long as usual."""
        if self.oldest < self.youngest:
            return
        beat = usual_s * self.unit
        self.pass_by(passed_s, rr_s)
        lost = round(((self.youngest + self.oldest) / 2) / beat - 0.5)
        self._without(lost, beat, max(1, abs(lost)))
        if self.oldest < 0 or self.youngest > beat:
            self.forget()

    def take(self, passed_s: float, rr_s: float, usual_s: float) -> bool:
        """One notification; whether its newest beat would not have happened yet.

        ``passed_s``: since the one before.  ``rr_s``: sum of its RR.  ``usual_s``: an RR that no
        beat to come is longer than.
        """
        slack, beat = self.limits.arrival_s, usual_s * self.unit
        lowest, highest = -slack, beat + slack  # the bounds of any newest beat
        if self.oldest < self.youngest:
            self.youngest, self.oldest = lowest, highest
            return False
        aged = passed_s - rr_s * self.unit
        youngest, oldest = self.youngest + aged, self.oldest + aged
        if oldest < lowest:
            self.youngest, self.oldest = lowest, highest
            return True
        if youngest > highest:
            self.youngest, self.oldest = youngest, oldest
            left_out = ceil((youngest - beat - slack) / beat)
            self._without(left_out, beat, left_out)
            youngest, oldest = self.youngest, self.oldest
        # Compared here and not by min and max: three times with every notification.
        self.youngest = youngest = youngest if youngest > lowest else lowest
        oldest = oldest if oldest < highest else highest
        self.oldest = oldest if oldest > youngest else youngest
        return False

    def _without(self, beats: int, beat: float, uncertain: int) -> None:
        vary = self.limits.beats_vary * beat * uncertain
        self.youngest -= beats * beat + vary
        self.oldest -= beats * beat - vary


class UnitEvidence:
    """How much speaks for a unit of the RR other than the right one, for each of ``slips``.

    A one-sided cumulative sum (Page, Biometrika 1954) of beats that would not have happened yet:
    each that the right unit makes counts for the slip, each that the slip makes against it.
    ``is_there``: whether anything speaks for any of them.
    """

    def __init__(self, slips: tuple[float, ...], limits: UnitSlipLimits) -> None:
        self._limits: Final = limits
        self._right: Final = BeatPhase(limits, 1.0)
        self._phases: Final = tuple((slip, BeatPhase(limits, slip)) for slip in slips)
        self._sums: Final = dict.fromkeys(slips, 0.0)
        self._begun: Final = dict.fromkeys(slips, 0)
        self._newest: Final[deque[int]] = deque(maxlen=_NEWEST)
        self.is_there = False
        self.forget()

    def of(self, slip: float) -> float:
        """How much speaks for this slip by now, at least 0."""
        return self._sums[slip]

    def begun_ns(self, slip: float) -> int:
        """Since when, ns."""
        return self._begun[slip]

    def forget(self) -> None:
        """Begin anew."""
        for slip, phase in self._phases:
            phase.forget()
            self._sums[slip] = 0.0
        self.is_there = False
        self._right.forget()
        self._newest.clear()

    def take(self, t_ns: int, passed_s: float, usual_s: float, rr: Sequence[int]) -> None:
        """One notification, so long after the one before, usually ``usual_s``."""
        self._newest.extend(rr)
        if not self._newest:
            return
        rr_s, beat_s = sum(rr) / RR_PER_S, max(self._newest) / RR_PER_S
        if abs(passed_s - usual_s) > self._limits.arrival_s:
            self._right.pass_by(passed_s, rr_s)
            for _, phase in self._phases:
                phase.pass_by(passed_s, rr_s)
            return
        too_soon = self._right.take(passed_s, rr_s, beat_s)
        for slip, phase in self._phases:
            against = phase.take(passed_s, rr_s, beat_s)
            if too_soon or against:
                self._count(t_ns, slip, too_soon - self._limits.against * against)

    def skip(self, passed_s: float, rr: Sequence[int]) -> None:
        """One behind others that were lost."""
        self._newest.extend(rr)
        if not self._newest:
            return
        rr_s, beat_s = sum(rr) / RR_PER_S, max(self._newest) / RR_PER_S
        self._right.skip(passed_s, rr_s, beat_s)
        for _, phase in self._phases:
            phase.skip(passed_s, rr_s, beat_s)

    def _count(self, t_ns: int, slip: float, weight: float) -> None:
        before = self._sums[slip]
        if not before:
            self._begun[slip] = t_ns
        self._sums[slip] = min(max(before + weight, 0.0), self._limits.evidence_most)
        self.is_there = any(self._sums.values())
