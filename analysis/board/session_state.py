"""What the events so far say of the session as a whole: everything that no sensor owns.

The session also holds the sensors, so that a rule can look at one sensor beside the others.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Final, Protocol

from analysis.board.effort_watch import EffortWatch
from analysis.board.sensor import SensorState
from analysis.statistics.agreement import Tolerance
from replay import event as ev
from replay.event import Event
from replay.markers import decode_marker
from replay.plan import Plan


@dataclass(frozen=True, slots=True)
class Marker:
    """A note that the tester dropped at ``t_ns`` of the capture clock."""

    t_ns: int
    text: str


@dataclass(frozen=True, slots=True)
class Step:
    """Something that happened to the capture at ``t_ns``, ``size_ns`` large."""

    t_ns: int
    size_ns: int


class Watch(Protocol):
    """Something that rules share and that knows when they must not sleep on."""

    def look(self, second: int) -> Collection[object]:
        """Take in the grid second just closed, before the rules are asked; those of them
        to be asked at it even if they sleep.
        """


class SessionState:
    """The session and its sensors; fed by the board, read by the rules.

    ``sensors``: by position, ``sensors[n - 1]`` is sensor ``n``; ``compared``: those that send a
    heart rate.  ``efforts``: those
    of the reference so far, and what the test sensors made of them.  ``second``: the last closed
    grid second.  ``last_jump`` and
    ``last_late``: the newest step of the clock and the newest blockage of the capture loop.
    ``free_bytes``: room where the capture is written, ``None`` while not known.  ``malformed``:
    events of the session that could not be read; ``strays``: events for a sensor that the plan
    does not have.  ``watches``: asked each grid second, before the rules.  ``left_out``: whether
    the reference is known to be at fault by its own signal, as of the second before.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan: Final = plan
        self.tolerance: Final = Tolerance(plan.tolerance_bpm, plan.tolerance_percent)
        self.sensors: Final = tuple(
            SensorState(number, planned) for number, planned in enumerate(plan.sensors, 1)
        )
        self.reference: Final = self.sensors[plan.reference - 1]
        # What could not be aligned has values and gaps, but nothing that it could be held against.
        self.tests: Final = tuple(
            self.sensors[number - 1] for number in plan.tests if plan.is_comparable(number)
        )
        self.compared: Final = (self.reference, *self.tests)
        self.efforts: Final = EffortWatch(self.reference, self.tests)
        self.second = -1
        self.left_out = False
        self.watches: Final[list[Watch]] = []
        self.markers: Final[list[Marker]] = []
        self.last_jump: Step | None = None
        self.last_late: Step | None = None
        self.free_bytes: int | None = None
        self.malformed = 0
        self.strays = 0
        self._anchor: tuple[int, int] | None = None

    def utc_ns(self, t_ns: int) -> int | None:
        """UTC at ``t_ns`` by the newest anchor; ``None`` before the first."""
        if self._anchor is None:
            return None
        at_ns, utc_ns = self._anchor
        return utc_ns + t_ns - at_ns

    def take(self, t_ns: int, event: Event) -> None:
        """An event of the session itself.  Unknown channels and bad payloads are counted."""
        handler = _SESSION_EVENTS.get(event.channel)
        if handler is None:
            self.strays += 1
            return
        try:
            handler(self, t_ns, event.payload)
        except ValueError:
            self.malformed += 1

    def _take_anchor(self, t_ns: int, payload: bytes) -> None:
        self._anchor = (t_ns, ev.unpack_int(payload))

    def _take_jump(self, t_ns: int, payload: bytes) -> None:
        self.last_jump = Step(t_ns, ev.unpack_int(payload))

    def _take_late(self, t_ns: int, payload: bytes) -> None:
        self.last_late = Step(t_ns, ev.unpack_int(payload))

    def _take_disk(self, _t_ns: int, payload: bytes) -> None:
        self.free_bytes = ev.unpack_int(payload)

    def _take_marker(self, t_ns: int, payload: bytes) -> None:
        insort(self.markers, Marker(*decode_marker(t_ns, payload)), key=lambda one: one.t_ns)


_SESSION_EVENTS: Final[Mapping[str, Callable[[SessionState, int, bytes], None]]] = {
    ev.ANCHOR: SessionState._take_anchor,
    ev.JUMP: SessionState._take_jump,
    ev.LATE: SessionState._take_late,
    ev.DISK: SessionState._take_disk,
    ev.MARKER: SessionState._take_marker,
}
