"""What bleak reports, as happenings of a link and as sentences for the tester."""

from __future__ import annotations

import asyncio

import pytest
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
)

from live.sources.bluetooth.bleak_errors import explain, happening_of
from live.sources.bluetooth.state_machine import Happening
from live.sources.bluetooth.timeouts import bounded

REASON = BleakBluetoothNotAvailableReason


@pytest.mark.parametrize(
    ("error", "happening"),
    [
        (BleakBluetoothNotAvailableError("off", REASON.POWERED_OFF), Happening.OFF),
        (BleakDBusError("org.bluez.Error.NotReady", []), Happening.OFF),
        (BleakDBusError("org.freedesktop.DBus.Error.ServiceUnknown", []), Happening.OFF),
        (FileNotFoundError("no bus"), Happening.OFF),
        (EOFError(), Happening.OFF),
        (BleakDeviceNotFoundError("A"), Happening.FORGOTTEN),
        (BleakError("device 'dev_A' not found"), Happening.FORGOTTEN),
        (BleakError("adapter 'hci0' not found"), Happening.OFF),
        (BleakDBusError("org.freedesktop.DBus.Error.UnknownObject", []), Happening.FORGOTTEN),
        (BleakDBusError("org.bluez.Error.Failed", ["Not connected"]), Happening.DROPPED),
        (BleakDBusError("org.bluez.Error.Failed", ["le-connection-limit"]), Happening.FAILED),
        (BleakGATTProtocolError(0x05), Happening.REFUSED),
        (TimeoutError(), Happening.FAILED),
        (BleakError("failed to discover services, device disconnected"), Happening.FAILED),
    ],
)
def test_errors_are_told_apart(error: Exception, happening: Happening) -> None:
    """Each error that was seen leads to what helps against it."""
    assert happening_of(error) is happening


def test_a_plain_failure_of_a_subscription_is_a_refusal() -> None:
    """What a sensor answers to a subscription is its own decision, and is tried again slowly."""
    error = BleakDBusError("org.bluez.Error.Failed", ["Operation failed"])
    assert happening_of(error, subscribing=True) is Happening.REFUSED


@pytest.mark.parametrize("platform", ["linux", "darwin", "win32"])
@pytest.mark.parametrize(
    "error",
    [
        *(BleakBluetoothNotAvailableError("x", reason) for reason in REASON),
        BleakDBusError("org.freedesktop.DBus.Error.ServiceUnknown", []),
        BleakDBusError("org.freedesktop.DBus.Error.AccessDenied", []),
        BleakDBusError("org.bluez.Error.NotReady", []),
        FileNotFoundError(2, "No such file"),
        TimeoutError(),
        BleakError("something new"),
    ],
    ids=repr,
)
def test_every_explanation_is_one_sentence_with_something_to_do(
    error: Exception, platform: str
) -> None:
    """On each platform: what is wrong, a colon, what to do; one line, no final stop."""
    sentence = explain(error, platform)
    what, _, advice = sentence.partition(": ")
    assert what
    assert advice
    assert "\n" not in sentence
    assert not sentence.endswith(".")


def test_the_advice_fits_the_platform() -> None:
    """Nobody is told to use another system's settings."""
    off = BleakBluetoothNotAvailableError("off", REASON.POWERED_OFF)
    assert "bluetoothctl" in explain(off, "linux")
    assert "System Settings" in explain(off, "darwin")
    assert "Bluetooth & devices" in explain(off, "win32")


def test_a_missing_adapter_is_named_only_where_the_plan_names_it() -> None:
    """One that Sidebeat chose by itself and that was pulled is "no adapter", not a name to mind."""
    missing = BleakError("adapter 'hci1' not found")
    assert "no Bluetooth adapter hci1 now" in explain(missing, "linux", adapter="hci1")
    assert explain(missing, "linux").startswith("this computer has no Bluetooth adapter:")


def test_a_wait_that_will_not_be_cancelled_is_left_to_itself() -> None:
    """A call that swallows its cancellation cannot hold up the session beyond its grace."""

    async def main() -> None:
        release = asyncio.Event()
        ended = asyncio.Event()

        async def stubborn() -> None:
            while not release.is_set():
                try:
                    await release.wait()
                except asyncio.CancelledError:
                    continue
            ended.set()

        with pytest.raises(TimeoutError):
            await bounded(stubborn(), 0.01, grace_s=0.01)
        assert not ended.is_set()
        release.set()
        await ended.wait()

    asyncio.run(main())


def test_a_bounded_wait_passes_on_results_errors_and_cancellation() -> None:
    """Within its time a bounded wait changes nothing; cancelled, it cancels what it waits for."""

    async def main() -> None:
        async def answer() -> int:
            return 7

        async def fail() -> None:
            raise ValueError("no")

        assert await bounded(answer(), 5) == 7
        with pytest.raises(ValueError, match="no"):
            await bounded(fail(), 5)

        started, cancelled = asyncio.Event(), asyncio.Event()

        async def wait() -> None:
            started.set()
            try:
                await asyncio.Event().wait()
            finally:
                cancelled.set()

        task = asyncio.create_task(bounded(wait(), 60))
        await started.wait()
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        assert cancelled.is_set()

    asyncio.run(main())
