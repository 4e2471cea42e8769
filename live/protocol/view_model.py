"""What a view knows: a board of its own, fed from its feed, and the state of the stream.

The window and the terminal view share this.  A view owns one model, calls ``pump`` from its own
timer and draws from ``snapshot()`` and ``board``; nothing here knows how it is drawn.
"""

from __future__ import annotations

import logging
import pickle
from collections.abc import Callable, Iterable
from typing import TypeVar

from analysis.board import Board
from analysis.board.snapshot import SensorWarning, Snapshot
from live.protocol.alarm import GOES_ON, SILENCE_S, SILENT, UNSAFE, Alarm
from live.protocol.feed import (
    Acknowledged,
    CaptureStatus,
    Checkpoint,
    Ended,
    Feed,
    Message,
    Rewound,
    Tick,
)
from replay.event import Event
from replay.plan import Plan

_log = logging.getLogger(__name__)
_Given = TypeVar("_Given")


def rules_off(snapshot: Snapshot) -> str:
    """Which warnings are no longer looked for, since their rule failed; empty for none."""
    named = [
        f"{failure.kind.value} of {snapshot.sensors[failure.sensor - 1].label}"
        if failure.sensor
        else failure.kind.value
        for failure in snapshot.failed_rules
    ]
    return f"warnings off after an error: {', '.join(named)}" if named else ""


def late_words(late: int) -> str:
    """How many events of nodes came too late for the board; empty for none."""
    return f"{late} came late: saved, not in these figures" if late else ""


class ViewModel:
    """A feed and the board that is made of it.  All calls come from the view's own thread.

    ``feed``: where events come from.  ``board``: replaced by a new one when a replay goes back,
    so take it from here each time; ``generation`` counts the replacements, for views that keep
    something derived from it.  ``status``: what the capture last said of itself, ``None`` for a
    file.  ``ended``: set once the stream is over.  ``alarm``: the recording has ended unasked or is
    in danger, ``alarm_is_known`` once the tester has acknowledged that here.  ``faults``: events
    that the board could not take because of an error in it; each is logged, and the view goes on
    and shows the count.  ``on_event``: told of each event in order of arrival, behind the board; it
    must not raise.
    """

    def __init__(self, feed: Feed, board_of: Callable[[Plan], Board] = Board) -> None:
        self.feed = feed
        self._board_of = board_of
        self.board: Board = board_of(feed.plan)
        self.generation = 0
        self.status: CaptureStatus | None = None
        self.ended: Ended | None = None
        self.alarm: Alarm | None = None
        self.alarm_is_known = False
        self._read: Alarm | None = None
        self.faults = 0
        self.on_event: Callable[[Event], None] | None = None
        self._answers: dict[int, Acknowledged] = {}
        self._snapshot: Snapshot | None = None
        self._kept: dict[int, bytes] = {}
        """Boards as they were at places of a replay: going back begins from the nearest.  Pickled:
        a deep copy takes ten times as long and more room."""

    @property
    def plan(self) -> Plan:
        """The plan of the session that is shown."""
        return self.feed.plan

    @property
    def kept_places(self) -> int:
        """Of how many places of a replay the board is kept."""
        return len(self._kept)

    def pump(self) -> bool:
        """Take everything that came since the last call; returns whether anything did."""
        messages = self.feed.poll()
        for message in messages:
            self._take(message)
        if messages:
            self._snapshot = None
        before, self.alarm = self.alarm, self._present_alarm()
        if self.alarm is None or before is None or self.alarm.headline != before.headline:
            self.alarm_is_known = False
        return bool(messages) or self.alarm != before

    def _take(self, message: Message) -> None:
        match message:
            case Event():
                self._on_board(self.board.feed, message)
                if self.on_event is not None:
                    self.on_event(message)
            case Tick(t_ns):
                self._on_board(self.board.advance, t_ns)
            case CaptureStatus():
                self.status = message
            case Acknowledged(number):
                self._answers[number] = message
            case Ended(t_ns):
                self._on_board(self.board.finish, t_ns)
                self.ended = message
            case Checkpoint(number, forget):
                for other in forget:
                    self._kept.pop(other, None)
                self._kept[number] = pickle.dumps(self.board, pickle.HIGHEST_PROTOCOL)
            case Rewound(to, afresh, board):
                if afresh:
                    self._kept.clear()
                self.board = self._board_at(to) if board is None else board
                self._gone_back()

    def _board_at(self, to: int) -> Board:
        """The board that was kept under a number, or an empty one."""
        kept = self._kept.get(to)
        if kept is None:
            return self._board_of(self.feed.plan)
        board: Board = pickle.loads(kept)  # noqa: S301 - this process made it
        return board

    def _gone_back(self) -> None:
        self.generation += 1
        self.ended = None

    @property
    def halted(self) -> str:
        """What stands where a sensor is said to be streaming, once nothing is recorded safely."""
        if self.alarm is None or self.alarm.headline == GOES_ON:
            return ""
        return self.alarm.headline.lower()

    @property
    def is_stale(self) -> bool:
        """Whether the values that are shown stand still because of the alarm."""
        return self.alarm is not None and self.alarm.headline not in (UNSAFE, GOES_ON)

    def _present_alarm(self) -> Alarm | None:
        if self.ended is not None:
            return self.ended.alarm
        told = self.status.alarm if self.status is not None else None
        if told is not None and told != self._read:
            return told
        return SILENT if self.feed.silent_s > SILENCE_S else None

    def acknowledge_alarm(self) -> bool:
        """The tester knows of the alarm that stands; false if none stands or it was known.

        It stays with this view: the capture may be gone, and no other view is heard meanwhile.
        """
        if self.alarm is None or self.alarm_is_known:
            return False
        self.alarm_is_known = True
        if self.alarm.headline == GOES_ON:  # all is well again: once read, it is over
            self._read = self.alarm
        return True

    def snapshot(self) -> Snapshot:
        """The board as of the last event or tick; made once per ``pump`` that brought news."""
        if self._snapshot is None:
            self._snapshot = self.board.snapshot()
        return self._snapshot

    def acknowledge(self, warnings: Iterable[SensorWarning]) -> list[int]:
        """Tell the capture that the tester knows of these; numbers of the commands.

        Each by its kind and sensor, so that what was not on the screen yet is not silenced.
        """
        return [
            self.feed.send("acknowledge", sensor=warning.sensor, kind=warning.kind.value)
            for warning in warnings
            if warning.calls
        ]

    def answer(self, number: int) -> Acknowledged | None:
        """The capture's answer to the command with this number, once; ``None`` until it came."""
        return self._answers.pop(number, None)

    def _on_board(self, step: Callable[[_Given], object], given: _Given) -> None:
        # Drawing must outlive an error in a rule: the capture is saved elsewhere, and a view
        # that ends takes the tester's eyes off everything else that still works.
        try:
            step(given)
        except Exception:
            self.faults += 1
            _log.exception("the board could not take an event")
