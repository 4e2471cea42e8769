"""Who was heard: lines of the listening process, and that process itself."""

from __future__ import annotations

from pathlib import Path

import pytest

from live.setup.discovered import DiscoveredSensors
from live.setup.known_sensors import KnownSensor, KnownSensors
from live.setup.subprocesses import LineSubprocess, listening_subprocess
from tests.standins.bluez import BlueZ, Sensor, bluez_fixture  # noqa: F401
from tests.standins.listening import brisk_listener
from tests.standins.setups import until

YARROW = "C0:00:00:00:00:01"
KNOWN = KnownSensor(YARROW, "Bench strap", "Yarrow", "reference", "chest")


def row(address: str, name: str, **more: object) -> dict[str, object]:
    return {"address": address, "name": name, "services": ["heart rate"], "signal_dbm": -70, **more}


def test_facts_are_kept_and_signals_renewed():
    """A later line renews the signal and forgets nothing that it does not mention."""
    discovered = DiscoveredSensors(KnownSensors())
    discovered.hear({"sensors": [row(YARROW, "strap", battery_percent=80, firmware="1.2")]}, 10.0)
    discovered.hear({"sensors": [row(YARROW, None, signal_dbm=-90, battery_percent=None)]}, 14.0)
    sensor = discovered.get(YARROW)
    assert (sensor.name, sensor.battery_percent, sensor.firmware) == ("strap", 80, "1.2")
    assert sensor.signal_words(15.0) == "weak, −90 dBm"
    assert sensor.signal_words(50.0) == "not heard for 36 s"


def test_old_news_is_old():
    """The age that a line tells counts from then, and never makes a sensor younger."""
    discovered = DiscoveredSensors(KnownSensors())
    discovered.hear({"sensors": [row(YARROW, "strap", age_s=30.0)]}, 40.0)
    assert not discovered.get(YARROW).is_near(40.0)


def test_remembered_sensors_are_listed_before_they_are_heard():
    """A remembered sensor can be planned before it is switched on, with what it was last."""
    discovered = DiscoveredSensors(KnownSensors((KNOWN,)))
    (sensor,) = discovered.sensors
    assert sensor.signal_words(0.0) == "not heard yet"
    planned = discovered.planned(sensor, has_reference=False)
    assert (planned.label, planned.role, planned.placement) == ("Yarrow", "reference", "chest")


@pytest.mark.parametrize(
    ("more", "has_reference", "role", "placement"),
    [
        ({"placement": "chest"}, False, "reference", "chest"),
        ({"placement": "chest"}, True, "test", "chest"),
        ({"placement": "wrist"}, False, "test", ""),
        ({"services": ["cycling power"]}, False, "companion", ""),
    ],
)
def test_a_new_sensor_is_proposed_by_what_it_says(more, has_reference, role, placement):
    """A chest sensor is the first reference; what measures no heart rate is a companion."""
    discovered = DiscoveredSensors(KnownSensors())
    discovered.hear({"sensors": [row("C0:05", "new", **more)]}, 0.0)
    planned = discovered.planned(discovered.get("C0:05"), has_reference=has_reference)
    assert (planned.role, planned.placement) == (role, placement)


def test_a_problem_stands_until_somebody_is_heard():
    """Bluetooth that is off is said, and no longer once it is on."""
    discovered = DiscoveredSensors(KnownSensors())
    discovered.hear({"problem": "Bluetooth is off"}, 0.0)
    assert discovered.problem == "Bluetooth is off"
    discovered.hear({"sensors": []}, 1.0)
    assert discovered.problem == ""


@pytest.mark.parametrize(
    "line", [{}, {"sensors": 3}, {"sensors": [4, {"name": "x"}, {"address": 7}]}]
)
def test_lines_that_make_no_sense_change_nothing(line):
    """A line that is not ours adds no sensor."""
    discovered = DiscoveredSensors(KnownSensors())
    discovered.hear(line, 0.0)
    assert discovered.sensors == []


def test_control_characters_of_a_name_are_shown_and_not_obeyed():
    """A sensor's own text cannot steer what shows it."""
    discovered = DiscoveredSensors(KnownSensors())
    discovered.hear({"sensors": [row("C0:05", "a\x1b[2Jb")]}, 0.0)
    assert discovered.get("C0:05").name == "a\ufffd[2Jb"


def test_the_listening_process_tells_signal_and_battery(bluez: BlueZ) -> None:
    """A real child lists played sensors, asks the ticked one alone, and ends with its input."""
    bluez.add(Sensor(YARROW, "Yarrow"))
    stranger = bluez.add(Sensor("C0:00:00:00:00:09", "stranger"))
    child = brisk_listener()
    child.say({"ask": [YARROW]})
    discovered = DiscoveredSensors(KnownSensors())
    try:

        def listen() -> None:
            for line in child.poll():
                discovered.hear(line, 0.0)

        until(
            listen,
            lambda: discovered.get(YARROW) and discovered.get(YARROW).battery_percent == 87,
            "battery",
        )
        assert discovered.get(YARROW).signal_dbm in (-58, -57)
        assert discovered.get(YARROW).placement == "chest"
        assert discovered.get(stranger.address) is not None
        assert stranger.connects == 0
    finally:
        child.end()
    assert child.has_ended
    assert child.wait() == 0


def test_without_bluetooth_the_listening_process_says_so(tmp_path: Path, monkeypatch) -> None:
    """No system bus: one sentence as a line, and it goes on trying."""
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path / 'no-bus'}")
    child = listening_subprocess()
    discovered = DiscoveredSensors(KnownSensors())
    try:

        def listen() -> None:
            for line in child.poll():
                discovered.hear(line, 0.0)

        until(listen, lambda: discovered.problem, "problem")
        assert "Bluetooth" in discovered.problem
        assert not child.has_ended
    finally:
        child.end()


def test_what_a_helper_says_beside_json_is_passed_over():
    """Lines that are no objects are not handed on; the status comes after the last line."""
    script = 'print("x"); print("[1]"); print(\'{"a": 1}\'); raise SystemExit(3)'
    child = LineSubprocess(["-c", script])
    assert child.wait() == 3
    assert child.status is None
    assert child.poll() == [{"a": 1}]
    assert child.status == 3
