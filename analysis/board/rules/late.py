"""Late: a test sensor that follows the reference, but far behind."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from statistics import median
from typing import TYPE_CHECKING

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, SensorRule, Verdict
from analysis.board.rules.delay_estimate import DelayEstimate, DelayEstimator
from analysis.board.rules.delay_sides import least_shown
from analysis.board.rules.thresholds import DELAY, LATE, LateLimits
from analysis.board.snapshot import Measure, WarningKind
from analysis.statistics.efforts import Answer
from replay.event import NS_PER_S

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState
    from analysis.statistics.efforts import Effort


class Late(SensorRule):
    """It shows effort after effort late; or its delay over the last minutes is longer than optical
    sensors need, or by far longer than its own was.

    Of such a delay two estimates must agree, it must be a best one among those looked for and not
    their end, and neither the rises nor the falls of these minutes may deny it.
    """

    kind = WarningKind.LATE

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        delay: DelayEstimator | None = None,
        limits: LateLimits = LATE,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._delay = delay or DelayEstimator(session, watched)
        self._seen: DelayEstimate | None = None
        self._late_in_a_row = 0
        self._late_s = 0  # of the newest of these
        self._fine_in_a_row = 0
        self._limit_s = limits.delay_s
        self._usual: deque[int] = deque(maxlen=limits.usual_kept)
        self._since = 0
        self._first_effort = 0
        self._efforts_taken = 0
        self._efforts: deque[tuple[int, float | None]] = deque(maxlen=limits.efforts_kept)
        self._late: list[tuple[int, float]] | None = None  # of these efforts

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        efforts_late = self._efforts_are_late()
        newest = self._delay.estimate(second)
        if newest is not None and newest is not self._seen:
            self._seen = newest
            self._judge(second, newest)
        if efforts_late or (newest and self._late_in_a_row >= self._limits.estimates):
            return BAD
        self.quiet_until = min(self._delay.due, second + self._limits.efforts_every_s)
        if newest is None and not self._efforts:
            return UNSURE
        fine = self._is_fine or not self._seen
        return GOOD if fine and not self._last_effort_is_late() else UNSURE

    def _efforts_are_late(self) -> bool:
        """Whether most of the last efforts were shown late, and at least two."""
        efforts = self.session.efforts
        answers = efforts.answers(self.watched.number)
        for at in range(self._efforts_taken, len(answers)):
            answer = answers[at]
            if answer.answer is not Answer.UNSEEN and at >= self._first_effort:
                self._take_effort(efforts.efforts[at], answer.delay_s)
        self._efforts_taken = len(answers)
        if not self._tells_efforts():
            return False
        before, last = self._efforts[max(0, len(self._efforts) - 2)], self._efforts[-1]
        in_time = last[1] is None and (self._is_fine or before[1] is None)
        return not in_time

    def _take_effort(self, effort: Effort, delay_s: float | None) -> None:
        """Keep an effort by its delay at half of its rise, ``None`` where it was not late.

        The analysis takes each sensor's half of its own rise, which a sensor that overshoots
        reaches later: here it must also have been late at the reference's.  On a slow rise an error
        of some bpm looks like a delay: such an effort tells nothing.
        """
        self._late = None
        least_s = self._limits.effort_delay_s + self._seldom_s
        if delay_s is None or delay_s < least_s:
            self._efforts.append((effort.start_s, None))
            return
        half = round((effort.base_bpm + effort.peak_bpm) * 500)
        reference, test = self.session.reference.held, self.watched.held
        at = _reached(reference, half, effort.start_s, effort.peak_s)
        if _reached(test, half, at, effort.return_s) - at < least_s:
            self._efforts.append((effort.start_s, None))
        elif reference[at + round(delay_s)] - reference[at] >= self._limits.effort_rise_mbpm:
            self._efforts.append((effort.start_s, delay_s))

    @property
    def _seldom_s(self) -> float:
        """How old its values get because it sends less often than once a second."""
        spacings = sorted(self.watched.spacings)
        return max(0.0, spacings[len(spacings) // 2] / NS_PER_S - 1) if spacings else 0.0

    @property
    def _is_fine(self) -> bool:
        return self._fine_in_a_row >= self._limits.fine_estimates

    def _late_efforts(self) -> list[tuple[int, float]]:
        """Those that it showed late, by about the same delay: one that wavers is another matter."""
        if self._late is None:
            late = [(at, late_s) for at, late_s in self._efforts if late_s is not None]
            middle = median(late_s for _, late_s in late) if late else 0.0
            self._late = [one for one in late if abs(one[1] - middle) <= self._limits.wavers_s]
        return self._late

    def _last_effort_is_late(self) -> bool:
        return bool(self._efforts) and self._efforts[-1][1] is not None

    def _judge(self, second: int, newest: DelayEstimate) -> None:
        limits = self._limits
        if not (
            abs(newest.mean_mbpm) <= limits.mean_mbpm and newest.spread_mbpm <= limits.spread_mbpm
        ):
            self._late_in_a_row = 0
            return
        usual = sorted(self._usual)[len(self._usual) // 2] if self._usual else limits.delay_s
        own = max(usual + limits.more_s, limits.more_least_s)
        known = len(self._usual) >= limits.usual
        self._limit_s = min(own, limits.delay_s) if known else limits.delay_s
        self._limit_s += round(self._seldom_s)
        late = (
            self._limit_s <= newest.delay_s < DELAY.most_delay_s
            and newest.spread_mbpm <= limits.better * newest.spread_now_mbpm
            and self._shows(newest)
        )
        fine = newest.delay_s <= self._limit_s - limits.fine_s
        if abs(newest.delay_s - self._late_s) > limits.agree_s:
            self._late_in_a_row = 0
        if late and self._late_in_a_row == 0:
            self._since = second
        self._late_in_a_row = self._late_in_a_row + 1 if late else 0
        self._late_s = newest.delay_s
        if not fine:
            self._fine_in_a_row = 0
        else:
            self._fine_in_a_row += 1
            self._usual.append(newest.delay_s)

    def _shows(self, newest: DelayEstimate) -> bool:
        """Whether neither the rises nor the falls that it was made of deny the delay."""
        first, delay_s = newest.second - newest.window_s, newest.delay_s
        first = max(first, delay_s)
        reference = self.session.reference.grid.view[first - delay_s : newest.second]
        test = self.watched.grid.view[first : newest.second]
        if len(reference) != len(test) + delay_s:
            return True
        shown = least_shown(reference, test, delay_s, self._limits.side_energy)
        return shown >= self._limits.shown

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._late_efforts()[0][0] if self._tells_efforts() else self._since

    def _tells_efforts(self) -> bool:
        late = self._late_efforts()
        limits = self._limits
        return len(late) >= limits.efforts and len(late) >= limits.share * len(self._efforts)

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        seen, reference = self._seen, self.session.reference.label
        if self._tells_efforts():
            late = [late_s for _, late_s in self._late_efforts()]
            delay_s, limit_s = round(median(late)), self._limits.effort_delay_s
            last = "last " if len(self._efforts) == self._limits.efforts_kept else ""
            cause = (
                f"{self.name} follows {reference} {delay_s} s late in {len(late)} of "
                f"{'the ' if last else ''}{last}{len(self._efforts)} efforts"
            )
        else:
            delay_s, limit_s = seen.delay_s if seen else 0, self._limit_s
            cause = f"{self.name} follows {reference}, but about {delay_s} s late"
        return Explanation(
            f"{cause}{self._clock_words()}.",
            "Nothing is lost: compare it after taking the delay out, and check that its band is "
            "snug, since a loose one makes a sensor average for longer.",
            (
                Measure("delay", delay_s, "s", limit_s),
                Measure("spread at that delay", seen.spread_mbpm / 1000 if seen else 0, "bpm"),
                Measure("spread without it", seen.spread_now_mbpm / 1000 if seen else 0, "bpm"),
            ),
        )

    def _clock_words(self) -> str:
        """On which clock the delay rests, where a node has stamped either of the two."""
        both = (self.session.reference, self.watched)
        of_nodes = [one for one in both if one.planned.source == "node"]
        if not of_nodes:
            return ""
        named = " and ".join(dict.fromkeys(f"'{one.planned.node}'" for one in of_nodes))
        clocks = f"the clock{'s' if ' and ' in named else ''} of node {named}"
        if all(one.is_placed for one in of_nodes):
            return f", by {clocks}, translated to this one"
        return f", by arrival here: {clocks} cannot be translated yet"

    def cleared(self) -> str:
        """See :class:`Rule`."""
        if self._seen is None:
            return "It has followed the last effort in time."
        return f"It follows within {self._seen.delay_s} s again."

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._late_in_a_row = 0
        self._efforts.clear()
        self._late = None
        # An effort that was under way is not judged by what was explained.
        self._first_effort = len(self.session.efforts.efforts) + 1


def _reached(held: Sequence[int], mbpm: int, first: int, last: int) -> int:
    """The first second from ``first`` on in which a value is as high; else ``last``."""
    return next((at for at in range(first, last) if held[at] >= mbpm), last)
