"""Two captures of one session, made by two computers, on one axis of time.

Each capture has a clock of its own, which begins with its session and runs at its own pace.  What
they have in common is UTC, of which each holds an anchor every 30 s.  Times of one are carried to
the other through UTC, by straight lines between the anchors; so a clock that drifts is followed.
How well the two agree on UTC is not known from the captures: two computers that keep time over
the network agree to some 10 ms, two that do not may be minutes apart.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from replay.errors import CaptureError
from replay.event import ANCHOR, NS_PER_S, SESSION, Event, unpack_int

if TYPE_CHECKING:
    from replay.capture import Capture

Times = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class UtcClock:
    """``t_ns`` and ``utc_ns``, int64[n] with n ≥ 1: what UTC was at instants of a capture."""

    t_ns: Times
    utc_ns: Times

    def utc(self, t_ns: int) -> int:
        """UTC at an instant of the capture; before the first and behind the last anchor at the
        capture's own pace.
        """
        return _along(self.t_ns, self.utc_ns, t_ns)

    def t(self, utc_ns: int) -> int:
        """Instant of the capture at a UTC."""
        return _along(self.utc_ns, self.t_ns, utc_ns)


def _along(x: Times, y: Times, at: int) -> int:
    """Straight lines through the points, whole ns; beyond the ends with slope 1."""
    place = int(np.searchsorted(x, at, side="right"))
    if place == 0:
        return int(y[0]) + at - int(x[0])
    left = place - 1
    if place == len(x):
        return int(y[left]) + at - int(x[left])
    run, rise = int(x[place]) - int(x[left]), int(y[place]) - int(y[left])
    return int(y[left]) + (at - int(x[left])) * rise // run


def utc_clock(events: Iterable[Event], started_utc_ns: int) -> UtcClock:
    """The clock of a capture from its anchors; without any, from its start alone.

    An anchor before an earlier one's UTC (the clock was set back) is left out: on one axis time
    must not run backwards.
    """
    t_ns: list[int] = []
    utc_ns: list[int] = []
    for event in events:
        if event.channel != ANCHOR or event.sensor != SESSION:
            continue
        try:
            utc = unpack_int(event.payload)
        except ValueError:
            continue
        if not t_ns or (event.t_ns > t_ns[-1] and utc > utc_ns[-1]):
            t_ns.append(event.t_ns)
            utc_ns.append(utc)
    if not t_ns:
        t_ns, utc_ns = [0], [started_utc_ns]
    return UtcClock(np.array(t_ns, dtype=np.int64), np.array(utc_ns, dtype=np.int64))


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """Where the two stand on their common axis, which begins when the first of them does.

    ``shift_ns``: common time at the start of each.  ``common_ns``: how long both ran together.
    ``drift_ppm``: how much faster the second's clock runs than the first's, from the anchors of
    the common part; ``None`` if that is too short to tell.
    """

    first: UtcClock
    second: UtcClock
    shift_ns: tuple[int, int]
    common_ns: int
    drift_ppm: float | None

    def to_common(self, which: int, t_ns: int) -> int:
        """Common time of an instant of the first (0) or second (1) capture.

        The pace is the first's: its own times are only shifted.
        """
        if which == 0:
            return t_ns + self.shift_ns[0]
        return self.first.t(self.second.utc(t_ns)) + self.shift_ns[0]


LEAST_COMMON_S: Final = 120
"""Four anchors: below that a step of 10 ms would look like a drift of 100 ppm."""


def align(one: Capture, two: Capture) -> Alignment:
    """Align two open captures on UTC.

    Raises :class:`~replay.errors.CaptureError` if they have no instant in common, with how far
    they are apart.
    """
    first = utc_clock(one.events(), one.started_utc_ns)
    second = utc_clock(two.events(), two.started_utc_ns)
    start_of_two = first.t(second.utc(0))
    end_of_two = first.t(second.utc(two.duration_ns))
    from_ns, to_ns = max(0, start_of_two), min(one.duration_ns, end_of_two)
    if to_ns <= from_ns:
        apart = (from_ns - to_ns) / 1e9
        raise CaptureError(
            f"{one.path.name} and {two.path.name} are not of the same time: by UTC {apart:,.0f} s "
            "lie between them"
        )
    before = max(0, -start_of_two)
    return Alignment(
        first,
        second,
        (before, start_of_two + before),
        to_ns - from_ns,
        _drift(first, second, from_ns, to_ns),
    )


def _drift(first: UtcClock, second: UtcClock, from_ns: int, to_ns: int) -> float | None:
    # Between anchors of both alone: beyond them nothing is known of the pace.
    start = max(first.utc(from_ns), int(first.utc_ns[0]), int(second.utc_ns[0]))
    end = min(first.utc(to_ns), int(first.utc_ns[-1]), int(second.utc_ns[-1]))
    if end - start < LEAST_COMMON_S * NS_PER_S:
        return None
    ran, passed = first.t(end) - first.t(start), second.t(end) - second.t(start)
    return 1e6 * (passed - ran) / ran


def on_common_time(alignment: Alignment, which: int, events: Iterable[Event]) -> Iterable[Event]:
    """The events of one of the two with common times, never decreasing."""
    newest = 0
    for event in events:
        newest = max(newest, alignment.to_common(which, event.t_ns))
        yield event._replace(t_ns=newest)
