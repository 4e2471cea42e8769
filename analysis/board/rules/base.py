"""What a warning rule is.

A rule watches one sensor (or the session) and is asked once per closed grid second whether what
it looks for is there.  It keeps evidence, never a warning: raising, clearing, hysteresis and
which warning suppresses which are the warning engine's.
"""

from __future__ import annotations

import sys
from abc import ABC, abstractmethod
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, ClassVar, Final

from analysis.board.snapshot import Measure, WarningKind
from replay.event import NS_PER_S, SESSION
from replay.link_state import LinkState

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class Verdict(IntEnum):
    """What a rule sees at one grid second."""

    GOOD = -1
    """The fault is not there."""
    UNSURE = 0
    """Nothing to judge by; a standing warning stands, and none is raised."""
    BAD = 1
    """The fault is there."""


GOOD: Final = Verdict.GOOD
UNSURE: Final = Verdict.UNSURE
BAD: Final = Verdict.BAD


UNTIL_NEWS: Final = sys.maxsize
"""``quiet_until`` of a rule that lives on rare events alone."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """Why a warning is raised: one sentence of cause, one of advice, and the values behind."""

    cause: str
    advice: str
    measures: tuple[Measure, ...] = ()


class Rule(ABC):
    """One kind of fault, looked for on one sensor.

    ``sensor``: number in the plan, 0 for the session.  ``raise_after_s``: consecutive bad
    seconds before it is raised; ``clear_after_s``: good seconds before it is cleared; unsure
    seconds count for neither.  ``quiet_until``: a rule that knows that it will not be bad before
    this second, whatever readings come, need not be asked until then while nothing of it stands;
    0 while it knows no such thing.  News (:meth:`.warning_engine.WarningEngine.news`) has it asked
    once in between, and where it ``sleeps_lightly`` so has what is no valid reading of its sensor.
    """

    kind: ClassVar[WarningKind]
    sleeps_lightly: ClassVar[bool] = False
    raise_after_s: int = 1
    clear_after_s: int = 1

    def __init__(self, sensor: int = SESSION) -> None:
        self.sensor: Final = sensor
        self.quiet_until = 0

    @abstractmethod
    def step(self, second: int) -> Verdict:
        """Look at the grid second that was just closed."""

    @abstractmethod
    def since(self) -> int:
        """Grid second at which the fault began, asked when it is raised."""

    @abstractmethod
    def explain(self) -> Explanation:
        """The sentences as of the grid second looked at: asked at each at which it was bad, so
        that they stay true while the warning stands.
        """

    @abstractmethod
    def cleared(self) -> str:
        """One sentence on how it ended."""

    def reset(self) -> None:  # noqa: B027  (nothing to forget is the common case)
        """Forget the evidence: another rule explains what was seen.  What is usual stays."""


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


def unreadable_words(count: int) -> str:
    """How many notifications of a sensor were malformed, as the end of a sentence."""
    notifications = "notification" if count == 1 else "notifications"
    return f"{count} {notifications} could not be read"


def time_words(second: int) -> str:
    """An instant of the session as its views name it: ``3:20`` or ``1:02:07``."""
    hours, rest = divmod(max(second, 0), 3600)
    minutes, seconds = divmod(rest, 60)
    return f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes}:{seconds:02}"
