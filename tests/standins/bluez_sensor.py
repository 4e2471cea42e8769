"""A scripted Bluetooth sensor: what it offers, what it sends, and how it misbehaves."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from dbus_fast import Variant

ROOT = "/org/bluez"
ADAPTER = f"{ROOT}/hci0"

SERVICES: dict[str, tuple[str, ...]] = {
    "180d": ("2a37", "2a38"),
    "1816": ("2a5b",),
    "1814": ("2a53",),
    "1818": ("2a63",),
    "1826": ("2ad2",),
    "180f": ("2a19",),
    "180a": ("2a24", "2a25", "2a26", "2a27", "2a29"),
}
"""The standard services of the stand-in and the characteristics that each may hold."""

STREAMS = frozenset({"2a37", "2a5b", "2a53", "2a63", "2ad2"})
SERVICE = "org.bluez.GattService1"
CHARACTERISTIC = "org.bluez.GattCharacteristic1"


def full(short: str) -> str:
    """The 128-bit form of a 16-bit number."""
    return f"0000{short}-0000-1000-8000-00805f9b34fb"


def heart_rate(bpm: int, *rr: int) -> bytes:
    """A heart-rate payload: 8-bit bpm, contact detected, RR in 1/1024 s."""
    flags = 0x06 | (0x10 if rr else 0)
    return bytes((flags, bpm)) + b"".join(value.to_bytes(2, "little") for value in rr)


@dataclass(eq=False)
class Sensor:
    """One sensor of the stand-in.  Every field may be changed while it runs.

    ``streams``: characteristics that notify; ``facts``: characteristics that are read, by
    16-bit number.  ``rate_hz`` and ``script``: with a rate above 0 the stand-in sends
    ``script(n)`` on the first stream by itself while someone is subscribed; otherwise tests
    send by :meth:`tests.standins.bluez.BlueZ.notify`.

    Faults: ``in_reach`` False: neither advertises nor answers a connect.  ``connect_hangs``:
    advertises, but a connect never ends.  ``connects_in_vain``: so many fail.  ``refuses``: D-Bus
    error name that StartNotify of a stream gives.  ``late_services``: so many connects report
    resolved services without the streams.  ``muted`` with ``revived_by`` ``"notify"``,
    ``"connect"`` or ``""``: the link stands, nothing is sent until then.  ``unadvertised``:
    advertises no services.
    ``heard_by``: adapters that it is in reach of.  ``phase_s``: it sends on the beats of a clock of
    its own, so many seconds off; without it, at once when it is subscribed.
    """

    address: str
    name: str
    streams: tuple[str, ...] = ("2a37",)
    facts: dict[str, bytes] = field(
        default_factory=lambda: {
            "2a38": b"\x01",
            "2a19": b"\x57",
            "2a24": b"Bench strap",
            "2a26": b"1.4.2",
        }
    )
    rssi: int = -58
    rate_hz: float = 0.0
    script: Callable[[int], bytes] = lambda n: heart_rate(60 + n % 100, 1024)
    in_reach: bool = True
    connect_hangs: bool = False
    connects_in_vain: int = 0
    refuses: str = ""
    late_services: int = 0
    muted: bool = False
    revived_by: str = ""
    unadvertised: bool = False
    heard_by: tuple[str, ...] = ("hci0",)
    phase_s: float | None = None

    # What the stand-in keeps about it.
    adapter: str = "hci0"
    connected: bool = False
    seen_s: float = 0.0
    sent: int = 0
    connects: int = 0
    subscribers: dict[str, set[str]] = field(default_factory=dict)

    @property
    def path(self) -> str:
        """Object path of the device on the adapter that it was linked through last."""
        return self.path_on(self.adapter)

    def path_on(self, adapter: str) -> str:
        """Object path of the device on one adapter."""
        return f"{ROOT}/{adapter}/dev_{self.address.replace(':', '_')}"

    @property
    def services(self) -> list[str]:
        """16-bit numbers of the services that hold one of its characteristics."""
        mine = {*self.streams, *self.facts}
        return [service for service, held in SERVICES.items() if mine & set(held)]

    def first_due(self, now_s: float) -> float:
        """When a new subscriber gets the first notification."""
        if self.phase_s is None:
            return now_s
        beats = math.ceil((now_s - self.phase_s) * self.rate_hz)
        return self.phase_s + beats / self.rate_hz

    def characteristic(self, channel: str) -> str:
        """Object path of the characteristic with this 16-bit number."""
        for path, interfaces in self.gatt().items():
            if (found := interfaces.get(CHARACTERISTIC)) and found["UUID"].value == full(channel):
                return path
        raise KeyError(channel)

    def gatt(self, *, complete: bool = True) -> dict[str, dict[str, dict[str, Variant]]]:
        """Objects of its services and characteristics, by path and interface."""
        objects: dict[str, dict[str, dict[str, Variant]]] = {}
        mine = {*self.streams, *self.facts}
        for index, service in enumerate(self.services):
            path = f"{self.path}/service{0x10 * (index + 1):04x}"
            held = [c for c in SERVICES[service] if c in mine]
            if not complete and STREAMS & set(held):
                continue
            objects[path] = {
                SERVICE: {
                    "UUID": Variant("s", full(service)),
                    "Device": Variant("o", self.path),
                    "Primary": Variant("b", True),
                }
            }
            for offset, channel in enumerate(held):
                flags = ["read"] if channel in self.facts else []
                if channel in self.streams or channel == "2a19":
                    flags.append("notify")
                objects[f"{path}/char{0x10 * (index + 1) + 1 + 2 * offset:04x}"] = {
                    CHARACTERISTIC: {
                        "UUID": Variant("s", full(channel)),
                        "Service": Variant("o", path),
                        "Flags": Variant("as", flags),
                        "Notifying": Variant("b", False),
                        "Value": Variant("ay", b""),
                    }
                }
        return objects

    def device(self, adapter: str = "hci0") -> dict[str, Variant]:
        """Properties of its Device1 as the daemon first announces them."""
        advertised = [] if self.unadvertised else [full(service) for service in self.services]
        return {
            "Adapter": Variant("o", f"{ROOT}/{adapter}"),
            "Address": Variant("s", self.address),
            "AddressType": Variant("s", "random"),
            "Name": Variant("s", self.name),
            "Alias": Variant("s", self.name),
            "Paired": Variant("b", False),
            "Connected": Variant("b", self.connected and self.adapter == adapter),
            "ServicesResolved": Variant("b", self.connected and self.adapter == adapter),
            "UUIDs": Variant("as", advertised),
            "RSSI": Variant("n", self.rssi),
        }
