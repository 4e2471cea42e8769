"""Listing the sensors in reach, with real bleak against a played BlueZ."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest

from live.sources.bluetooth import (
    BluetoothUnavailable,
    FoundSensor,
    SeenSensor,
    bluetooth_problem,
    scan,
    watch,
)
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
            return await scan(seconds, details=details, timing=replace(QUICK, link_s=0.5))
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


def test_every_adapter_listens(bluez: BlueZ) -> None:
    """A sensor is listed whichever adapter hears it, once, and asked through one that does."""
    bluez.daemon.adapters = ["hci0", "hci1"]
    bluez.kill()
    bluez.start()
    bluez.add(Sensor(YARROW, "Yarrow", rssi=-50, heard_by=("hci0",)))
    bluez.add(Sensor(SORREL, "Sorrel", rssi=-60, heard_by=("hci1",)))
    bluez.add(Sensor(BIKE, "Bike", streams=("2a5b",), rssi=-70, heard_by=("hci0", "hci1")))
    listed = found(details=True)
    assert [sensor.name for sensor in listed] == ["Yarrow", "Sorrel", "Bike"]
    assert [sensor.battery_percent for sensor in listed] == [0x57] * 3


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


def test_twelve_healthy_sensors_give_twelve_answers(bluez: BlueZ) -> None:
    """With slow endings, a daemon that forgets, and one failure each: all answer, side by side.

    One after another the endings alone would take 6 s; discovery goes on meanwhile, so that no
    sensor whose turn comes late is forgotten.
    """
    bluez.daemon.disconnect_s, bluez.daemon.forget_s = 0.5, 0.6
    sensors = [
        bluez.add(Sensor(f"C0:00:00:00:00:1{n:X}", f"S{n}", connects_in_vain=n % 2))
        for n in range(12)
    ]
    listed = found(details=True)
    assert [sensor.note for sensor in listed] == [""] * 12
    assert [sensor.battery_percent for sensor in listed] == [87] * 12
    assert not any(sensor.connected for sensor in sensors)
    assert bluez.daemon.most_links <= 3


def test_who_is_being_asked_is_neither_unheard_nor_in_use(bluez: BlueZ) -> None:
    """A sensor linked for its details does not advertise: that is our doing, and not told."""
    strap = bluez.add(Sensor(YARROW, "Yarrow"))
    bluez.daemon.disconnect_s = 1.0

    async def main() -> list[SeenSensor]:
        told = []
        try:
            async for sightings in watch(0.1, timing=QUICK):
                told += sightings
                if told and told[-1].sensor.battery_percent is not None and not strap.connected:
                    return told
        finally:
            await release_bus()
        return told

    told = asyncio.run(main())
    assert {one.sensor.note for one in told} == {""}
    assert not any(one.sensor.connected for one in told)
    assert max(one.age_s for one in told) < 0.5


def test_only_wanted_sensors_are_asked_and_once(bluez: BlueZ) -> None:
    """Strangers are listed and left alone; who has answered is not asked again."""
    mine = bluez.add(Sensor(YARROW, "Yarrow"))
    stranger = bluez.add(Sensor(SORREL, "Sorrel"))

    async def main() -> list[SeenSensor]:
        rounds = 0
        try:
            async for sightings in watch(0.1, wanted=lambda a: a == YARROW, timing=QUICK):
                answered = any(one.sensor.battery_percent == 87 for one in sightings)
                rounds += answered
                if rounds == 5:
                    return sightings
        finally:
            await release_bus()
        return []

    told = {one.sensor.name: one.sensor for one in asyncio.run(main())}
    assert told.keys() == {"Yarrow", "Sorrel"}
    assert told["Sorrel"].note == ""
    assert (mine.connects, stranger.connects) == (1, 0)
