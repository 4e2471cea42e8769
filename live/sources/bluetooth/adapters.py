"""The Bluetooth adapters of this computer, where the system tells of them (Linux)."""

from __future__ import annotations

import asyncio
import logging
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol, TypeAlias

from bleak.exc import BleakError

_ADAPTER = "org.bluez.Adapter1"
_log = logging.getLogger(__name__)


class _Variant(Protocol):
    value: object


_Objects: TypeAlias = Mapping[str, Mapping[str, Mapping[str, _Variant]]]
"""Properties of objects by path and interface."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Adapter:
    """One adapter.  ``name``: as a plan gives it (``hci0``); ``central``: can link to sensors."""

    name: str
    address: str
    alias: str
    powered: bool
    central: bool

    @property
    def is_usable(self) -> bool:
        """Whether sensors can be linked through it now."""
        return self.powered and self.central


async def list_adapters(limit_s: float = 4.0) -> list[Adapter]:
    """All adapters by name; empty where the system tells of none or cannot be asked."""
    if not sys.platform.startswith("linux"):
        return []
    try:
        async with asyncio.timeout(limit_s):
            objects = await _managed_objects()
    except (BleakError, TimeoutError, OSError, EOFError, ValueError) as error:
        _log.debug("adapters cannot be listed: %r", error)
        return []
    found = [
        _adapter(path, interfaces[_ADAPTER])
        for path, interfaces in objects.items()
        if _ADAPTER in interfaces
    ]
    return sorted(found, key=lambda one: (len(one.name), one.name))


def _adapter(path: str, properties: Mapping[str, _Variant]) -> Adapter:
    held = {key: variant.value for key, variant in properties.items()}
    roles = held.get("Roles", ["central"])
    return Adapter(
        name=path.rsplit("/", 1)[-1],
        address=str(held.get("Address", "")),
        alias=str(held.get("Alias", "")),
        powered=bool(held.get("Powered")),
        central=isinstance(roles, list) and "central" in roles,
    )


async def _managed_objects() -> _Objects:
    # bleak asks the same, but keeps the answer to itself; dbus-fast comes with it on Linux.
    from dbus_fast import BusType, Message, MessageType  # noqa: PLC0415 - absent elsewhere
    from dbus_fast.aio import MessageBus  # noqa: PLC0415

    bus = MessageBus(bus_type=BusType.SYSTEM)
    try:
        await bus.connect()
        reply = await bus.call(
            Message(
                destination="org.bluez",
                path="/",
                interface="org.freedesktop.DBus.ObjectManager",
                member="GetManagedObjects",
            )
        )
    finally:
        bus.disconnect()
    if reply is None or reply.message_type is MessageType.ERROR:
        return {}
    objects: _Objects = reply.body[0]
    return objects
