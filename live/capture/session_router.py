"""From rehearsal to recording without letting go of a sensor.

A rehearsal is a capture whose file has not been begun: sensors are linked, views see everything,
nothing is saved.  When the tester starts, a new session begins at that instant with a clock, a
backlog and a file of its own; the links stay as they are.  So ``t_ns`` 0 is the start of the
recording, and the first event of the file is its anchor, as in any capture.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from live.capture.clock import MonotonicClock
from live.capture.session import Session
from replay.channels import LASTING_CHANNELS
from replay.event import SESSION, Stamp

ABANDONED_S: Final = 15.0
"""A rehearsal that no view watches for so long ends: its page has crashed, and the sensors it
holds would be missing elsewhere."""


class SessionRouter:
    """Stands between the sources and the session, which may be exchanged under them.

    Sources keep the clock that they were started with; their stamps are moved to the clock of
    the present session.
    """

    def __init__(self, session: Session, clock: MonotonicClock) -> None:
        self.session = session
        self._zero_ns = clock.zero_ns
        self._shift_ns = 0
        self._told: dict[tuple[int, str], bytes] = {}

    @property
    def shift_ns(self) -> int:
        """How much later the present session began than the clock of the sources."""
        return self._shift_ns

    def emit(
        self,
        t_ns: int,
        sensor: int,
        channel: str,
        payload: bytes,
        *,
        foreign: Stamp | None = None,
    ) -> None:
        """Pass one event on; never raises, never waits."""
        if channel in LASTING_CHANNELS and sensor != SESSION:
            # Put last: the newest of all facts comes last, as it did when it was told.
            self._told.pop((sensor, channel), None)
            self._told[sensor, channel] = bytes(payload)
        if foreign is not None and foreign.offset_ns is not None and self._shift_ns:
            # A source translates to the clock that it was started with.
            foreign = replace(foreign, offset_ns=foreign.offset_ns - self._shift_ns)
        self.session.emit(t_ns - self._shift_ns, sensor, channel, payload, foreign=foreign)

    def exchange(self, session: Session, clock: MonotonicClock) -> None:
        """From now on everything is of this session.

        It is told first how the links stand and what the sensors have said of themselves, since
        no sensor will say it again.
        """
        self._shift_ns = clock.zero_ns - self._zero_ns
        self.session = session
        for (sensor, channel), payload in self._told.items():
            session.emit(clock.now_ns(), sensor, channel, payload)
