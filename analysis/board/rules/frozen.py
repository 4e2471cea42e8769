"""Frozen: the same value again and again while the heart moves."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Final

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, Verdict
from analysis.board.rules.delay_estimate import DelayEstimator
from analysis.board.rules.repeats import Repeats
from analysis.board.rules.sensor_rule import SensorRule
from analysis.board.rules.thresholds import FROZEN, FrozenLimits
from analysis.board.snapshot import Measure, WarningKind
from analysis.statistics.pairing import NO_VALUE
from replay.event import NS_PER_S
from replay.payloads import RR_PER_S

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState

_MBPM_OF_RR: Final = 60_000 * RR_PER_S
_RR_KEPT: Final = 5
_RR_FRESH_NS: Final = 6 * NS_PER_S
_SHORTEST_STRETCH_S: Final = 4


class Frozen(SensorRule):
    """An unchanged bpm that neither its own RR nor the movement of the others can explain.

    That others moved counts only if they did so under every delay that the sensor may have, since
    a sensor that follows late stands still for a while, too.
    """

    kind = WarningKind.FROZEN

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        limits: FrozenLimits = FROZEN,
        delay: DelayEstimator | None = None,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self.clear_after_s = limits.clear_after_s
        self._delay = delay or DelayEstimator(session, watched)
        self._value = NO_VALUE
        self._start = 0
        self._runs: deque[int] = deque(maxlen=limits.runs_kept)
        self._known_run_s = 0
        self._rr: deque[int] = deque(maxlen=_RR_KEPT)
        self._rr_ns = -1
        self._rr_at_start = 0
        self._repeats = Repeats(limits)
        self._apart_s = 0
        self._moved_mbpm = 0
        self._mover = ""
        self._accused = False

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        watched = self.watched
        for t_ns, reading in watched.fresh:
            rr = reading.rr
            if rr:
                self._repeats.take(rr)
                self._rr.extend(rr)
                self._rr_ns = t_ns
            if reading.mbpm != self._value:
                self._changed(second, reading.mbpm)
        run_s = second - self._start
        if run_s < self._limits.least_s:
            return GOOD
        if watched.held[second] == NO_VALUE:
            return UNSURE
        if self._repeats.beyond_chance and self._rr_is_fresh(second):
            self._mover = "repeats"
            return self._accuse()
        if self._accused:
            return BAD  # until it changes: others may pass by its value without its moving
        if run_s < self._usual_s():
            return UNSURE
        if self._rr_is_fresh(second):
            return self._beside_own_rr(run_s)
        if self._breaks_habit(second, run_s) or self._others_moved(second, run_s):
            return self._accuse()
        return UNSURE

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._start

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        run_s = self.session.second - self._start
        value = self._value / 1000
        match self._mover:
            case "repeats":
                why = f"and has repeated its last RR {self._repeats.beats} times over"
            case "rr":
                why = f"while its own RR say {self._own_rr_mbpm() / 1000:.0f} bpm"
            case _:
                why = f"while {self._mover} moved by {self._moved_mbpm / 1000:.0f} bpm or more"
        return Explanation(
            f"{self.name} has shown {value:.0f} bpm unchanged for {run_s} s, {why}.",
            "Switch it off and on; if it freezes again, take its battery out for 10 s.",
            (
                Measure("time without a change", run_s, "s", self._limits.least_s),
                Measure("longest usual time", self._usual_s(), "s"),
                Measure("movement of the others", self._moved_mbpm / 1000, "bpm",
                        self._needed_mbpm(run_s) / 1000),
                Measure("repeated RR in a row", self._repeats.beats, "", self._repeats.needed),
            ),
        )  # fmt: skip

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"Its value moves again: {self._value / 1000:.0f} bpm."

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._start = self.session.second
        self._repeats.restart()
        self._apart_s = 0
        self._accused = False

    def _changed(self, second: int, mbpm: int) -> None:
        if self._value != NO_VALUE and not self._accused:
            self._runs.append(second - self._start)
            self._known_run_s = -1
        self._accused = False
        self._value = mbpm
        self._start = second
        self._apart_s = 0
        self._rr_at_start = self._own_rr_mbpm() if self._rr else mbpm

    def _accuse(self) -> Verdict:
        self._accused = True
        return BAD

    @property
    def _long_run_s(self) -> int:
        """A long run by its own habit; most runs are over before that is asked."""
        if self._known_run_s < 0:
            runs = sorted(self._runs)
            at = min(len(runs) - 1, int(len(runs) * self._limits.runs_share))
            self._known_run_s = runs[at]
        return self._known_run_s

    def _usual_s(self) -> float:
        return min(self._limits.runs * self._long_run_s, self._limits.runs_most_s)

    def _needed_mbpm(self, run_s: int) -> int:
        """Movement of the others that is asked for: the less, the longer the run stands out."""
        limits = self._limits
        usual = max(self._usual_s(), limits.least_s)
        needed = round(limits.moved_mbpm * usual / max(run_s, 1))
        return min(max(needed, limits.moved_least_mbpm), limits.moved_mbpm)

    def _rr_is_fresh(self, second: int) -> bool:
        return len(self._rr) == _RR_KEPT and second * NS_PER_S - self._rr_ns <= _RR_FRESH_NS

    def _own_rr_mbpm(self) -> int:
        middle = sorted(self._rr)[len(self._rr) // 2]
        return _MBPM_OF_RR // middle if middle else 0

    def _beside_own_rr(self, run_s: int) -> Verdict:
        rate, most = self._own_rr_mbpm(), self._limits.own_rr_mbpm
        # The RR must have moved, too: a bpm that is off by a constant is another rule's.
        if abs(rate - self._value) <= most or abs(rate - self._rr_at_start) <= most:
            self._apart_s = 0
            return GOOD
        self._apart_s += 1
        if self._apart_s < self._limits.own_rr_s or run_s < self._limits.habit * self._long_run_s:
            return UNSURE
        self._mover = "rr"
        return self._accuse()

    def _breaks_habit(self, second: int, run_s: int) -> bool:
        """Whether it has stood still for longer than it ever does, while the others moved."""
        limits, runs = self._limits, self._runs
        if len(runs) < limits.habit_runs or run_s < limits.habit_least_s:
            return False
        if run_s < limits.habit * self._long_run_s:
            return False
        needed = limits.habit_moved_mbpm
        mover = self._slower_half(self.session.compared, second, range(1), needed)
        if mover is None or self._moved_mbpm < needed:
            return False
        # A late sensor may show a stretch in which the heart itself stood still.
        before = mover.held[max(0, self._start - limits.lag_s) : second]
        return _longest_run(before) < limits.still_share * run_s

    def _slower_half(
        self, sensors: Iterable[SensorState], second: int, lags: range, needed: int
    ) -> SensorState | None:
        """Whose movement half of the others do not exceed: one that jumps proves nothing."""
        movements = [
            (self._moved(other.held, second, lags, needed), other.number, other)
            for other in sensors
            if other is not self.watched and other.held[second] != NO_VALUE
        ]
        if not movements:
            return None
        movements.sort()
        self._moved_mbpm, _, mover = movements[(len(movements) - 1) // 2]
        self._mover = mover.label
        return mover

    def _others_moved(self, second: int, run_s: int) -> bool:
        session, watched, lag = self.session, self.watched, self._limits.lag_s
        reference = session.reference
        needed = self._needed_mbpm(run_s)
        if not watched.is_reference and reference.held[second] != NO_VALUE:
            lags = range(lag + 1)
            follows = self._delay.estimate(self._start)
            if follows is not None:
                slack = self._limits.delay_slack_s
                lags = range(max(0, follows.delay_s - slack), follows.delay_s + slack + 1)
                needed = max(needed, round(self._limits.moved_spreads * follows.spread_mbpm))
            moved = self._moved(reference.held, second, lags, needed)
            self._mover = reference.label
        else:
            lags = range(-lag, 1) if watched.is_reference else range(-lag, lag + 1)
            if self._slower_half(session.tests, second, lags, needed) is None:
                return False
            moved = self._moved_mbpm
        self._moved_mbpm = moved
        return moved >= needed

    def _moved(self, held: Sequence[int], second: int, lags: range, needed: int) -> int:
        """Least movement of another sensor, mbpm, over all the delays that ours may have."""
        start = self._start
        smooth_s = self._limits.smooth_s
        first = start - max(lags[-1], 0) - smooth_s + 1
        if first < 0:
            return 0
        values = held[first : second + 1]
        if NO_VALUE in values or max(values) - min(values) < needed:
            return 0
        total = sum(values[:smooth_s])
        smooth = [total]
        for entering, leaving in zip(values[smooth_s:], values, strict=False):
            total += entering - leaving
            smooth.append(total)
        offset = first + smooth_s - 1  # grid second of smooth[0]
        least = max(smooth)
        for lag in lags:
            stretch = smooth[start - lag - offset : second + 1 - max(lag, 0) - offset]
            if len(stretch) < _SHORTEST_STRETCH_S:
                return 0
            least = min(least, max(stretch) - min(stretch))
            if least < needed * smooth_s:
                break
        return least // smooth_s


def _longest_run(values: Sequence[int]) -> int:
    return max((len(list(same)) for _, same in groupby(values)), default=0)
