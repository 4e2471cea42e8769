"""A strap of the second Bluetooth service, :mod:`tests.standins.mocked_bluez`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

HCI: Final = "/org/bluez/hci0"


def long_uuid(short: str) -> str:
    """The 128-bit form of a 16-bit number."""
    return f"0000{short}-0000-1000-8000-00805f9b34fb"


@dataclass(eq=False)
class MockedSensor:
    """A strap that sends ``script(n)`` every ``1 / rate_hz`` s while it is subscribed.

    ``in_reach``: advertises.  ``connect_hangs``: advertises, but cannot be linked.  ``refuses``:
    its subscription.  ``muted`` until ``revived_by``: a new ``"notify"`` or a new ``"connect"``.
    """

    address: str
    name: str
    rate_hz: float = 1.0
    phase_s: float = 0.0
    script: Callable[[int], bytes] = lambda n: bytes((6, 60 + n % 100))
    in_reach: bool = True
    connect_hangs: bool = False
    refuses: str = ""
    muted: bool = False
    revived_by: str = ""
    connected: bool = False
    subscribers: dict[str, set[str]] = field(default_factory=dict)

    connects: int = 0
    seen_s: float = 0.0
    listed: bool = False
    gatt: bool = False
    told: tuple[bool, bool] = (False, False)
    due_s: float = 0.0
    sent: int = 0

    @property
    def path(self) -> str:
        """Object path of its device."""
        return f"{HCI}/dev_{self.address.replace(':', '_')}"

    @property
    def value_path(self) -> str:
        """Object path of its heart-rate measurement."""
        return f"{self.path}/service0010/char0011"
