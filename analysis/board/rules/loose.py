"""Loose or dry reference: told by its beats, before its bpm has gone wrong."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from analysis.board.rules.base import (
    BAD,
    GOOD,
    UNSURE,
    Explanation,
    SensorRule,
    Verdict,
    time_words,
)
from analysis.board.rules.beats import Beat, BeatJudge, Judged
from analysis.board.rules.strays import Strays
from analysis.board.rules.thresholds import BEAT, LOOSE, BeatLimits, LooseLimits
from analysis.board.rules.timekeeping import RrAccount
from analysis.board.snapshot import Measure, WarningKind
from replay.event import NS_PER_S
from replay.payloads import RR_PER_S

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState
    from replay.payloads import HeartRate

_MBPM_OF_RR: Final = 60_000 * RR_PER_S
_RECENT_BEATS: Final = 60
_GOOD: Final = Beat.GOOD
_LOST_AFTER_NS: Final = 5 * NS_PER_S


class LooseReference(SensorRule):
    """Beats missing or doubled, RR that do not fill the time, RR against bpm, leaps of the bpm.

    Of a reference without electrodes only the leaps: its RR are an estimate of their own.
    """

    kind = WarningKind.LOOSE_REFERENCE

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        limits: LooseLimits = LOOSE,
        beat_limits: BeatLimits = BEAT,
        unit: Callable[[], float] = lambda: 1.0,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._judge = BeatJudge(beat_limits)
        self._account = RrAccount(limits, unit)
        self._beats = 0
        self._swing_at = -limits.swing_beats
        self._strays = Strays(limits.strays)
        self._score = 0.0
        self._since = 0
        self._last_bad = -1
        self._bad: deque[int] = deque()  # which of the beats
        self._why = ""
        # By second: the newest RR, and the rate that the beats beside it make, mbpm.
        self._rates: deque[tuple[int, int, int]] = deque()
        self._against_s = 0
        self._last_ns = -1
        self._heard_ns = -1
        self._last_mbpm = 0
        self._settled_ns = -1

    @property
    def contradicts_bpm(self) -> int | None:
        """The rate that its RR say, mbpm, while its bpm says another."""
        return self._rates[-1][2] if self._against_s and self._rates else None

    @property
    def bad_beats(self) -> int:
        """Bad beats among the last 60."""
        bad, before = self._bad, self._beats - _RECENT_BEATS
        while bad and bad[0] <= before:
            bad.popleft()
        return len(bad)

    @property
    def beats_are_sound(self) -> bool:
        """Whether RR come, none of the recent ones was bad, and they agree with the bpm."""
        return (
            self._beats >= _RECENT_BEATS
            and not self.bad_beats
            and len(self._rates) > 0
            and self._against_s == 0
        )

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        if self._score > 0:
            self._score = max(0.0, self._score - self._leak())
        fresh = self.watched.fresh
        for t_ns, reading in fresh:
            self._take(second, t_ns, reading)
        if fresh:
            self._hold_against_bpm(second)
        if self._last_bad < 0 or second - self._last_bad >= self._limits.clear_s:
            self._score = 0.0
            return GOOD if fresh else UNSURE
        if self._score < self._limits.raise_at:
            return UNSURE
        self._strays.is_bad()
        return BAD

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        return Explanation(
            f"{self.name} reads badly: {self._why}.",
            self.seat_advice,
            (
                Measure("evidence of bad beats", self._score, "", self._limits.raise_at),
                Measure("bad beats among the last 60", self.bad_beats, "beats"),
                Measure("time not filled by RR", self._account.missing_s, "s",
                        self._account.allowed_s),
                Measure("RR against bpm for", self._against_s, "s"),
            ),
        )  # fmt: skip

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"No bad beat for {self._limits.clear_s} s."

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._score = 0.0
        self._last_bad = -1
        self._strays.forget()
        self._judge.forget()
        self._account.restart()
        self._rates.clear()
        self._against_s = 0
        self._last_ns = self._heard_ns = self._settled_ns = -1

    def _leak(self) -> float:
        """What a second takes away: the bad beats that a badly seated strap would have had."""
        limits, beside = self._limits, self._judge.beside
        if not beside:
            return limits.leak_least
        return max(limits.strays.share * RR_PER_S / beside, limits.leak_least)

    def _take(self, second: int, t_ns: int, reading: HeartRate) -> None:
        mbpm = reading.valid_mbpm
        if mbpm is None:
            self._account.restart()
            self._last_ns = -1
            if reading.contact is False and reading.mbpm != 0:
                # A contact bit flickers while the heart goes on: the neighbours stand, for a while.
                self._judge.skip()
                self._settled_ns = -1
            elif reading.mbpm == 0 or not reading.rr:
                self._judge.forget()
                self._heard_ns = self._settled_ns = -1
            else:  # doubled beats drive the bpm out of range: they are told by their neighbours
                self._heard_ns = t_ns
                self._judge_beats(second, reading)
            return
        if self._heard_ns >= 0 and t_ns - self._heard_ns > _LOST_AFTER_NS:
            self._judge.forget()
            self._settled_ns = -1
        self._heard_ns = t_ns
        if self._settled_ns < 0:
            self._settled_ns = t_ns + self._limits.settle_s * NS_PER_S
        if not self._beats:
            self._look_for_leap(second, t_ns, mbpm)
        self._last_ns, self._last_mbpm = t_ns, mbpm
        self._judge_beats(second, reading)
        if not self.watched.has_electrodes:
            return
        if self._account.take(t_ns, reading.rr, self._judge.beside):
            self._add(
                second,
                self._limits.missing_time,
                f"its RR fill {self._account.missing_s:.1f} s less than the time that passed",
            )
        if reading.rr and self._judge.beside:
            judge = self._judge
            self._rates.append((second, judge.newest, round(_MBPM_OF_RR / judge.beside)))

    def _judge_beats(self, second: int, reading: HeartRate) -> None:
        if not self.watched.has_electrodes:
            return  # optical sensors leave beats out, and guess others, by habit
        judge, rr = self._judge, reading.rr
        passed = judge.pass_by(rr)
        self._count(passed)
        for one in rr[passed:]:
            for judged in judge.judge(one):
                self._count(1)
                weight = 0.0 if judged.beat is _GOOD else self._weight(judged)
                if weight > 0:
                    self._bad.append(self._beats)
                    self._add(second, weight, self._in_words(second, judged))

    def _count(self, beats: int) -> None:
        """So many beats have come, good until they are found bad."""
        self._beats += beats
        self._strays.count(beats)

    def _weight(self, judged: Judged) -> float:
        """How much one judgement says against the seat of the strap, in nats."""
        limits, beat = self._limits, judged.beat
        is_fast = judged.beside <= limits.fast_rr
        no_heart_s = judged.rr < limits.no_heart_s * judged.beside and beat is Beat.JUMP
        if no_heart_s or beat in (Beat.MISSED, Beat.EXTRA, Beat.IMPOSSIBLE):
            return self._weight_of_stray(is_fast=is_fast)
        if beat is Beat.MISSED_MANY:
            return limits.missed_many * self._weight_of_stray(is_fast=is_fast)
        if beat is Beat.EARLY and not is_fast:
            return 0.0
        if self._beats - self._swing_at < limits.swing_beats:
            return 0.0
        self._swing_at = self._beats
        return limits.swing_fast if is_fast else limits.swing

    def _weight_of_stray(self, *, is_fast: bool) -> float:
        weight = self._strays.take()
        if self._strays.too_many:
            return self._limits.raise_at
        return weight if is_fast else self._limits.strays.most

    def _in_words(self, second: int, judged: Judged) -> str:
        rr_ms = round(judged.rr * 1000 / RR_PER_S)
        beside_ms = round(judged.beside * 1000 / RR_PER_S)
        bad, of = self.bad_beats, min(self._beats, _RECENT_BEATS)
        return (
            f"{bad} bad beat{'s' if bad > 1 else ''} among the {of} until {time_words(second)}, "
            f"the newest {judged.beat.value} ({rr_ms} ms beside {beside_ms} ms)"
        )

    def _hold_against_bpm(self, second: int) -> None:
        """The bpm must lie near what the RR said within the last seconds."""
        limits, rates = self._limits, self._rates
        while rates and second - rates[0][0] > limits.against_bpm_s:
            rates.popleft()
        if 2 * len(rates) < limits.against_bpm_s // 3 or second * NS_PER_S < self._settled_ns:
            self._against_s = 0
            return
        if abs(rates[-1][2] - self._last_mbpm) <= limits.against_bpm_mbpm:
            self._against_s = 0
            return
        # The median lags behind a steep rise, the newest beat does not.
        said = [rate for _, rr, beside in rates for rate in (_MBPM_OF_RR // rr, beside)]
        low, high = min(said) - limits.against_bpm_mbpm, max(said) + limits.against_bpm_mbpm
        if low <= self._last_mbpm <= high:
            self._against_s = 0
            return
        self._against_s += 1
        if self._against_s <= limits.against_free_s:
            return
        self._add(
            second,
            limits.against_bpm_per_s,
            f"its RR say {said[-1] / 1000:.0f} bpm while it sends {self._last_mbpm / 1000:.0f}",
        )

    def _look_for_leap(self, second: int, t_ns: int, mbpm: int) -> None:
        """Where RR come they are the better witness, and a leap of theirs is in the beats."""
        limits = self._limits
        if self._last_ns < 0 or t_ns < self._settled_ns:
            return
        apart_s = (t_ns - self._last_ns) / NS_PER_S
        leap = abs(mbpm - self._last_mbpm)
        if apart_s <= limits.leap_s and leap > limits.leap_mbpm + limits.leap_mbpm_per_s * apart_s:
            self._add(
                second,
                limits.leap,
                f"it leapt from {self._last_mbpm / 1000:.0f} to {mbpm / 1000:.0f} bpm in "
                f"{apart_s:.1f} s",
            )

    def _add(self, second: int, weight: float, why: str) -> None:
        if self._score == 0:
            self._since = second
        self._score = min(self._score + weight, self._limits.most)
        self._last_bad = second
        self._why = why
