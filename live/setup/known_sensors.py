"""Sensors that were worn before: label, role and placement by address and name.

A small TOML file in the user's own configuration folder.  Of the wearer it holds the code and
nothing else; the details for a report are never in it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Final

import tomli_w

from replay.errors import SidebeatError
from replay.files_only import read_text, user_home
from replay.plan import PlannedSensor
from replay.signs import SIGNS
from replay.text import printable
from replay.toml_table import parse_toml

CONFIG_FOLDER_VARIABLE: Final = "SIDEBEAT_CONFIG_DIR"
"""Environment variable that names another folder for what is remembered."""
VERSION: Final = 1
KEPT: Final = 200
"""Sensors kept; who wears more has a study of its own to look them up in."""


class KnownSensorsError(SidebeatError):
    """What is remembered cannot be read or written; the message says why."""


@dataclass(frozen=True, slots=True)
class KnownSensor:
    """One sensor as it was last planned."""

    address: str
    name: str
    label: str
    role: str
    placement: str
    sign: int = 0
    """The sign it is known by (:mod:`replay.signs`), 0 where it has none."""


@dataclass(frozen=True, slots=True)
class LastSession:
    """What of the last session is proposed for the next one."""

    wearer: str = ""
    activity: str = ""
    tolerance_bpm: float = 5.0
    tolerance_percent: float = 10.0


@dataclass(frozen=True, slots=True)
class KnownSensors:
    """All that is remembered, the newest sensor first."""

    sensors: tuple[KnownSensor, ...] = ()
    last: LastSession = LastSession()

    def recall(self, address: str, name: str) -> KnownSensor | None:
        """The sensor with this address and name.

        Some sensors draw a new address when they are switched on: a name that exactly one
        remembered sensor has is enough then.
        """
        for sensor in self.sensors:
            if (sensor.address, sensor.name) == (address, name):
                return sensor
        namesakes = [sensor for sensor in self.sensors if name and sensor.name == name]
        return namesakes[0] if len(namesakes) == 1 else None

    def with_session(
        self, sensors: Iterable[PlannedSensor], names: dict[str, str], last: LastSession
    ) -> KnownSensors:
        """With the Bluetooth sensors of a session put on top.  ``names``: name by address."""
        new = tuple(
            KnownSensor(
                s.address,
                names.get(s.address, s.name),
                s.label,
                s.role,
                s.placement,
                s.sign or self._sign(s.address, names.get(s.address, s.name)),
            )
            for s in sensors
            if s.source == "bluetooth"
        )
        fresh = {(sensor.address, sensor.name) for sensor in new}
        old = tuple(s for s in self.sensors if (s.address, s.name) not in fresh)
        return replace(self, sensors=(new + old)[:KEPT], last=last)

    def _sign(self, address: str, name: str) -> int:
        """What a sensor was known by, also while it is worn in another role today."""
        known = self.recall(address, name)
        return 0 if known is None else known.sign


def known_sensors_path() -> Path:
    """The file of this user; its folder need not exist."""
    if named := os.environ.get(CONFIG_FOLDER_VARIABLE):
        folder = Path(named)
    elif sys.platform == "win32":
        base = os.environ.get("APPDATA") or str(user_home() / "AppData" / "Roaming")
        folder = Path(base) / "Sidebeat"
    elif sys.platform == "darwin":
        folder = user_home() / "Library" / "Application Support" / "Sidebeat"
    else:
        folder = Path(os.environ.get("XDG_CONFIG_HOME") or user_home() / ".config") / "sidebeat"
    return folder / "sensors.toml"


def load_known_sensors(path: Path) -> KnownSensors:
    """Read it; empty if there is no file.

    Raises :class:`KnownSensorsError` in one sentence if the file is damaged or of a newer version;
    it is then left as it is.
    """
    try:
        raw = parse_toml(read_text(path))
    except FileNotFoundError:
        return KnownSensors()
    except (OSError, ValueError) as error:
        raise KnownSensorsError(
            f"{path} cannot be read ({error}); no sensor is remembered"
        ) from None
    version = raw.get("version")
    if version != VERSION:
        raise KnownSensorsError(
            f"{path} is of version {version!r}, this program reads {VERSION}; "
            "no sensor is remembered and the file is left alone"
        )
    try:
        return KnownSensors(
            tuple(_sensor(row) for row in raw.get("sensor", [])),
            _last(raw.get("last", {})),
        )
    except (TypeError, ValueError, AttributeError) as error:
        raise KnownSensorsError(f"{path} is not as it should be ({error})") from None


def save_known_sensors(path: Path, known: KnownSensors) -> None:
    """Write it, in one step.  Raises :class:`KnownSensorsError` if the folder does not let us."""
    table: dict[str, object] = {"version": VERSION, "last": asdict(known.last)}
    text = tomli_w.dumps(table)
    for sensor in known.sensors:
        text += "\n[[sensor]]\n" + tomli_w.dumps(asdict(sensor))
    fresh = path.with_suffix(f".{os.getpid()}.new")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(path)
    except OSError as error:
        raise KnownSensorsError(
            f"the sensors could not be remembered in {path}: {error.strerror}"
        ) from None


def _sensor(row: dict[str, object]) -> KnownSensor:
    known = KnownSensor.__dataclass_fields__
    values = {key: value for key, value in row.items() if key in known}
    sign = values.pop("sign", 0)
    texts = {key: printable(value) for key, value in values.items() if isinstance(value, str)}
    if len(texts) < len(values) or not isinstance(sign, int) or not 0 <= sign <= SIGNS:
        raise TypeError("a sensor's sign is a number, every other fact of it a text")
    return KnownSensor(**texts, sign=sign)


def _last(row: dict[str, object]) -> LastSession:
    texts = {key: printable(str(row[key])) for key in ("wearer", "activity") if key in row}
    numbers = {
        key: float(str(row[key])) for key in ("tolerance_bpm", "tolerance_percent") if key in row
    }
    return LastSession(**texts, **numbers)  # type: ignore[arg-type]
