"""What is said of one link: its states, its signal strength, and advice to the tester."""

from __future__ import annotations

import logging

from live.sources.base import CaptureClock, Emit
from replay.event import ADVICE, LINK, NS_PER_S, SIGNAL
from replay.link import LinkState
from replay.plan import PlannedSensor

_log = logging.getLogger(__name__)


class LinkEvents:
    """Turns facts of one sensor's link into events and log lines."""

    def __init__(self, number: int, sensor: PlannedSensor, clock: CaptureClock, emit: Emit) -> None:
        self._number = number
        self._label = sensor.label
        self._clock = clock
        self._emit = emit
        self._advice = ""
        self._signal_ns: int | None = None

    def state(self, state: LinkState, why: str = "") -> None:
        """The link is in a new state."""
        _log.info("%s: %s%s", self._label, state, f" ({why})" if why else "")
        self.fact(LINK, state.value.encode("ascii"))
        if state is LinkState.STREAMING:
            self._advice = ""  # the state says that it is over; the same may be told anew

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

    def advise(self, sentence: str) -> None:
        """Tell the tester something, once until the link streams or something else is said."""
        if sentence != self._advice:
            self._advice = sentence
            _log.warning("%s: %s", self._label, sentence)
            self.fact(ADVICE, sentence.encode())
