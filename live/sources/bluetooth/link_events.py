"""What is said of one link: its states, its signal strength, and advice to the tester."""

from __future__ import annotations

import logging

from live.sources.base import CaptureClock, Emit
from replay.event import ADVICE, LINK, NS_PER_S, SIGNAL
from replay.link_state import LinkState
from replay.plan import PlannedSensor

_log = logging.getLogger(__name__)


class LinkEvents:
    """Turns facts of one sensor's link into events and log lines."""

    def __init__(self, number: int, sensor: PlannedSensor, clock: CaptureClock, emit: Emit) -> None:
        self._number = number
        self._label = sensor.label
        self._clock = clock
        self._emit = emit
        self._told: set[str] = set()
        self._told_for_good: set[str] = set()
        self._signal_ns: int | None = None

    def state(self, state: LinkState, why: str = "") -> None:
        """The link is in a new state."""
        _log.info("%s: %s%s", self._label, state, f" ({why})" if why else "")
        self.fact(LINK, state.value.encode("ascii"))
        if state is LinkState.STREAMING:
            self._told.clear()  # the state says that it is over; the same may be told anew

    def fact(self, channel: str, payload: bytes) -> None:
        """An event of this sensor, stamped now."""
        self._emit(self._clock.now_ns(), self._number, channel, payload)

    def signal(self, dbm: int) -> None:
        """The sensor was heard with this strength; kept once a second at most."""
        t_ns = self._clock.now_ns()
        if self._signal_ns is not None and t_ns - self._signal_ns < NS_PER_S:
            return
        self._signal_ns = t_ns
        strength = max(-128, min(127, dbm))
        self._emit(t_ns, self._number, SIGNAL, strength.to_bytes(1, "little", signed=True))

    def advise(self, sentence: str, *, for_good: bool = False) -> None:
        """Tell the tester something, once until the sensor streams again.

        ``for_good``: once in the session, for what a stream does not put an end to.
        """
        told = self._told_for_good if for_good else self._told
        if sentence not in told:
            told.add(sentence)
            _log.warning("%s: %s", self._label, sentence)
            self.fact(ADVICE, sentence.encode())
