"""Not started: a planned sensor has never been heard."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from analysis.board.rules.base import (
    BAD,
    GOOD,
    UNSURE,
    UNTIL_NEWS,
    Explanation,
    SensorRule,
    Verdict,
    unreadable_words,
)
from analysis.board.rules.thresholds import NOT_STARTED, NotStartedLimits
from analysis.board.snapshot import Measure, WarningKind
from replay.link_state import LinkState

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState

_UNDERWAY: Final = frozenset({LinkState.QUEUED, LinkState.CONNECTING, LinkState.PREPARING})

_ADVICE: Final = {
    LinkState.REFUSED: "Free it from other phones, watches and programs, then connect again.",
    LinkState.ADAPTER_OFF: "Switch Bluetooth on.",
}


class NotStarted(SensorRule):
    """No readable notification since the session began.

    What its source last said of a link that is not up is the advice: it knows the cause.
    """

    kind = WarningKind.NOT_STARTED

    def __init__(
        self, session: SessionState, watched: SensorState, limits: NotStartedLimits = NOT_STARTED
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self.clear_after_s = limits.clear_after_s

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        if self.watched.first_ns >= 0:
            self.quiet_until = UNTIL_NEWS
            return GOOD
        if second < self._limits.after_s or self.stopped:
            return UNSURE
        if self.watched.link in _UNDERWAY and second < self._limits.underway_s:
            return UNSURE
        return BAD

    def since(self) -> int:
        """See :class:`Rule`."""
        return 0

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        watched, second = self.watched, self.session.second
        if watched.malformed:
            cause = (
                f"{self.name} has sent nothing readable in {second} s; "
                f"{unreadable_words(watched.malformed)}."
            )
        else:
            cause = (
                f"{self.name} is planned, but has not been heard in {second} s "
                f"(link: {watched.link.value})."
            )
        advice = (not watched.link.is_up and watched.advice) or _ADVICE.get(watched.link)
        if not advice:
            advice = (
                f"Check that something publishes on '{watched.planned.topic}'."
                if watched.planned.source == "mqtt"
                else "Switch it on, put it on the skin, start its broadcast, bring it near."
            )
        return Explanation(
            cause,
            advice,
            (Measure("time without a notification", second, "s", self._limits.after_s),),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"First heard after {self.watched.first_ns / 1e9:.0f} s."
