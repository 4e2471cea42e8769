"""Listing the sensors in reach, with real bleak against a played BlueZ."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest

from live.sources.bluetooth import BluetoothUnavailable, FoundSensor, bluetooth_problem, scan
from live.sources.bluetooth.scan import IN_USE, SILENT
from tests.standins.bluez import BlueZ, Sensor, bluez_fixture  # noqa: F401
from tests.standins.bluez_session import QUICK, release_bus

YARROW = "C0:00:00:00:00:01"
SORREL = "C0:00:00:00:00:02"
BIKE = "C0:00:00:00:00:03"


def found(*, details: bool = False, seconds: float = 0.4) -> list[FoundSensor]:
    """One scan, on a loop of its own."""

    async def main() -> list[FoundSensor]:
        try:
            return await scan(seconds, details=details, timing=replace(QUICK, connect_s=0.5))
        finally:
            await release_bus()

    return asyncio.run(main())


def problem() -> str | None:
    """Whether Bluetooth can be used, asked on a loop of its own."""

    async def main() -> str | None:
        try:
            return await bluetooth_problem()
        finally:
            await release_bus()

    return asyncio.run(main())


def test_standard_sensors_are_listed_the_strongest_first(bluez: BlueZ) -> None:
    """Heart-rate, cadence and power sensors with their services; no other device."""
    bluez.add(Sensor(YARROW, "Yarrow", rssi=-70))
    bluez.add(Sensor(BIKE, "Bike", streams=("2a5b", "2a63"), facts={}, rssi=-50))
    bluez.add(Sensor("C0:00:00:00:00:09", "Lamp", streams=(), facts={"2a19": b"\x20"}))
    listed = found()
    assert [sensor.name for sensor in listed] == ["Bike", "Yarrow"]
    assert listed[0].services == ("cycling speed and cadence", "cycling power")
    assert listed[1].services == ("heart rate",)
    assert listed[1].address == YARROW
    assert listed[1].signal_dbm in (-70, -69)
    assert bluez.calls("Connect") == 0


def test_details_are_read_and_every_sensor_is_let_go(bluez: BlueZ) -> None:
    """Battery, place, firmware and model are read; nobody stays connected."""
    strap = bluez.add(Sensor(YARROW, "Yarrow"))
    (sensor,) = found(details=True)
    assert (sensor.battery_percent, sensor.placement) == (87, "chest")
    assert (sensor.firmware, sensor.model) == ("1.4.2", "Bench strap")
    assert sensor.note == ""
    assert not strap.connected
    assert strap.connects == 1


def test_a_sensor_that_does_not_answer_is_listed_without_details(bluez: BlueZ) -> None:
    """A connect that hangs costs its time and a note, not the list."""
    bluez.add(Sensor(YARROW, "Yarrow", connect_hangs=True))
    bluez.add(Sensor(SORREL, "Sorrel"))
    by_name = {sensor.name: sensor for sensor in found(details=True)}
    assert by_name["Yarrow"].note == SILENT
    assert by_name["Sorrel"].battery_percent == 87


def test_a_sensor_with_nothing_to_tell_is_not_called_silent(bluez: BlueZ) -> None:
    """A sensor that answers but offers no facts has empty fields and no note."""
    bluez.add(Sensor(BIKE, "Bike", streams=("2a5b",), facts={}))
    (sensor,) = found(details=True)
    assert (sensor.note, sensor.battery_percent, sensor.firmware) == ("", None, "")


def test_malformed_details_are_left_out(bluez: BlueZ) -> None:
    """A battery of 200 % and a name that is no UTF-8 are not shown as facts."""
    facts = {"2a19": b"\xc8", "2a26": b"\xff\xfe", "2a24": b"Strap\0\0"}
    bluez.add(Sensor(YARROW, "Yarrow", facts=facts))
    (sensor,) = found(details=True)
    assert (sensor.battery_percent, sensor.firmware, sensor.model) == (None, "", "Strap")


def test_a_connected_sensor_is_listed_and_left_alone(bluez: BlueZ) -> None:
    """A sensor in use on this computer is listed without touching its link."""
    strap = bluez.add(Sensor(YARROW, "Yarrow"))
    bluez.connect_elsewhere(strap)
    (sensor,) = found(details=True)
    assert sensor.connected
    assert sensor.services == ("heart rate",)
    assert sensor.note == IN_USE
    assert strap.connected
    assert bluez.calls("Disconnect") == 0


def test_nobody_in_reach_is_an_empty_list(bluez: BlueZ) -> None:
    """No sensor is not an error."""
    assert found() == []


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("adapter off", "switched off"),
        ("no adapter", "no Bluetooth adapter"),
        ("no daemon", "does not run"),
        ("no bus", "system bus"),
    ],
)
def test_without_bluetooth_there_is_one_sentence(bluez: BlueZ, fault: str, words: str) -> None:
    """Each way of having no Bluetooth is told in its own words, by scan and by the question."""
    assert problem() is None
    match fault:
        case "adapter off":
            bluez.power(False)
        case "no adapter":
            bluez.unplug()
        case "no daemon":
            bluez.kill()
        case "no bus":
            bluez.bus.kill()
    with pytest.raises(BluetoothUnavailable, match=words):
        found()
    told = problem()
    assert told is not None
    assert words in told
