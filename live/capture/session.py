"""The session: one place through which every event passes, in order, on one thread.

Sources call :meth:`Session.emit`; it keeps the order of stamps and hands each event to the
saver and to the sink of the views.  It never raises and never waits.
"""

from __future__ import annotations

import asyncio
import logging
import threading
from functools import partial
from typing import Protocol

from live.sources.base import CaptureClock
from replay.channels import MEASURED_CHANNELS
from replay.event import ACKNOWLEDGED, ADVICE, CHANNELS, LINK, MARKER, SESSION, Event, Stamp
from replay.link_state import LinkState
from replay.markers import encode_marker
from replay.text import printable

_log = logging.getLogger(__name__)
_CHANNELS = frozenset(CHANNELS)
_STREAMING = LinkState.STREAMING.value.encode()


class Sink(Protocol):
    """Takes events; the saver is one."""

    def put(self, event: Event) -> None:
        """Take one event; never blocks."""


class ViewSink(Protocol):
    """Takes events and ticks for the views; the backlog of the view server is one."""

    def put(self, event: Event) -> None:
        """Take one event; never blocks."""

    def tick(self, t_ns: int) -> None:
        """All events up to ``t_ns`` have been put."""


class Session:
    """All that is heard in one session.

    Made on the running loop.  ``sensors``: how many the plan has.  ``saver``: ``None`` for
    practice without saving.
    """

    def __init__(
        self, clock: CaptureClock, sensors: int, saver: Sink | None, views: ViewSink
    ) -> None:
        self._clock = clock
        self._saver = saver
        self._views = views
        self._loop = asyncio.get_running_loop()
        self._thread = threading.get_ident()
        self._links: list[bytes] = [b""] * (sensors + 1)
        self._last_ns = 0
        self._ended = False
        self.events = 0
        """Events taken so far."""
        self.heard: set[int] = set()
        """Sensors of which something measured came, readable or not."""
        self.advice: dict[int, str] = {}
        """The newest sentence about each sensor's link."""
        self.reordered = 0
        """Events whose arrival was stamped before an event or a tick already passed on."""
        self.refused = 0
        """Events that could not be taken: a channel or sensor that is not of this session, or
        after its end."""
        self.unshown = 0
        """Events that could not be handed to the views."""

    @property
    def problem(self) -> str:
        """One sentence about what was not taken or not shown; usually empty."""
        parts = []
        if self.refused:
            parts.append(f"{self.refused} events could not be taken")
        if self.unshown:
            parts.append(f"{self.unshown} events could not be shown (they are saved)")
        return "; ".join(parts)

    def emit(
        self,
        t_ns: int,
        sensor: int,
        channel: str,
        payload: bytes,
        *,
        foreign: Stamp | None = None,
    ) -> None:
        """Take one event; never raises, never waits.

        Arrivals are kept in order here: one that is stamped before the newest, or before a tick
        that told the views that they have everything, gets that stamp instead and is counted.
        Without this, live boards would close a second that the replay still finds a reading for.
        A call from another thread is carried over to the loop, where it may be reordered so.
        What another clock said (``foreign``) is passed on untouched, however late or out of order.
        """
        if threading.get_ident() != self._thread:
            self._loop.call_soon_threadsafe(
                partial(self.emit, t_ns, sensor, channel, payload, foreign=foreign)
            )
            return
        if self._ended or channel not in _CHANNELS or not 0 <= sensor < len(self._links):
            self.refused += 1
            if self.refused == 1:  # the rest is counted
                _log.warning("an event on %r of sensor %r was not taken", channel, sensor)
            return
        if t_ns < self._last_ns:
            self.reordered += 1
            t_ns = self._last_ns
        self._last_ns = t_ns
        event = Event(t_ns, sensor, channel, bytes(payload), foreign)
        self._remember(event)
        self.events += 1
        if self._saver is not None:
            self._saver.put(event)
        try:
            self._views.put(event)
        except Exception:
            # Showing must never cost a notification: it is on its way to the file already.
            self.unshown += 1
            if self.unshown == 1:  # the rest is counted
                _log.exception("an event could not be shown")

    def _remember(self, event: Event) -> None:
        """What is asked of the sensor at the end, and where nobody sees a view."""
        sensor, channel = event.sensor, event.channel
        if channel == LINK:
            self._links[sensor] = event.payload
            if event.payload == _STREAMING:
                self.advice.pop(sensor, None)
        elif channel == ADVICE:
            self.advice[sensor] = printable(event.payload.decode("utf-8", "replace"))
        elif channel in MEASURED_CHANNELS:
            self.heard.add(sensor)

    def marker(self, text: str, ago_ns: int = 0) -> None:
        """Put the tester's note at this moment, or at that which passed ``ago_ns`` ago."""
        now_ns = self._clock.now_ns()
        moment_ns = max(now_ns - ago_ns, 0) if ago_ns else None
        self.emit(now_ns, SESSION, MARKER, encode_marker(text, moment_ns))

    def acknowledge(self, sensor: int, kind: str) -> None:
        """The tester knows of the warning of this kind that stands; ``sensor`` 0: the session's."""
        self.emit(self._clock.now_ns(), sensor, ACKNOWLEDGED, kind.encode())

    def tick(self) -> int:
        """Tell the views that they have everything up to now; returns that moment's ``t_ns``."""
        self._last_ns = max(self._last_ns, self._clock.now_ns())
        self._views.tick(self._last_ns)
        return self._last_ns

    def end(self) -> int:
        """Close every link that a source left open and take nothing more; the session's end.

        Returns ``t_ns``, not before any event.
        """
        stopped = LinkState.STOPPED.value.encode()
        for sensor, link in enumerate(self._links):
            if sensor != SESSION and link not in (b"", stopped):
                self.emit(self._clock.now_ns(), sensor, LINK, stopped)
        self._last_ns = max(self._last_ns, self._clock.now_ns())
        self._ended = True
        return self._last_ns
