"""Where a view gets its events from: a running capture or a file, behind one interface.

A view polls its feed from its own frame timer, gives what came to its own board, and draws.
It cannot tell a live capture from a replay except by what it may ask for (``controls``).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Protocol

from live.protocol.alarm import Alarm
from replay.event import Event
from replay.plan import Plan

if TYPE_CHECKING:  # a capture speaks this protocol too, and has no use for a board and its numpy
    from analysis.board import Board

RECORDING_BEGINS: Final = "the recording begins"
"""Reason by which the stream of a rehearsal ends; attach again for the recording's own."""
LONGEST_AGO_MS: Final = 3_600_000
"""How long a marker's moment may have passed: an hour is a long time to write a note."""


@dataclass(frozen=True, slots=True)
class Tick:
    """All events up to this instant have been handed over."""

    t_ns: int


@dataclass(frozen=True, slots=True)
class CaptureStatus:
    """What the capture process says of itself.

    ``path``: the capture file, empty for practice without saving.  ``saved``: events committed
    to disk; ``commit_age_s``: seconds since the last commit.  ``views``: attached views.
    ``trouble``: what warnings should set off and could not, in one sentence.  ``in_front``: the
    view that reads this is the newest one; it alone may be heard.  ``page``, ``page_to_look``:
    where the page for a phone can be opened, with its buttons and without; empty if none is served.
    ``alarm``: the file is in danger, or saving has failed; ``None`` while all is well.
    """

    path: str
    events: int
    saved: int
    commit_age_s: float
    views: int
    problem: str = ""
    trouble: str = ""
    page: str = ""
    page_to_look: str = ""
    in_front: bool = False
    alarm: Alarm | None = None


@dataclass(frozen=True, slots=True)
class Ended:
    """The stream is over: the capture stopped, or the file came to its end.

    ``alarm``: what has to be said of an end that nobody asked for; ``None`` for any other.
    """

    t_ns: int
    reason: str
    alarm: Alarm | None = None


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """The capture carried out (or refused) a command; ``number`` is the command's."""

    number: int
    done: bool
    message: str = ""


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """A replay may come back to here: keep what is known now under this number.

    ``forget``: numbers of earlier places that it will not come back to.
    """

    number: int
    forget: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Rewound:
    """A replay stands at another place: forget all but what was kept under this number.

    ``to``: 0 is the start; the events from there follow.  ``afresh``: the plan has changed,
    what was kept at places is of no use any more.  ``board``: as it stood there, where the player
    has it; the view may keep it.
    """

    to: int = 0
    afresh: bool = False
    board: Board | None = None


Message = Event | Tick | CaptureStatus | Ended | Acknowledged | Checkpoint | Rewound


@dataclass(frozen=True, slots=True)
class Command:
    """What a view asks of the capture: ``marker`` (text, and ``ago_ms`` for a moment that has
    passed), ``acknowledge`` (the kind and the sensor of a warning), ``stop``, ``connect``
    (sensor), and of a rehearsal ``record``.  A view without a picture, which only calls the
    tester, says so by ``watch``; by ``trouble`` (text) it says what it could not do, by ``page``
    (``full``, ``read``) where it serves one.
    """

    number: int
    action: str
    values: dict[str, str | int] = field(default_factory=dict)


class Feed(Protocol):
    """Events for one view.  All methods are called on the view's thread and never block."""

    @property
    def plan(self) -> Plan:
        """The plan of the session that is shown."""

    @property
    def title(self) -> str:
        """What is being shown: the file's name, or where the live capture is written."""

    @property
    def started_utc_ns(self) -> int:
        """UTC at which the session began, ns since 1970."""

    @property
    def is_live(self) -> bool:
        """Whether a capture is running behind it (commands reach it) or a file is replayed."""

    @property
    def silent_s(self) -> float:
        """Seconds since the capture's last word, all of which has been polled; 0 for a file."""

    def poll(self) -> list[Message]:
        """Everything that came since the last call, in order; empty if nothing did."""

    def send(self, action: str, **values: str | int) -> int:
        """Ask the capture for something; returns the command's number."""

    def close(self) -> None:
        """Let go of the capture or the file; a running capture goes on."""
