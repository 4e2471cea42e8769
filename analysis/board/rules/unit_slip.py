"""Unit slip: RR intervals in another unit than 1/1024 s."""

from __future__ import annotations

import itertools
from collections import deque
from typing import TYPE_CHECKING, Final

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, Verdict
from analysis.board.rules.sensor_rule import SensorRule
from analysis.board.rules.thresholds import UNIT_SLIP, UnitSlipLimits
from analysis.board.snapshot import Measure, WarningKind
from replay.event import NS_PER_S
from replay.payloads import RR_PER_S

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState

_NO_BEAT_NS: Final = 5 * NS_PER_S // 2
_WAVERS: Final = 1.7


class UnitSlip(SensorRule):
    """RR that are 1.024 times, or 1/1.024 of, what the time that passed allows.

    Beats left out shorten their sum, too, but then each RR still agrees with the bpm.
    """

    kind = WarningKind.UNIT_SLIP

    def __init__(
        self, session: SessionState, watched: SensorState, limits: UnitSlipLimits = UNIT_SLIP
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self.raise_after_s = limits.raise_after_s
        self.clear_after_s = limits.clear_after_s
        self._span_ns = round(limits.span_s * NS_PER_S)
        # (t_ns, ticks so far, beats so far, sum of bpm so far, notifications so far)
        self._totals: deque[tuple[int, int, int, int, int]] = deque()
        self._spacing_ns = 0.0
        self._last_ns = -1
        self._beat_ns = -1
        self._ratio = 1.0
        self._against_bpm = 1.0
        self._since = 0
        self._factor = 1.0

    @property
    def factor(self) -> float:
        """What the RR must be multiplied with to be in 1/1024 s, as far as is known."""
        return self._factor

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        del second
        fresh = self.watched.fresh
        for t_ns, reading in fresh:
            if reading.rr or self._totals:
                self._take(t_ns, reading.rr, reading.valid_mbpm)
        totals = self._totals
        if not fresh or not totals or totals[-1][0] - totals[0][0] < self._span_ns:
            return UNSURE
        first, last = totals[0], totals[-1]
        ticks, beats = last[1] - first[1], last[2] - first[2]
        bpm, count = last[3] - first[3], last[4] - first[4]
        if not ticks or not beats or not count:
            return UNSURE
        limits = self._limits
        self._ratio = (last[0] - first[0]) / NS_PER_S / (ticks / RR_PER_S)
        if abs(self._ratio - 1) <= limits.fine:
            self._factor = 1.0
            return GOOD
        self._against_bpm = ticks / RR_PER_S / beats * (bpm / count / 1000) / 60
        for slip in (limits.slip, 1 / limits.slip):
            if (
                abs(self._ratio - slip) <= limits.band
                and abs(self._against_bpm * slip - 1) <= limits.fine
                and self._halves_agree(slip)
            ):
                self._since = first[0] // NS_PER_S
                self._factor = slip
                return BAD
        return UNSURE

    def _halves_agree(self, slip: float) -> bool:
        """Whether both halves of the stretch slipped alike; beats left out come in bursts."""
        totals = self._totals
        marks = (totals[0], totals[len(totals) // 2], totals[-1])
        for first, last in itertools.pairwise(marks):
            ticks = last[1] - first[1]
            ratio = (last[0] - first[0]) / NS_PER_S / (ticks / RR_PER_S) if ticks else 0.0
            # Half a stretch is twice as uncertain.
            if abs(ratio - slip) > 2 * self._limits.band:
                return False
        return True

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        slip = self._limits.slip
        factor = f"1/{slip}" if self._ratio > 1 else f"{slip}"
        return Explanation(
            f"The RR of {self.name} are {factor} of what the time that passed allows "
            f"(time over RR {self._ratio:.3f}): they are in another unit.",
            f"Its bpm can be used; its RR can only after dividing them by {1 / self._ratio:.3f}, "
            "so report it to the maker.",
            (
                Measure("time that passed over sum of RR", self._ratio, "", slip),
                Measure("rate by bpm over rate by RR", self._against_bpm, ""),
            ),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return "Its RR fill the time that passes again."

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._totals.clear()
        self._last_ns = -1

    def _take(self, t_ns: int, rr: tuple[int, ...], mbpm: int | None) -> None:
        last_ns, self._last_ns = self._last_ns, t_ns
        if rr:
            self._beat_ns = t_ns
        totals = self._totals
        spacing_ns = t_ns - last_ns
        lost = last_ns >= 0 and self._spacing_ns > 0 and spacing_ns > _WAVERS * self._spacing_ns
        if last_ns >= 0 and not lost:
            self._spacing_ns += (
                (spacing_ns - self._spacing_ns) / 20 if self._spacing_ns else spacing_ns
            )
        if lost or mbpm is None or t_ns - self._beat_ns > _NO_BEAT_NS:
            totals.clear()
            self._spacing_ns = (
                0.0 if lost and spacing_ns > 5 * self._spacing_ns else self._spacing_ns
            )
            return
        if not totals:
            totals.append((t_ns, 0, 0, 0, 0))
            return
        _, ticks, beats, bpm, count = totals[-1]
        totals.append((t_ns, ticks + sum(rr), beats + len(rr), bpm + mbpm, count + 1))
        while totals[-1][0] - totals[1][0] >= self._span_ns:
            totals.popleft()
