"""Frozen: the same value again and again while the heart moves."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from itertools import groupby
from statistics import median
from typing import TYPE_CHECKING, Final, TypeAlias

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, SensorRule, Verdict
from analysis.board.rules.cadence import OnCadence
from analysis.board.rules.delay_estimate import DelayEstimator
from analysis.board.rules.repeats import Repeats
from analysis.board.rules.thresholds import FROZEN, FrozenLimits
from analysis.board.snapshot import Measure, WarningKind
from analysis.board.unread import BySecond, Unread
from analysis.statistics.pairing import NO_VALUE
from replay.payloads import RR_PER_S

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState

_MBPM_OF_RR: Final = 60_000 * RR_PER_S
_RR_FRESH_S: Final = 6
_SHORTEST_STRETCH_S: Final = 4

_ToldRr: TypeAlias = tuple[int, tuple[int, ...]]
"""The RR of one notification, 1/1024 s, behind the grid second in which it came."""


class Frozen(SensorRule):
    """An unchanged bpm that neither its own RR nor the movement of the others can explain.

    Counted in readings, since a sensor that sends every ten seconds stands still for long and is
    right.  That others moved counts only if they did so under every delay that the sensor may
    have, since a sensor that follows late stands still for a while, too; and if they left its
    value, since one that smooths shows the middle of what the heart does.
    """

    kind = WarningKind.FROZEN

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        limits: FrozenLimits = FROZEN,
        delay: DelayEstimator | None = None,
        on_cadence: OnCadence | None = None,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._unread = Unread(watched)
        self.clear_after_s = limits.clear_after_s
        self._delay = delay or DelayEstimator(session, watched)
        self._on_cadence = on_cadence
        self._value = NO_VALUE
        self._start = 0
        self._readings = 0
        self._last_s = 0
        self._runs: deque[int] = deque(maxlen=limits.runs_kept)
        self._known_run = 0
        self._rr: deque[_ToldRr] = deque()
        self._rr_at_start: tuple[_ToldRr, ...] = ()
        self._repeats = Repeats(limits)
        self._apart_s = 0
        self._moved_mbpm = 0
        self._needed_then_mbpm = 0
        self._mover = ""
        self._accused = False

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        self._take(self._unread.take(second))
        limits = self._limits
        if self._value == NO_VALUE:
            return UNSURE
        self.quiet_until = self._start + limits.least_s
        if self._readings < limits.least or second < self.quiet_until:
            return GOOD
        if self.watched.held[second] == NO_VALUE:
            return UNSURE
        if self._repeats.beyond_chance and self._rr_is_fresh(second):
            self._mover = "repeats"
            return self._accuse()
        if self._accused:
            return BAD  # until it changes: others may pass by its value without its moving
        if self._readings < self._usual:
            return UNSURE
        if self._rr_is_fresh(second):
            return self._beside_own_rr()
        return self._accuse() if self._others_moved(second) else UNSURE

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
        advice = "Switch it off and on; if it freezes again, take its battery out for 10 s."
        if not self.watched.planned.on_capture_clock:
            advice = "Leave this stretch out, and see in its own app whether it was paused."
        return Explanation(
            f"{self.name} has shown {value:.0f} bpm unchanged for {run_s} s, {why}.",
            advice,
            (
                Measure("readings without a change", self._readings, "", self._limits.least),
                Measure("time without a change", run_s, "s", self._limits.least_s),
                Measure("longest usual run of readings", self._usual, ""),
                Measure("movement of the others", self._moved_mbpm / 1000, "bpm",
                        self._needed_then_mbpm / 1000),
                Measure("repeated RR in a row", self._repeats.beats, "", self._repeats.needed),
            ),
        )  # fmt: skip

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"Its value moves again: {self._value / 1000:.0f} bpm."

    def reset(self) -> None:
        """See :class:`Rule`.

        How long it has stood still is a fact that a silence in between does not change.
        """
        self._take(self._unread.pass_over())
        self._repeats.restart()
        self._apart_s = 0
        self._accused = False

    def _take(self, unread: BySecond) -> None:
        """Readings of the seconds since the last one in which it was asked."""
        silence_s, last_s = self._limits.silence_s, self._last_s
        value, count, start = self._value, self._readings, -1
        for second, readings in unread:
            for _, reading in readings:
                rr, mbpm = reading.rr, reading.mbpm
                if rr:
                    self._repeats.take(rr)
                    self._take_rr(second, rr)
                if mbpm != value or second - last_s > silence_s:
                    if value != NO_VALUE and not self._accused:
                        self._runs.append(count)
                    self._accused = False
                    self._rr_at_start = tuple(self._rr)
                    value, count, start = mbpm, 0, second
                count += 1
                last_s = second
        self._readings, self._last_s = count, last_s
        if start >= 0:
            self._value, self._start = value, start
            self._apart_s = self._moved_mbpm = 0
            if self._runs:
                self._known_run = -1

    def _accuse(self) -> Verdict:
        if not self._accused:
            self._needed_then_mbpm = self._needed_mbpm()
        self._accused = True
        return BAD

    @property
    def _usual(self) -> int:
        """A long run by its own habit; most runs are over before that is asked."""
        if self._known_run < 0:
            runs = sorted(self._runs)
            at = min(len(runs) - 1, int(len(runs) * self._limits.runs_share))
            long = round(self._limits.runs_times * runs[at])
            self._known_run = min(long, self._limits.runs_most)
        return self._known_run

    def _needed_mbpm(self) -> int:
        """Movement of the others that is asked for; beside a strap less, the longer it stands."""
        limits, reference = self._limits, self.session.reference
        over = min(1.0, (self._readings - limits.least) / (limits.long - limits.least))
        needed = limits.moved_mbpm - over * (limits.moved_mbpm - limits.moved_least_mbpm)
        if self.watched.is_reference:
            return round(limits.reference_times * needed)
        if reference.has_electrodes and reference.held[-1] != NO_VALUE:
            return round(needed)
        # The others swing by themselves.
        if len(self.session.tests) == 1:
            needed *= limits.reference_times
        return max(limits.moved_mbpm, round(needed))

    def _take_rr(self, second: int, rr: tuple[int, ...]) -> None:
        kept = self._rr
        kept.append((second, rr))
        oldest = second - self._limits.own_rr_window_s
        while kept[0][0] <= oldest:
            kept.popleft()

    def _rr_is_fresh(self, second: int) -> bool:
        kept = self._rr
        beats = sum(len(rr) for _, rr in kept)
        return beats >= self._limits.own_rr_beats and second - kept[-1][0] <= _RR_FRESH_S

    def _own_rr_mbpm(self) -> int:
        return _mbpm_of(self._rr)

    def _beside_own_rr(self) -> Verdict:
        rate, most = self._own_rr_mbpm(), self._limits.own_rr_mbpm
        at_start = _mbpm_of(self._rr_at_start) or self._value
        # The RR must have moved, too: a bpm that is off by a constant is another rule's.
        if abs(rate - self._value) <= most or abs(rate - at_start) <= most:
            self._apart_s = 0
            return GOOD
        self._apart_s += 1
        limits = self._limits
        behind = not self.watched.has_electrodes
        if self._apart_s < (limits.own_rr_behind_s if behind else limits.own_rr_s):
            return UNSURE
        self._mover = "rr"
        return self._accuse()

    def _slower_half(
        self, sensors: Iterable[SensorState], second: int, lags: range, needed: int
    ) -> bool:
        """Whether half of the others have moved, since one that jumps proves nothing; and together,
        since the heart moves all of them at once, and what each errs by does not.
        """
        others = [
            other
            for other in sensors
            if other is not self.watched and other.held[second] != NO_VALUE
        ]
        if not others:
            return False
        movements = sorted(
            (self._moved([other.held], second, lags, needed), other.number, other)
            for other in others
        )
        self._moved_mbpm, _, mover = movements[(len(movements) - 1) // 2]
        self._mover = mover.label
        if self._moved_mbpm < needed or len(others) == 1:
            return self._moved_mbpm >= needed
        return self._moved([other.held for other in others], second, lags, needed) >= needed

    def _others_moved(self, second: int) -> bool:
        session, watched, limits = self.session, self.watched, self._limits
        if self._on_cadence is not None and self._on_cadence.on_counted_cadence:
            return False  # it is as steady as the steps are
        reference, lag = session.reference, limits.lag_s
        needed = self._needed_mbpm()
        if watched.is_reference:
            return self._slower_half(session.tests, second, range(-lag, 1), needed)
        if reference.held[second] == NO_VALUE:
            return self._slower_half(session.tests, second, range(-lag, lag + 1), needed)
        if not reference.has_electrodes:  # it swings by itself, as test sensors do
            return self._slower_half(session.compared, second, range(-lag, lag + 1), needed)
        if self._breaks_habit() and self._has_moved(reference, second, range(1), needed):
            before = reference.held[max(0, self._start - lag) : second]
            if _longest_run(before) < limits.still_share * (second - self._start):
                return True
        lags = range(lag + 1)
        known = self._delay.estimate(self._start)
        if known is not None:
            slack = limits.delay_slack_s
            lags = range(max(0, known.delay_s - slack), known.delay_s + slack + 1)
            needed = max(needed, round(limits.moved_spreads * known.spread_mbpm))
        return self._has_moved(reference, second, lags, needed)

    def _breaks_habit(self) -> bool:
        limits = self._limits
        if len(self._runs) < limits.habit_runs:
            return False
        return self._readings >= limits.habit * self._usual

    def _has_moved(self, other: SensorState, second: int, lags: range, needed: int) -> bool:
        self._mover = other.label
        self._moved_mbpm = self._moved([other.held], second, lags, needed)
        return self._moved_mbpm >= needed

    def _moved(self, held: Sequence[Sequence[int]], second: int, lags: range, needed: int) -> int:
        """Least movement of another sensor, or of the middle of several, mbpm, over all the delays
        that ours may have; 0 where it has not left the value that ours shows.
        """
        start = self._start
        smooth_s = self._limits.smooth_s
        first = max(0, start - max(lags[-1], 0) - smooth_s + 1)
        values = _middle([other[first : second + 1] for other in held])
        missing = next((n for n, value in enumerate(values) if value != NO_VALUE), len(values) - 1)
        first += missing
        values = values[missing:]
        if NO_VALUE in values or max(values) - min(values) < needed:
            return 0
        total = sum(values[:smooth_s])
        smooth = [total]
        for entering, leaving in zip(values[smooth_s:], values, strict=False):
            total += entering - leaving
            smooth.append(total)
        offset = first + smooth_s - 1  # grid second of smooth[0]
        if self._shows(smooth, offset, second, max(0, lags[-1] - self._limits.delay_slack_s)):
            return 0
        least = max(smooth)
        for lag in lags:
            begin = max(0, start - lag - offset)
            stretch = smooth[begin : max(0, second + 1 - max(lag, 0) - offset)]
            if len(stretch) < _SHORTEST_STRETCH_S:
                return 0
            least = min(least, max(stretch) - min(stretch))
            if least < needed * smooth_s:
                break
        return least // smooth_s

    def _shows(self, smooth: Sequence[int], offset: int, second: int, most_lag: int) -> bool:
        """Whether its value is what the other showed during the run, under one of the delays."""
        smooth_s, left = self._limits.smooth_s, self._limits.left_mbpm * self._limits.smooth_s
        value = self._value * smooth_s
        for lag in range(most_lag + 1):
            end = second + 1 - lag - offset
            begin = max(0, min(self._start - lag - offset + smooth_s - 1, end - 1))
            inside = smooth[begin:end]
            if inside and max(inside) - value < left and value - min(inside) < left:
                return True
        return False


def _middle(others: Sequence[Sequence[int]]) -> Sequence[int]:
    """Their median, second by second, which one alone cannot move; no value where one has none."""
    if len(others) == 1:
        return others[0]
    return [NO_VALUE if NO_VALUE in at else int(median(at)) for at in zip(*others, strict=True)]


def _mbpm_of(told: Iterable[_ToldRr]) -> int:
    """Median rate by RR of some seconds, 0 without any; single bad beats drop out."""
    ordered = sorted([one for _, rr in told for one in rr])
    middle = ordered[len(ordered) // 2] if ordered else 0
    return _MBPM_OF_RR // middle if middle else 0


def _longest_run(values: Sequence[int]) -> int:
    return max((len(list(same)) for _, same in groupby(values)), default=0)
