"""What the faults need of a played Bluetooth service, whichever one it is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from tests.standins.private_bus import PrivateBus


class Strap(Protocol):
    """A sensor; what its fields mean is in :mod:`tests.standins.bluez_sensor`."""

    address: str
    name: str
    script: Callable[[int], bytes]
    in_reach: bool
    connect_hangs: bool
    refuses: str
    muted: bool
    revived_by: str
    connected: bool
    subscribers: dict[str, set[str]]


class Service(Protocol):
    """A played ``bluetoothd`` on a private bus."""

    bus: PrivateBus

    def open(self) -> None:
        """Start both."""

    def close(self) -> None:
        """End both."""

    def start(self) -> None:
        """Start ``bluetoothd``."""

    def kill(self, *, links: bool = False) -> None:
        """Kill it; ``links``: whether the sensors stay linked meanwhile."""

    def power(self, on: bool) -> None:
        """Switch the adapter on or off."""

    def unplug(self) -> None:
        """Pull the adapter."""

    def plug(self) -> None:
        """Put it back."""

    def stall(self) -> None:
        """Hold up every notification."""

    def flow(self) -> None:
        """Deliver what was held up."""

    def drop(self, sensor: Any) -> None:  # noqa: ANN401 - each has sensors of its own
        """The sensor breaks its link."""

    def vanish(self, sensor: Any) -> None:  # noqa: ANN401
        """The sensor is forgotten."""
