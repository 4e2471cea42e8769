"""Whether a test sensor is off by more than a delay or a blunted peak can explain.

Optical sensors follow late and show short efforts blunted; being out of tolerance for a while
after each change of effort is their nature, not a fault.  Shared by the rules that judge a test
sensor beside the reference; looked at once a second.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from analysis.board.rules.delay_estimate import DelayEstimate, DelayEstimator
from analysis.board.rules.thresholds import DEVIATION, DeviationLimits
from analysis.statistics.pairing import NO_VALUE

if TYPE_CHECKING:
    from analysis.board.rules.base import Rule
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class Deviation:
    """State of one test sensor against the reference at the grid second last looked at.

    ``paired``: both have a value.  ``side``: 0 within tolerance, else +1 above or −1 below the
    reference.  ``unexplained``: outside of everything the reference was within the sensor's
    delay.  ``follows``: the reference has moved since they last agreed, and the sensor has gone
    part of the way, not past it.  ``told``: rules that are asked, even if they sleep, while the two
    do not agree.
    """

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        delay: DelayEstimator | None = None,
        limits: DeviationLimits = DEVIATION,
    ) -> None:
        self.watched: Final = watched
        self._session: Final = session
        self._reference: Final = session.reference.held
        self._held: Final = watched.held
        self._tolerance: Final = session.tolerance
        self._limits: Final = limits
        self.delay: Final = delay or DelayEstimator(session, watched)
        self._second = -1
        self._allowed_at = NO_VALUE
        self._allowed = 0
        self._agreed: tuple[int, int] | None = None
        self._leapt = -1
        self._agreed_at = -1
        self._delay_s = limits.delay_s
        self._known: DelayEstimate | None = None
        self.told: Final[list[Rule]] = []
        self.paired = False
        self.side = 0
        self.unexplained = False
        self.follows = False

    @property
    def reference_leapt(self) -> bool:
        """Whether the reference has leapt away since they last agreed."""
        return self._leapt > self._agreed_at

    def look(self, second: int) -> Deviation:
        """The state at ``second``; made on the first call for it."""
        if second == self._second:
            return self
        reference, value = self._reference[second], self._held[second]
        self.unexplained = self.follows = False
        self._second = second
        if reference == NO_VALUE:
            self.paired, self.side = False, 0
            return self
        before = self._reference[second - 1] if second else NO_VALUE
        if before != NO_VALUE and abs(reference - before) > self._limits.leap_mbpm:
            self._reference_leapt(second, reference - before)
        self.paired = value != NO_VALUE
        if not self.paired:
            self.side = 0
            return self
        if reference != self._allowed_at:
            self._allowed_at, self._allowed = reference, self._tolerance.allowed_mbpm(reference)
        difference, allowed = value - reference, self._allowed
        if -allowed <= difference <= allowed:
            self.side = 0
            self._agree(second, reference, value)
        else:
            self.side = 1 if difference > 0 else -1
            self._differ(second, reference, value)
        return self

    def _agree(self, second: int, reference: int, value: int) -> None:
        self._agreed = (reference, value)
        self._agreed_at = second
        # Looked at while they agree only: a fault must not teach the delay that excuses it.  Nor
        # may one of the reference: what swings by itself fits a long delay as well as none.
        delay = self.delay
        if not self._session.left_out and (second >= delay.due or delay.newest is not self._known):
            follows = delay.estimate(second)
            self._known = delay.newest
            if follows is not None:
                limits = self._limits
                self._delay_s = min(follows.delay_s + limits.delay_slack_s, limits.delay_s)

    def _differ(self, second: int, reference: int, value: int) -> None:
        first = max(0, second - self._delay_s, self._leapt)
        was = [v for v in self._reference[first:second] if v != NO_VALUE]
        nearest = (max if self.side > 0 else min)(was, default=reference)
        further = self.side * (value - nearest) > 0
        self.unexplained = further and not self._tolerance.within(nearest, value)
        if self._agreed is not None:
            reference_then, value_then = self._agreed
            moved = reference - reference_then
            if abs(moved) >= self._limits.moved_mbpm:
                # What has gone further than the reference is neither late nor blunted.
                self.follows = self._limits.follows <= (value - value_then) / moved <= 1

    def _reference_leapt(self, second: int, leap: int) -> None:
        """A leap of the reference is no change of the heart: count from behind it."""
        self._leapt = second
        if self._agreed is not None:
            self._agreed = (self._agreed[0] + leap, self._agreed[1])


class Deviations:
    """Test sensors of a session beside the reference, looked at each second before the rules are
    asked: nearly always nearly all agree.
    """

    def __init__(self, session: SessionState, each: Sequence[Deviation]) -> None:
        self._each: Final = tuple(each)
        session.watches.append(self)

    def look(self, second: int) -> list[Rule]:
        """Look at each; the rules that wait for one that does not agree."""
        concerned: list[Rule] = []
        for one in self._each:
            one.look(second)
            if one.side or not one.paired:
                concerned += one.told
        return concerned


def deviation_of(session: SessionState, watched: SensorState) -> Deviation:
    """Of one sensor, for a rule by itself."""
    deviation = Deviation(session, watched)
    Deviations(session, (deviation,))
    return deviation
