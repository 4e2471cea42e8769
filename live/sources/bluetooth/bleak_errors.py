"""What bleak and the system report, turned into happenings and into sentences."""

from __future__ import annotations

import sys
from typing import Final

from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
)

from live.sources.bluetooth.state_machine import Happening
from replay.errors import SidebeatError

EXPECTED: Final = (BleakError, TimeoutError, OSError, EOFError, ValueError)
"""What scanning, connecting and subscribing raise on a bad day; anything else is a defect."""

_GONE: Final = (".ServiceUnknown", ".NameHasNoOwner", ".NoReply", ".Disconnected", ".NoServer")
_REFUSALS: Final = (
    ".NotPermitted",
    ".NotAuthorized",
    ".NotSupported",
    ".AuthenticationFailed",
    ".AuthenticationRejected",
)
_BY_TYPE: Final[tuple[tuple[tuple[type[Exception], ...], Happening], ...]] = (
    ((BleakBluetoothNotAvailableError,), Happening.OFF),
    ((BleakDeviceNotFoundError,), Happening.FORGOTTEN),
    ((BleakGATTProtocolError,), Happening.REFUSED),
    # bleak's way of saying that the link went meanwhile
    ((AssertionError, AttributeError), Happening.DROPPED),
    ((TimeoutError,), Happening.FAILED),
    # the bus itself broke or is not there (a TimeoutError is an OSError, and stands before)
    ((OSError, EOFError), Happening.OFF),
)
_BY_DBUS_NAME: Final[tuple[tuple[tuple[str, ...], Happening], ...]] = (
    ((*_GONE, ".NotReady"), Happening.OFF),
    ((".UnknownObject", ".DoesNotExist"), Happening.FORGOTTEN),
    (_REFUSALS, Happening.REFUSED),
    ((".NotConnected",), Happening.DROPPED),
)
_REASON: Final = BleakBluetoothNotAvailableReason


class BluetoothUnavailable(SidebeatError):
    """Bluetooth cannot be used on this computer; the message says why and what to do."""


def happening_of(error: Exception, *, subscribing: bool = False) -> Happening:
    """What an error of bleak means for the link it came from.

    ``subscribing``: it came from a subscription, where a sensor's plain "no" is a refusal.
    """
    for kinds, happening in _BY_TYPE:
        if isinstance(error, kinds):
            return happening
    if isinstance(error, BleakDBusError):
        return _of_daemon(error, Happening.REFUSED if subscribing else Happening.FAILED)
    if isinstance(error, BleakError):
        text = str(error)
        if text.startswith("adapter"):
            return Happening.OFF
        return Happening.FORGOTTEN if text.endswith("not found") else Happening.FAILED
    return Happening.FAILED


def _of_daemon(error: BleakDBusError, otherwise: Happening) -> Happening:
    """By the name under which BlueZ, or the bus itself, reports it."""
    for endings, happening in _BY_DBUS_NAME:
        if error.dbus_error.endswith(endings):
            return happening
    return Happening.DROPPED if "Not connected" in str(error) else otherwise


def says_full(error: Exception) -> bool:
    """Whether a daemon says that the adapter holds no more links (it often does not say so).

    BlueZ since 5.62: ``le-connection-concurrent-connection-limit``; before, the system's text
    for EMLINK.
    """
    text = str(error).casefold()
    return any(words in text for words in ("connection-limit", "too many links", "out of slots"))


def explain(error: Exception, platform: str = sys.platform, *, adapter: str = "") -> str:
    """One sentence: why Bluetooth cannot be used on this computer, and what to do.

    ``adapter``: which one was asked for by name.
    """
    if isinstance(error, BleakError) and str(error).startswith("adapter"):
        if not adapter:
            return _explain_reason(_REASON.NO_BLUETOOTH, platform)
        return (
            f"this computer has no Bluetooth adapter {adapter} now: plug it in, or give another "
            "in the plan ('sidebeat sensors' lists them)"
        )
    if isinstance(error, BleakBluetoothNotAvailableError):
        return _explain_reason(error.reason, platform)
    if isinstance(error, BleakDBusError) and error.dbus_error.endswith(_GONE):
        return (
            "the Bluetooth service of this computer does not run: install the package bluez "
            "if it is missing, and start it with 'sudo systemctl start bluetooth'"
        )
    if isinstance(error, BleakDBusError) and error.dbus_error.endswith(".AccessDenied"):
        return (
            "this user may not use Bluetooth: add the user to the group bluetooth, "
            "then log in again"
        )
    if isinstance(error, BleakDBusError) and error.dbus_error.endswith(".NotReady"):
        return _explain_reason(_REASON.POWERED_OFF, platform)
    if isinstance(error, OSError | EOFError) and not isinstance(error, TimeoutError):
        if platform.startswith("linux"):
            return (
                "this computer's system bus (D-Bus) cannot be reached, and Bluetooth needs it: "
                "install and start the packages dbus and bluez, or, in a container, "
                "pass in /run/dbus/system_bus_socket"
            )
        return f"the operating system reports a fault of Bluetooth ({error}): restart Bluetooth"
    if isinstance(error, TimeoutError):
        return "this computer's Bluetooth does not answer: switch it off and on again"
    return f"this computer's Bluetooth reports a fault ({error}): switch it off and on again"


def _explain_reason(reason: BleakBluetoothNotAvailableReason, platform: str) -> str:
    if reason is _REASON.POWERED_OFF:
        how = {
            "darwin": "in the menu bar or in System Settings, Bluetooth",
            "win32": "in Settings, Bluetooth & devices",
        }.get(platform, "in the system settings or with 'bluetoothctl power on'")
        return f"Bluetooth is switched off on this computer: switch it on {how}"
    if reason is _REASON.NO_BLUETOOTH:
        return (
            "this computer has no Bluetooth adapter: plug one in, or plan sensors that come "
            "over MQTT from a node"
        )
    if reason is _REASON.NO_BLE_CENTRAL_ROLE:
        return (
            "this computer's Bluetooth adapter cannot do Bluetooth Low Energy: plug in one that can"
        )
    if reason in (_REASON.DENIED_BY_USER, _REASON.DENIED_BY_SYSTEM, _REASON.DENIED_BY_UNKNOWN):
        how = {
            "darwin": "allow it for your terminal in System Settings, Privacy & Security, "
            "Bluetooth",
            "win32": "allow desktop apps in Settings, Privacy & security",
        }.get(platform, "ask the administrator for access to the system bus")
        return f"this program is not allowed to use Bluetooth: {how}"
    return "this computer's Bluetooth cannot be used: switch it off and on again"
