"""What the events so far say of one sensor.

The board feeds it; the rules read it.  Everything here is a plain fact of the events, without
judgement: what counts as a fault is the rules' business.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import Final, TypeAlias, cast

import numpy as np
import numpy.typing as npt

from analysis.board.growing import Growing
from analysis.statistics.pairing import NO_VALUE
from replay import event as ev
from replay.channels import (
    COMPANION_CHANNELS,
    DECODERS,
    HEART_RATE_CHANNELS,
    decode,
)
from replay.event import NS_PER_S, Event
from replay.link_state import LinkState
from replay.payloads import Battery, DeviceText, HeartRate, Motion, RevolutionRate, Revolutions
from replay.plan import PlannedSensor
from replay.text import printable

ACQUIRING_NS: Final = 40 * NS_PER_S
"""Optical sensors look for the pulse for 10 to 40 s after they are put on, and send 0 meanwhile."""

RATE_WINDOW_NS: Final = 10 * NS_PER_S
"""Stretch over which rates are counted: long enough for ten notifications at 1 Hz."""

SPACINGS_KEPT: Final = 30
"""Half a minute at 1 Hz: enough for a spacing that is usual now, soon forgotten when it changes."""

LEAP_NS: Final = 1_500_000_000
LEAP_MBPM: Final = 30_000
"""No heart moves by so much between two readings a second apart; the fastest rises seen are under
12 bpm a second."""

NO_CADENCE: Final = -1.0
"""Stands in ``cadences`` where no cadence is known."""

KEPT_S: Final = 20
"""For rules that take in the readings of several seconds in one go: none sleeps for longer."""
COUNTS_KEPT_S: Final = 60
"""For rules that count the readings of so long a stretch at most."""

_SHORTEST_RATE_SPAN_NS: Final = NS_PER_S // 2
_MOST_ARRIVALS: Final = 256
_LINK_STATES: Final = {state.value.encode("ascii"): state for state in LinkState}


_ReadHeartRate: TypeAlias = Callable[[bytes], tuple[HeartRate, int | None]]


def _reads(channel: str) -> _ReadHeartRate:
    """Decodes a payload of this channel: the reading, and its value where it may be paired."""
    decoder = cast(Callable[[bytes], HeartRate], DECODERS[channel])

    # Most payloads without RR have been read before: there are no more than bpm.
    @lru_cache(maxsize=1024)
    def read(payload: bytes) -> tuple[HeartRate, int | None]:
        reading = decoder(payload)
        return reading, reading.valid_mbpm

    return read


_HEART_RATES: Final = {channel: _reads(channel) for channel in HEART_RATE_CHANNELS}


def leaps(t_ns: npt.NDArray[np.int64], mbpm: npt.NDArray[np.int32]) -> npt.NDArray[np.int64]:
    """When a series leapt as no heart does: times int64[k], ns, of the readings that did.

    ``t_ns`` int64[n], ``mbpm`` int32[n]: valid readings in order of time.  The rule of
    :attr:`SensorState.doubtful` for a series that is known whole.

    >>> leaps(np.array([0, 10**9, 2 * 10**9]), np.array([86_000, 30_000, 86_000])).tolist()
    [1000000000, 2000000000]
    """
    leapt = (np.diff(t_ns) <= LEAP_NS) & (np.abs(np.diff(mbpm)) > LEAP_MBPM)
    found: npt.NDArray[np.int64] = t_ns[1:][leapt]
    return found


def _has_electrodes(planned: PlannedSensor) -> bool:
    if planned.placement:
        return "chest" in planned.placement.lower()
    return planned.kind == "strap" if planned.kind else planned.role == "reference"


class SensorState:
    """Facts about one planned sensor.

    ``has_electrodes``: whether it is worn as a strap is, as far as the plan tells; a reference that
    says nothing of itself is taken for one.

    ``held``: its value at each closed grid second, mbpm or ``NO_VALUE``; ``cadences``: the same
    for cadence in 1/min (only for sensors that send one).  ``fresh``: readings since the last
    closed grid second, as ``(t_ns, reading)``; ``changed``: those of them that came to another
    valid value than the one before, as ``(t_ns, mbpm)``; ``lately``: readings of the last
    ``KEPT_S`` closed grid seconds, the newest last.  ``came``: how many had come by the end of
    each of the last ``COUNTS_KEPT_S``, and of the one before these.  ``sends_rr``: whether any
    came with RR.  ``first_ns``, ``last_ns``: first and newest readable notification, −1 before;
    ``last_valid_ns``: newest valid reading.  ``newest``: the newest reading, valid or not.
    ``spacings``: the last intervals between readable notifications, ns.  ``texts``: Device
    Information by channel; ``said``: how often any has come.  ``heart_rates``: heart rate
    payloads; of these ``undecoded`` could not be read, and ``invalid`` may not be paired.
    ``is_placed``: whether the clock of the node that stamped its newest event is known.
    ``doubtful``: when a test sensor's value leapt as no heart does, ns; such readings stay valid.
    """

    def __init__(self, number: int, planned: PlannedSensor) -> None:
        self.number: Final = number
        self.planned: Final = planned
        self.label: Final = planned.label
        self.is_reference: Final = planned.role == "reference"
        self.is_companion: Final = planned.role == "companion"
        self.has_electrodes: Final = _has_electrodes(planned)
        self.hold_ns: Final = planned.hold_ns
        self.link = LinkState.FILE if planned.source == "file" else LinkState.WAITING
        self.link_since_ns = 0
        self.advice = ""
        self.is_placed = True
        self.first_ns = -1
        self.last_ns = -1
        self.last_valid_ns = -1
        self.newest: HeartRate | None = None
        self.newest_valid_mbpm = NO_VALUE
        self.fresh: list[tuple[int, HeartRate]] = []
        self.changed: list[tuple[int, int]] = []
        self.lately: Final[deque[Sequence[tuple[int, HeartRate]]]] = deque(maxlen=KEPT_S)
        self.came: Final[deque[int]] = deque([0], maxlen=COUNTS_KEPT_S + 1)
        self.sends_rr = False
        self.spacings: Final[deque[int]] = deque(maxlen=SPACINGS_KEPT)
        self.held: list[int] = []
        self.cadences: list[float] = []
        self.has_cadence = False
        self.battery_percent: int | None = None
        self.signal_dbm: int | None = None
        self.signal_ns = -1
        self.texts: dict[str, str] = {}
        self.said = 0
        self.notifications = 0
        self.malformed = 0
        self.last_malformed_ns = -1
        self.heart_rates = 0
        self.undecoded = 0
        self.invalid = 0
        self.doubled = 0
        self.doubtful: list[int] = []
        self.covered_s = 0
        self.gaps = 0
        self.times: Final = Growing(np.int64)
        self.values: Final = Growing(np.int32)
        self._grid: Final = Growing(np.int32)
        # When each of the last notifications came, and how many RR had come with it by then.
        self._arrivals: list[tuple[int, int]] = []
        self._beats = self._beats_before = 0
        self._in_gap = False
        self._cadence = NO_CADENCE
        self._cadence_ns = -1
        self._crank = RevolutionRate()

    @property
    def grid(self) -> Growing[np.int32]:
        """``held`` as an array."""
        self._grid.follow(self.held)
        return self._grid

    def is_acquiring(self, t_ns: int) -> bool:
        """Whether it has only just begun to send and has not found the heart yet.

        As of its newest reading while that is held: of a sensor that sends every 10 s no more is
        known until the next.  Electrodes hear the heart at once: a contact bit of theirs is
        believed from the start.
        """
        newest = self.newest
        if newest is None or newest.valid_mbpm is not None:
            return False
        if newest.contact is False and self.has_electrodes:
            return False
        began_ns = self.first_ns
        if self.link is LinkState.STREAMING and self.link_since_ns > self.last_valid_ns:
            began_ns = max(began_ns, self.link_since_ns)
        as_of_ns = self.last_ns if t_ns - self.last_ns <= self.hold_ns else t_ns
        return self.last_valid_ns < began_ns and as_of_ns - began_ns <= ACQUIRING_NS

    def take(self, t_ns: int, event: Event) -> bool:
        """One event of this sensor.  Never raises: what cannot be read is counted.

        Whether it is more than one more reading like those before: anything else, the first one
        with RR, and the first of those that may not be paired.
        """
        _, _, channel, payload, foreign = event
        if foreign is not None and self.planned.source == "node":
            self.is_placed = foreign.offset_ns is not None
        read = _HEART_RATES.get(channel)
        if read is None:
            self._take_other(t_ns, channel, payload)
            return channel not in COMPANION_CHANNELS
        # Written out in one: nearly all events are heart rates.
        self.notifications += 1
        self.heart_rates += 1
        try:
            reading, mbpm = read(payload)
        except ValueError:
            self.malformed += 1
            self.undecoded += 1
            self.last_malformed_ns = t_ns
            return False
        rr, before = reading.rr, self.newest
        self._arrived(t_ns, len(rr))
        self.newest = reading
        self.fresh.append((t_ns, reading))
        is_first = False
        if rr and not self.sends_rr:
            self.sends_rr = is_first = True
        if mbpm is None:
            self.invalid += 1
            return is_first or before is None or before.valid_mbpm is not None
        if (
            t_ns - self.last_valid_ns <= LEAP_NS
            and abs(mbpm - self.newest_valid_mbpm) > LEAP_MBPM
            and self.last_valid_ns >= 0
            and not self.is_reference
        ):
            self.doubtful.append(t_ns)
        self.last_valid_ns = t_ns
        if mbpm != self.newest_valid_mbpm:
            self.newest_valid_mbpm = mbpm
            self.changed.append((t_ns, mbpm))
        self.times.append(t_ns)
        self.values.append(mbpm)
        return is_first

    def _take_other(self, t_ns: int, channel: str, payload: bytes) -> None:
        handler = _RECORDS.get(channel)
        try:
            if handler is None:
                self._take_reading(t_ns, channel, payload)
            else:
                handler(self, t_ns, payload)
        except ValueError:
            self.malformed += 1
            self.last_malformed_ns = t_ns

    def close_second(self, second: int) -> None:
        """Close grid second ``second``."""
        fresh, came = self.fresh, self.came
        self.lately.append(fresh)
        came.append(came[-1] + len(fresh))
        oldest_ns = second * NS_PER_S - self.hold_ns
        value = self.newest_valid_mbpm if self.last_valid_ns >= oldest_ns else NO_VALUE
        self.held.append(value)
        if self.has_cadence:
            missing = second - len(self.cadences)
            if missing:
                self.cadences.extend([NO_CADENCE] * missing)
            self.cadences.append(self._cadence if self._cadence_ns >= oldest_ns else NO_CADENCE)
        if value != NO_VALUE or (self.is_companion and self._is_heard(second)):
            self.covered_s += 1
            self._in_gap = False
        elif not self._in_gap:
            self._in_gap = True
            self.gaps += 1

    def next_second(self) -> None:
        """The rules have looked at the closed grid second: what comes now is of the next."""
        self.fresh = []
        if self.changed:
            self.changed = []

    def _is_heard(self, second: int) -> bool:
        """Whether its newest notification is held at this grid second."""
        return 0 <= self.last_ns >= second * NS_PER_S - self.hold_ns

    def rates(self, t_ns: int) -> tuple[float, float]:
        """Notifications and RR intervals a second over the last 10 s before ``t_ns``."""
        if self.first_ns < 0:
            return 0.0, 0.0
        start_ns = max(t_ns - RATE_WINDOW_NS, self.first_ns)
        span_ns = t_ns - start_ns
        if span_ns < _SHORTEST_RATE_SPAN_NS:
            return 0.0, 0.0
        # Nearly all that is kept: count off the few that are too old, or newer than the instant.
        self._forget_arrivals()
        arrivals = self._arrivals
        count, before, until = len(arrivals), self._beats_before, self._beats_before
        for at_ns, beats in arrivals:
            if at_ns > start_ns:
                break
            count -= 1
            before = until = beats
        for at_ns, beats in reversed(arrivals):
            if at_ns <= t_ns:
                until = beats
                break
            count -= 1
        per_s = NS_PER_S / span_ns
        return count * per_s, (until - before) * per_s

    def _arrived(self, t_ns: int, beats: int) -> None:
        if self.first_ns < 0:
            self.first_ns = t_ns
        else:
            self.spacings.append(t_ns - self.last_ns)
        self.last_ns = t_ns
        self._beats += beats
        self._arrivals.append((t_ns, self._beats))
        if len(self._arrivals) >= _MOST_ARRIVALS:
            self._forget_arrivals()

    def _forget_arrivals(self) -> None:
        """Those that rates are not counted over any more: done when somebody asks for a rate, or
        when many have come.
        """
        arrivals = self._arrivals
        old = bisect_left(arrivals, (self.last_ns - RATE_WINDOW_NS + 1,))
        if old:
            self._beats_before = arrivals[old - 1][1]
            del arrivals[:old]

    def _take_reading(self, t_ns: int, channel: str, payload: bytes) -> None:
        if channel in COMPANION_CHANNELS:
            self.notifications += 1
        match decode(channel, payload):
            case Motion() as motion:
                self._take_motion(t_ns, motion)
            case Battery(percent):
                self.battery_percent = percent
            case DeviceText(text):
                self.texts[channel] = text
                self.said += 1

    def _take_motion(self, t_ns: int, motion: Motion) -> None:
        self._arrived(t_ns, 0)
        cadence = motion.cadence
        if isinstance(cadence, Revolutions):
            cadence = self._crank.feed(t_ns, cadence)
        if cadence is not None:
            self.has_cadence = True
            self._cadence = cadence
            self._cadence_ns = t_ns

    def _take_link(self, t_ns: int, payload: bytes) -> None:
        state = _LINK_STATES.get(payload)
        if state is None:
            raise ValueError("not a link state")
        if state is not self.link:
            self.link = state
            self.link_since_ns = t_ns
        if state is LinkState.STREAMING:
            self.advice = ""

    def _take_signal(self, t_ns: int, payload: bytes) -> None:
        if len(payload) != 1:
            raise ValueError("a signal strength is one byte")
        self.signal_dbm = int.from_bytes(payload, "little", signed=True)
        self.signal_ns = t_ns

    def _take_doubled(self, _t_ns: int, _payload: bytes) -> None:
        self.doubled += 1

    def _take_advice(self, _t_ns: int, payload: bytes) -> None:
        self.advice = printable(payload.decode("utf-8", errors="replace"))


_RECORDS: Final[Mapping[str, Callable[[SensorState, int, bytes], None]]] = {
    ev.LINK: SensorState._take_link,
    ev.SIGNAL: SensorState._take_signal,
    ev.DOUBLED: SensorState._take_doubled,
    ev.ADVICE: SensorState._take_advice,
}
"""What the session records about a sensor; the rest are readings."""
