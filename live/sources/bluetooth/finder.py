"""Which of the sensors in reach is the planned one: by address, by name, or not to be told.

No radio in here: sightings and times are arguments.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Generic, TypeVar

from live.sources.bluetooth.timing import Timing
from replay.plan import PlannedSensor

D = TypeVar("D")

UNKNOWN_DBM: Final = -127
"""What stands for "no signal strength known"."""


@dataclass(frozen=True, slots=True)
class Sighting(Generic[D]):
    """One advertisement, or one sensor that is already connected to this computer.

    ``signal_dbm``: ``None`` if not known.  ``device``: what the radio needs to connect.
    """

    address: str
    name: str
    signal_dbm: int | None
    device: D


@dataclass(frozen=True, slots=True)
class Choice(Generic[D]):
    """The sensor to connect to, if it is clear; and what the tester should know."""

    sighting: Sighting[D] | None
    advice: str = ""


class Finder(Generic[D]):
    """Sightings of one search, and what has been chosen for which planned sensor so far."""

    def __init__(self, sensors: Mapping[int, PlannedSensor], timing: Timing) -> None:
        self._sensors = sensors
        self._timing = timing
        self._seen: dict[str, Sighting[D]] = {}
        self._first_s: dict[str, float] = {}
        self._chosen: dict[int, Sighting[D]] = {}
        self._away_since_s: dict[int, float] = {}
        self._planned = {s.address.casefold() for s in sensors.values() if s.address}

    def begin(self) -> None:
        """A new search begins: what an earlier one saw may be gone."""
        self._seen.clear()
        self._first_s.clear()

    def see(self, sighting: Sighting[D], now_s: float) -> list[int]:
        """Take a sighting; returns the numbers of the planned sensors that it may be."""
        key = sighting.address.casefold()
        self._seen[key] = sighting
        self._first_s.setdefault(key, now_s)
        return [n for n in self._sensors if any(s is sighting for s in self._candidates(n))]

    def lost(self, number: int, now_s: float) -> None:
        """The search for this sensor begins (again)."""
        self._away_since_s[number] = now_s

    def choose(self, number: int, now_s: float) -> Choice[D]:
        """Decide for one planned sensor.

        An address decides at once, and so does the address that this sensor had before.  A
        name alone is decided when its first bearer has been in sight for ``settle_s``, and
        only if it has a single one.
        """
        candidates = self._candidates(number)
        if not candidates:
            return Choice(None)
        sensor = self._sensors[number]
        chosen = self._chosen.get(number)
        before = chosen.address.casefold() if chosen else ""
        for sighting in candidates:
            if sensor.address or sighting.address.casefold() == before:
                return self._take(number, sighting)
        first_s = min(self._first_s[s.address.casefold()] for s in candidates)
        if now_s - first_s < self._timing.settle_s:
            return Choice(None)
        if len(candidates) > 1:
            return Choice(None, _twins(sensor, candidates))
        sighting = candidates[0]
        if before:
            if now_s - self._away_since_s.get(number, now_s) < self._timing.repin_s:
                return Choice(None)
            return self._take(
                number,
                sighting,
                f"{sensor.label} is back under another address, {sighting.address}: "
                "check that it is the same sensor",
            )
        return self._take(number, sighting)

    def _take(self, number: int, sighting: Sighting[D], advice: str = "") -> Choice[D]:
        self._chosen[number] = sighting
        return Choice(sighting, advice)

    def twin_of(self, number: int) -> str:
        """Advice if a sensor that was chosen by name has a namesake in sight; else empty."""
        sensor = self._sensors[number]
        chosen = self._chosen.get(number)
        if sensor.address or chosen is None:
            return ""
        others = [s for s in self._candidates(number) if s.address != chosen.address]
        return _twins(sensor, [chosen, *others]) if others else ""

    def _bearers(self, addresses: Iterable[str]) -> list[Sighting[D]]:
        return [self._seen[a] for a in addresses if a in self._seen]

    def _candidates(self, number: int) -> list[Sighting[D]]:
        sensor = self._sensors[number]
        if sensor.address:
            return self._bearers([sensor.address.casefold()])
        taken = self._planned | {
            s.address.casefold() for n, s in self._chosen.items() if n != number
        }
        return [
            sighting
            for address, sighting in self._seen.items()
            if address not in taken and sighting.name.casefold() == sensor.name.casefold()
        ]


def _twins(sensor: PlannedSensor, bearers: Iterable[Sighting[D]]) -> str:
    listed = " or ".join(
        s.address + ("" if s.signal_dbm is None else f" ({s.signal_dbm} dBm)")
        for s in sorted(bearers, key=lambda s: s.address)
    )
    return f"several sensors are named {sensor.name}: give the address in the plan, {listed}"
