"""What is remembered of sensors, and that nothing else is."""

from __future__ import annotations

import tomllib

import pytest

from live.setup.known_sensors import (
    CONFIG_FOLDER_VARIABLE,
    KnownSensor,
    KnownSensors,
    KnownSensorsError,
    LastSession,
    known_sensors_path,
    load_known_sensors,
    save_known_sensors,
)
from replay.plan import PlannedSensor

YARROW = KnownSensor("C0:01", "Bench strap", "Yarrow", "reference", "chest")
SORREL = KnownSensor("C0:02", "Bench watch", "Sorrel", "test", "left wrist")
KNOWN = KnownSensors((YARROW, SORREL), LastSession("W2", "kettlebell sets", 3.0, 5.0))


def test_it_reads_back(tmp_path):
    """What is saved is loaded again; without a file nothing is remembered."""
    path = tmp_path / "deep" / "sensors.toml"
    assert load_known_sensors(path) == KnownSensors()
    save_known_sensors(path, KNOWN)
    assert load_known_sensors(path) == KNOWN
    assert [p.name for p in path.parent.iterdir()] == ["sensors.toml"]


def test_the_folder_can_be_named(tmp_path, monkeypatch):
    """An environment variable moves what is remembered."""
    monkeypatch.setenv(CONFIG_FOLDER_VARIABLE, str(tmp_path))
    assert known_sensors_path().parent == tmp_path


def test_of_the_wearer_the_code_is_all(tmp_path):
    """Saved keys are those of sensors and of the last session, and no detail is among them."""
    path = tmp_path / "sensors.toml"
    save_known_sensors(path, KNOWN)
    raw = tomllib.loads(path.read_text())
    assert set(raw) == {"version", "last", "sensor"}
    assert set(raw["last"]) == {"wearer", "activity", "tolerance_bpm", "tolerance_percent"}
    assert set(raw["sensor"][0]) == {"address", "name", "label", "role", "placement", "sign"}


@pytest.mark.parametrize(
    "text",
    [
        "version = 2\n",
        "not toml",
        'version = 1\n[[sensor]]\naddress = "C0:01"\n',
        "version = 1\nsensor = 3\n",
        'version = 1\n[[sensor]]\naddress = 4\nname = ""\nlabel = ""\nrole = ""\nplacement = ""\n',
        '[last]\nwearer = "W1"\n',
        'version = 1\n[last]\ntolerance_bpm = "much"\n',
    ],
)
def test_a_file_that_is_not_understood_is_left_alone(tmp_path, text):
    """Damage and newer versions are one sentence, and the file stays as it is."""
    path = tmp_path / "sensors.toml"
    path.write_text(text)
    with pytest.raises(KnownSensorsError) as caught:
        load_known_sensors(path)
    assert "\n" not in str(caught.value).replace("\\n", "")
    assert path.read_text() == text


def test_a_folder_that_cannot_be_written_is_one_sentence(tmp_path):
    """Saving where a file stands in the way is refused in words."""
    (tmp_path / "x").write_text("")
    with pytest.raises(KnownSensorsError, match="could not be remembered"):
        save_known_sensors(tmp_path / "x" / "sensors.toml", KNOWN)


def test_a_sensor_is_recalled_by_address_and_name():
    """Both must fit; a new address is believed if one remembered sensor has the name."""
    assert KNOWN.recall("C0:02", "Bench watch") == SORREL
    assert KNOWN.recall("C0:99", "Bench watch") == SORREL
    assert KNOWN.recall("C0:02", "Other") is None
    twins = KnownSensors((SORREL, KnownSensor("C0:03", "Bench watch", "Tansy", "test", "")))
    assert twins.recall("C0:99", "Bench watch") is None
    assert twins.recall("C0:03", "Bench watch").label == "Tansy"


def test_a_session_puts_its_sensors_on_top():
    """Bluetooth sensors of a session replace what was remembered of them; others are not kept."""
    sensors = (
        PlannedSensor(label="Bracken", role="test", placement="right wrist", address="C0:02"),
        PlannedSensor(label="Topic", role="test", source="mqtt", topic="a"),
    )
    after = KNOWN.with_session(sensors, {"C0:02": "Bench watch"}, LastSession("W3"))
    assert [s.label for s in after.sensors] == ["Bracken", "Yarrow"]
    assert after.sensors[0].name == "Bench watch"
    assert after.last.wearer == "W3"
