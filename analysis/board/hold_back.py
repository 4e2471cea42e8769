"""Order of time in front of the board, where events that another clock stamped come late.

The file keeps arrivals; what is drawn wants events in the order in which they happened.  So the
board may stay ``hold_ns`` behind the newest arrival, and takes each event at the time at which it
happened, as far as that was known on arrival.  What comes later than the hold allows is late: it is
counted and taken at the earliest time that the board still stands at.

Everything here follows from what the events themselves carry, their arrival first.  When it is
asked, by a tick or by the next event, makes no difference; so a replay repeats it.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from operator import attrgetter
from typing import Final

from replay.event import Event
from replay.foreign_time import event_time_ns

_TIME: Final = attrgetter("t_ns")


class HoldBack:
    """Holds events for ``hold_ns`` and gives them out in order of time.

    ``late``: events so far that happened longer before their arrival than the hold allows.  With a
    hold of 0 every event is given out at once, at its arrival.
    """

    def __init__(self, hold_ns: int = 0) -> None:
        """Raises ``ValueError`` for a negative hold."""
        if hold_ns < 0:
            raise ValueError(f"the hold must not be negative, got {hold_ns} ns")
        self.hold_ns = hold_ns
        self.late = 0
        self._held: list[Event] = []  # in order of time, equal ones in that of arrival

    def put(self, event: Event) -> list[Event]:
        """Take an event, in order of arrival; what is due by then, ``t_ns`` being its time."""
        arrived_ns = event.t_ns
        time_ns = min(event_time_ns(event), arrived_ns)  # nothing happens after it arrived
        if time_ns < arrived_ns - self.hold_ns:
            self.late += 1
            time_ns = arrived_ns - self.hold_ns
        if time_ns != arrived_ns:
            event = event._replace(t_ns=time_ns)
        insort(self._held, event, key=_TIME)
        return self.due(arrived_ns)

    def due(self, arrived_ns: int) -> list[Event]:
        """What is due once everything that arrived up to ``arrived_ns`` has been put."""
        count = bisect_right(self._held, arrived_ns - self.hold_ns, key=_TIME)
        found = self._held[:count]
        del self._held[:count]
        return found

    def rest(self) -> list[Event]:
        """All that is still held: nothing more will arrive."""
        found = self._held.copy()
        self._held.clear()
        return found
