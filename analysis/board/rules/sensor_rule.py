"""What the rules about one sensor share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from analysis.board.rules.base import Rule
from replay.event import NS_PER_S
from replay.link import LinkState

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class SensorRule(Rule):
    """A rule that watches one sensor of the session."""

    def __init__(self, session: SessionState, watched: SensorState) -> None:
        super().__init__(watched.number)
        self.session: Final = session
        self.watched: Final = watched

    @property
    def name(self) -> str:
        """How the sentences call the sensor."""
        return (
            f"{self.watched.label} (reference)" if self.watched.is_reference else self.watched.label
        )

    @property
    def seat_advice(self) -> str:
        """How such a sensor is seated better, as one sentence."""
        if self.watched.has_electrodes:
            return "Wet the strap's electrodes, tighten it by a finger, and keep clothing off it."
        return "Tighten its band by one hole, move it a finger's breadth up the arm, warm the skin."

    @property
    def stopped(self) -> bool:
        """Whether the session has closed the link on purpose: nothing is to be expected."""
        return self.watched.link is LinkState.STOPPED


def age_s(second: int, t_ns: int) -> float:
    """Age at grid second ``second`` of something that happened at ``t_ns``, in s."""
    return second - t_ns / NS_PER_S


def time_words(second: int) -> str:
    """An instant of the session as its views name it: ``3:20`` or ``1:02:07``."""
    hours, rest = divmod(max(second, 0), 3600)
    minutes, seconds = divmod(rest, 60)
    return f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes}:{seconds:02}"
