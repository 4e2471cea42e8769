"""When an event happened, on the capture clock, as well as can be told.

An event carries when it arrived (``Event.t_ns``) and, where another clock stamped it first, what
that clock said and the offset that was used then (``Event.foreign``).  All three are stored and
never altered; the time to analyse by is worked out from them here, each time anew, so that a better
translation found later changes the numbers and not the file.

A source of one's own stamps (a node, an imported file, a log of notifications) therefore gives:

* ``t_ns``: the arrival on the capture clock.  What is imported afterwards never arrived; its
  ``t_ns`` is the translated time itself, since a capture is in order of ``t_ns``;
* ``Stamp.stamp_ns``: the time that stood there, untouched, in ns of that clock (of a file: ns since
  1970, or since its own beginning);
* ``Stamp.clock``: a name for each count that begins anew, such as ``node:attic/1`` or
  ``file:`` and the first digits of its SHA-256;
* ``Stamp.offset_ns``: what was added to have it on the capture clock, or ``None`` if that was not
  known yet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from replay.event import NS_PER_S, Event

SENDER: Final = "mqtt:"
"""How the name of a clock begins by which the sender of a message told a time in it: of the sensor
``2`` it is ``mqtt:2/utc``, or ``mqtt:2/1`` and so on where it counts from a moment of its own."""
_FURTHEST_NS: Final = 2**62
HOLD_BACK_NS: Final = NS_PER_S
"""How far a board stays behind the newest arrival where a node is in the plan: networks in a house
take some ms, and a packet that has to be sent again half a second."""


@dataclass(frozen=True, slots=True)
class Translation:
    """From another clock to the capture's, for a whole session.

    A stamp s means ``s + offset_ns + (s - at_ns) * drift_ppb / 1e9`` on the capture clock, rounded
    to whole ns: the offset holds at the stamp ``at_ns`` and changes by ``drift_ppb`` ns a second.
    """

    offset_ns: int
    drift_ppb: int = 0
    at_ns: int = 0

    def to_capture_ns(self, stamp_ns: int) -> int:
        """The moment of a stamp, ns of the capture clock."""
        drifted = Fraction((stamp_ns - self.at_ns) * self.drift_ppb, 1_000_000_000)
        return stamp_ns + self.offset_ns + round(drifted)


def event_time_ns(event: Event, translations: Mapping[str, Translation] | None = None) -> int:
    """The best that is known of when ``event`` happened, ns of the capture clock.

    ``translations``: by name of clock, what is known of it now; for others the offset that was used
    on arrival counts.  An event whose clock was never translated happened when it arrived, as far
    as anybody can tell.  May lie before the session began: a node can have heard it earlier.  Never
    further from it than 146 years, so that differences of such times have 64 bits too.
    """
    foreign = event.foreign
    if foreign is None:
        return event.t_ns
    translation = (translations or {}).get(foreign.clock)
    if translation is not None:
        time_ns = translation.to_capture_ns(foreign.stamp_ns)
    elif foreign.offset_ns is not None:
        time_ns = foreign.stamp_ns + foreign.offset_ns
    else:
        return event.t_ns
    return max(-_FURTHEST_NS, min(time_ns, _FURTHEST_NS))


class Repeats:
    """Finds what was delivered more than once: same sensor, channel, clock, stamp and payload.

    What this computer stamped itself is never a repeat: each arrival has its own moment.  Nor is
    what its sender gave a time (:data:`SENDER`), which may be coarse, or stand still.
    """

    def __init__(self) -> None:
        self._seen: set[tuple[int, str, str, int, bytes]] = set()

    def is_repeat(self, event: Event) -> bool:
        """Whether an event like this was asked about before."""
        foreign = event.foreign
        if foreign is None or foreign.clock.startswith(SENDER):
            return False
        key = (event.sensor, event.channel, foreign.clock, foreign.stamp_ns, event.payload)
        if key in self._seen:
            return True
        self._seen.add(key)
        return False
