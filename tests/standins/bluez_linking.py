"""How a played daemon answers Connect: which links it makes, refuses, or keeps pending.

As the real one: an adapter makes one link at a time, and refuses a second attempt meanwhile; an
attempt to a sensor that does not advertise waits, and is made good when it advertises again, given
up by Disconnect, or by the end of the bus connection that asked for it.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dbus_fast import ErrorType, Message

from tests.standins.bluez_objects import refusal
from tests.standins.bluez_sensor import Sensor

if TYPE_CHECKING:
    from tests.standins.bluez_daemon import Daemon


@dataclass(eq=False)
class Attempt:
    """One Connect that is not answered yet; ``full``: the adapter holds no more links."""

    adapter: str
    client: str
    full: bool = False
    outcome: asyncio.Future[bool] = field(
        default_factory=lambda: asyncio.get_running_loop().create_future()
    )

    def end(self, made: bool) -> None:
        """The sensor is there (``made``), or the attempt is given up."""
        if not self.outcome.done():
            self.outcome.set_result(made)


class Linking:
    """The attempts of one daemon, by sensor."""

    def __init__(self, daemon: Daemon) -> None:
        self._daemon = daemon
        self._attempts: dict[Sensor, Attempt] = {}
        self.refused_at_once = 0
        """Attempts that were refused since another was under way on the adapter."""

    def forget(self) -> None:
        """The daemon was killed."""
        self._attempts.clear()

    def give_up(self, client: str = "") -> None:
        """Every attempt fails, or those that this bus connection asked for."""
        for attempt in self._attempts.values():
            if not client or attempt.client == client:
                attempt.end(made=False)

    def cancel(self, sensor: Sensor) -> bool:
        """Give up the attempt to this sensor; whether there was one."""
        attempt = self._attempts.get(sensor)
        if attempt is None or attempt.outcome.done():
            return False
        attempt.end(made=False)
        return True

    def is_pending(self, sensor: Sensor) -> bool:
        """Whether a link to this sensor is being made."""
        return sensor in self._attempts

    def advertised(self, sensor: Sensor) -> None:
        """The sensor is in reach: an attempt that waited for it is made good."""
        attempt = self._attempts.get(sensor)
        if attempt is not None and not attempt.full and not sensor.connect_hangs:
            attempt.end(made=True)

    async def answer(self, message: Message, sensor: Sensor, adapter: str) -> Message:
        """Make the link, as far as possible; the answer to Connect."""
        daemon, done = self._daemon, Message.new_method_return(message)
        if not daemon.powered:
            return refusal(message, "NotReady", "Resource Not Ready")
        if sensor.connected:
            return done
        if any(attempt.adapter == adapter for attempt in self._attempts.values()):
            self.refused_at_once += 1
            return refusal(message, "InProgress", "Operation already in progress")
        if sensor.connects_in_vain:
            sensor.connects_in_vain -= 1
            return refusal(message, "Failed", "le-connection-abort-by-remote")
        held = sum(s.connected and s.adapter == adapter for s in daemon.sensors)
        is_full = held >= daemon.links_possible
        if is_full and daemon.when_full == "vanishes":
            await daemon.vanish(sensor)
            return Message.new_error(message, ErrorType.UNKNOWN_OBJECT, "it is gone")
        if is_full and daemon.when_full == "error":
            return refusal(message, "Failed", "le-connection-concurrent-connection-limit")
        attempt = self._attempts[sensor] = Attempt(adapter, message.sender or "", is_full)
        try:
            waits = is_full or sensor.connect_hangs or not sensor.in_reach
            if waits and not await attempt.outcome:
                return refusal(message, "Failed", "br-connection-canceled")
            await asyncio.sleep(daemon.connect_s)
        finally:
            self._attempts.pop(sensor, None)
        if sensor.path_on(adapter) not in daemon.objects or not daemon.powered:
            return refusal(message, "Failed", "le-connection-abort-by-local")
        await daemon.link_up(sensor, adapter)
        return done
