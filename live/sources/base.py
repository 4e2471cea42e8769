"""What a source of notifications is, to the capture process.

Bluetooth, MQTT and the simulation are sources; each runs as one task of the capture's event
loop and calls ``emit`` for every notification, on that loop, with the time it read first.
A plain call, not a queue: between the stamp and the file nothing can pile up or reorder.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from replay.event import Event, Stamp
from replay.foreign_time import Translation


class CaptureClock(Protocol):
    """The one clock of a capture."""

    def now_ns(self) -> int:
        """Nanoseconds since the session began; never goes back."""


class Emit(Protocol):
    """Takes one event; called on the capture's loop, never blocks, never raises."""

    def __call__(
        self,
        t_ns: int,
        sensor: int,
        channel: str,
        payload: bytes,
        *,
        foreign: Stamp | None = None,
    ) -> None:
        """Hand over one event: when it arrived here, the sensor's number, the channel, the bytes.

        ``foreign``: the stamp of the computer that heard it first, where that is another one.
        It is stored as told; ``t_ns`` is the arrival all the same.
        """


class Source(Protocol):
    """One kind of source, serving all sensors of the plan that name it."""

    async def run(self, clock: CaptureClock, emit: Emit) -> None:
        """Serve until cancelled; then close every link and return or re-raise the cancellation.

        A fault of one sensor never ends the others.  Link states go out as ``LINK`` events.
        """

    def connect(self, sensor: int) -> None:
        """Try this sensor again at once instead of waiting; ignored if it is not ours."""


@dataclass(frozen=True, slots=True)
class BoundedTranslation:
    """A translation and what it may be wrong by, ns, in the stretch that it was made for."""

    translation: Translation
    bound_ns: int


@runtime_checkable
class Translates(Protocol):
    """A source whose events other clocks stamped."""

    @property
    def translations(self) -> Mapping[str, BoundedTranslation]:
        """What is known of these clocks by now, by name: to the clock that ``run`` was given."""


@runtime_checkable
class Tap(Protocol):
    """A source that passes on what the session takes, as the session takes it."""

    def begin(self, session_uuid: str) -> None:
        """The file of this session has begun."""

    def put(self, event: Event) -> None:
        """Take one event; never blocks."""
