"""The objects of a played daemon on a message bus, and the signals that tell of their changes."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

from dbus_fast import Message, Variant
from dbus_fast.aio import MessageBus

_PROPERTIES = "org.freedesktop.DBus.Properties"
_MANAGER = "org.freedesktop.DBus.ObjectManager"

Objects = dict[str, dict[str, dict[str, Variant]]]


class ObjectTree:
    """``objects``: properties by path and interface."""

    def __init__(self) -> None:
        self.objects: Objects = {}
        self._bus: MessageBus | None = None

    def _add(self, path: str, interfaces: dict[str, dict[str, Variant]]) -> None:
        self.objects[path] = interfaces
        self._signal("/", _MANAGER, "InterfacesAdded", "oa{sa{sv}}", [path, interfaces])

    def _remove(self, path: str) -> None:
        interfaces = list(self.objects.pop(path, {}))
        self._signal("/", _MANAGER, "InterfacesRemoved", "oas", [path, interfaces])

    def _change(self, path: str, interface: str, changed: dict[str, Variant]) -> None:
        held = self.objects.get(path, {}).get(interface)
        if held is not None:
            held.update(changed)
            body = [interface, changed, []]
            self._signal(path, _PROPERTIES, "PropertiesChanged", "sa{sv}as", body)

    def _signal(self, path: str, interface: str, member: str, sign: str, body: list[Any]) -> None:
        if self._bus is not None and self._bus.connected:
            with suppress(OSError):  # the bus was killed a moment ago
                self._bus.send(Message.new_signal(path, interface, member, sign, body))

    async def _round_trip(self) -> None:
        if self._bus is not None and self._bus.connected:
            await self._bus.call(
                Message(
                    destination="org.freedesktop.DBus",
                    path="/org/freedesktop/DBus",
                    interface="org.freedesktop.DBus",
                    member="GetId",
                )
            )


def refusal(message: Message, name: str, text: str) -> Message:
    """An answer with an error of the service."""
    return Message.new_error(message, f"org.bluez.Error.{name}", text)
