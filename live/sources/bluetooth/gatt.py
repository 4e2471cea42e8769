"""Characteristics by their 16-bit numbers, and what a sensor tells of itself when asked."""

from __future__ import annotations

import logging
from typing import Final

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.exc import BleakError
from bleak.uuids import normalize_uuid_16

from live.sources.bluetooth.bleak_errors import EXPECTED
from live.sources.bluetooth.timeouts import bounded

LINK_GONE: Final = (*EXPECTED, AssertionError, AttributeError)
"""What a call raises when the link broke just before it: bleak asserts that its bus is there."""

_log = logging.getLogger(__name__)


def find_characteristic(client: BleakClient, channel: str) -> BleakGATTCharacteristic | None:
    """The first characteristic with this 16-bit number (a sensor may have several of them).

    ``None`` also when the link has broken: bleak then no longer knows any services.
    """
    wanted = normalize_uuid_16(int(channel, 16))
    try:
        known = client.services.characteristics.values()
    except BleakError:
        return None
    return next((c for c in known if c.uuid == wanted), None)


async def read_value(client: BleakClient, channel: str, limit_s: float) -> bytes | None:
    """The value of a characteristic, or ``None``: a sensor may lack it or hold it back."""
    characteristic = find_characteristic(client, channel)
    if characteristic is None or "read" not in characteristic.properties:
        return None
    try:
        return bytes(await bounded(client.read_gatt_char(characteristic), limit_s))
    except LINK_GONE as error:
        _log.debug("reading %s: %r", channel, error)
        return None
