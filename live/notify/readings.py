"""What came of each sensor since it was last asked: for whoever passes readings on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from replay.channels import HEART_RATE_CHANNELS, decode
from replay.event import Event
from replay.payloads import HeartRate
from replay.payloads.heart_rate import RR_PER_S

MOST_RR: Final = 100
"""RR intervals of one look: a heart has two or three in it; a flood must not grow in memory."""


@dataclass(frozen=True, slots=True)
class NewReadings:
    """``count`` readings of the sensor ``number``.

    ``newest``: the last of them, and ``t_ns`` its time; ``rr_ms``: the RR intervals of all, oldest
    first, the newest :data:`MOST_RR` at most.
    """

    number: int
    t_ns: int
    newest: HeartRate
    rr_ms: tuple[float, ...]
    count: int


class ReadingsWatch:
    """Collects readings; each is given out once, those of one sensor together."""

    def __init__(self) -> None:
        self._new: dict[int, NewReadings] = {}

    def take(self, event: Event) -> None:
        """One event, in order of arrival.  Never raises: what cannot be read is no reading."""
        if event.channel not in HEART_RATE_CHANNELS:
            return
        try:
            reading = decode(event.channel, event.payload)
        except ValueError:
            return
        if not isinstance(reading, HeartRate):
            return
        before = self._new.get(event.sensor)
        rr_ms = tuple(round(one * 1000 / RR_PER_S, 3) for one in reading.rr)
        if before is not None:
            rr_ms = (before.rr_ms + rr_ms)[-MOST_RR:]
        self._new[event.sensor] = NewReadings(
            event.sensor,
            event.t_ns,
            reading,
            rr_ms[-MOST_RR:],
            1 if before is None else before.count + 1,
        )

    def new(self) -> Iterator[NewReadings]:
        """Those of each sensor that has sent since the last call."""
        found, self._new = self._new, {}
        yield from found.values()
