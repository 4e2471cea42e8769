"""Which of the sensors in reach is the planned one: by address, by serial number, by name.

No radio in here: sightings and times are arguments.  A sensor is its address and, once that was
read, its serial number.  A name finds a sensor once; after that it is only a hint.  An address
that was ever in reach together with the chosen sensor is another sensor, whatever its name.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final, Generic, TypeVar

from live.sources.bluetooth.timing import Timing
from replay.plan import PlannedSensor

D = TypeVar("D")

UNKNOWN_DBM: Final = -127
"""What stands for "no signal strength known"."""
_NEVER: Final = -1e12


@dataclass(frozen=True, slots=True)
class Sighting(Generic[D]):
    """One advertisement, or one sensor that is already connected to this computer.

    ``signal_dbm``: ``None`` if not known.  ``device``: what the radio needs to connect.
    ``adapter``: which adapter heard it.  ``measures``: whether it offers one of our services.
    """

    address: str
    name: str
    signal_dbm: int | None
    device: D
    adapter: str = ""
    measures: bool = True


@dataclass(frozen=True, slots=True)
class Choice(Generic[D]):
    """The sightings of the sensor to connect to, newest first, if it is clear; and advice."""

    sightings: tuple[Sighting[D], ...] = ()
    advice: str = ""


@dataclass
class _Place(Generic[D]):
    """What is known of one address.  Times in seconds."""

    address: str
    name: str = ""
    first_s: float = 0.0
    seen_s: float = _NEVER
    measures: bool = False
    by_adapter: dict[str, tuple[float, Sighting[D]]] = field(default_factory=dict)


@dataclass
class _Sought:
    """What is known of one planned sensor.  Addresses are case-folded."""

    planned: PlannedSensor
    chosen: str = ""
    name: str = ""
    serial: str = ""
    alive_s: float = _NEVER
    since_s: float = 0.0
    linked: bool = False
    ambiguous: bool = False
    strangers: set[str] = field(default_factory=set)
    suggested: str = ""


class Finder(Generic[D]):
    """Sightings of the whole session, and which address is which planned sensor."""

    def __init__(self, sensors: Mapping[int, PlannedSensor], timing: Timing) -> None:
        self._timing = timing
        self._places: dict[str, _Place[D]] = {}
        self._sought = {
            n: _Sought(s, chosen=s.address.casefold(), name=s.name or s.label)
            for n, s in sensors.items()
        }

    # --- what happens -------------------------------------------------------------------

    def see(self, sighting: Sighting[D], now_s: float) -> list[int]:
        """Take a sighting; returns the numbers of the planned sensors that it may be."""
        key = sighting.address.casefold()
        place = self._places.setdefault(key, _Place(sighting.address, first_s=now_s))
        place.name = sighting.name or place.name
        place.measures = place.measures or sighting.measures
        place.seen_s = now_s
        place.by_adapter[sighting.adapter] = (now_s, sighting)
        numbers = []
        for number, sought in self._sought.items():
            if key == sought.chosen:
                sought.alive_s = now_s
                sought.name = place.name or sought.name
                numbers.append(number)
            elif not sought.chosen and self._is_namesake(number, key, place):
                numbers.append(number)
        return numbers

    def lost(self, number: int, now_s: float, alive_s: float | None = None) -> None:
        """The search for this sensor begins; ``alive_s``: when it was last heard on its link."""
        sought = self._sought[number]
        sought.linked = False
        sought.since_s = now_s
        sought.suggested = ""
        if alive_s is not None:
            sought.alive_s = max(sought.alive_s, alive_s)

    def linked(self, number: int) -> None:
        """The sensor's link stands."""
        self._sought[number].linked = True

    def forget_sighting(self, address: str) -> None:
        """The sensor at this address must be seen anew."""
        place = self._places.get(address.casefold())
        if place is not None:
            place.by_adapter.clear()

    def confirm(self, number: int) -> bool:
        """The tester says that the suggested sensor is the planned one; whether one was."""
        sought = self._sought[number]
        if not sought.suggested:
            return False
        sought.chosen, sought.suggested, sought.serial = sought.suggested, "", ""
        return True

    def needs_proof(self, number: int, address: str) -> bool:
        """Whether a link to this address must show the known serial number before it counts."""
        sought = self._sought[number]
        return bool(sought.serial) or address.casefold() != sought.chosen

    def identify(self, number: int, address: str, serial: str) -> bool:
        """A link to this address has told its serial number (or none); whether it is the sensor."""
        sought, key = self._sought[number], address.casefold()
        if key == sought.chosen and not (sought.serial and serial):
            sought.serial = sought.serial or serial
            return True
        if serial and serial == sought.serial:
            sought.chosen = key
            return True
        sought.strangers.add(key)
        return False

    # --- what follows -------------------------------------------------------------------

    def choose(self, number: int, now_s: float) -> Choice[D]:
        """Decide for one planned sensor.

        The chosen address decides at once.  A name decides when its bearer has been in sight for
        ``settle_s``, and only if it has a single one and never had two at a time: which of them
        left is the tester's to say.  A namesake under a new address is to be asked for its serial
        number where that of the sensor is known.
        """
        sought = self._sought[number]
        if sought.chosen:
            if sightings := self._fresh(sought, sought.chosen, now_s):
                return Choice(sightings)
            if not sought.serial or now_s - sought.since_s < self._timing.repin_s:
                return Choice()
            candidates = self._returned(number, now_s)
            if len(candidates) == 1:
                return Choice(self._fresh(sought, candidates[0], now_s))
            return Choice()
        bearers = self._namesakes(number, now_s, self._timing.twin_s)
        in_sight = [key for key in bearers if self._fresh(sought, key, now_s)]
        if not in_sight:
            return Choice()
        first_s = min(max(self._places[key].first_s, sought.since_s) for key in in_sight)
        if now_s - first_s < self._timing.settle_s:
            return Choice()
        if len(bearers) > 1:
            sought.suggested = ""
            sought.ambiguous = sought.ambiguous or self._are_beside(bearers)
            return Choice(advice=self._twins(sought, bearers))
        if sought.ambiguous:
            return Choice(advice=self._last_one(sought, in_sight[0]))
        sought.chosen = in_sight[0]
        sought.alive_s = self._places[in_sight[0]].seen_s
        return Choice(self._fresh(sought, in_sight[0], now_s))

    def twin_of(self, number: int, now_s: float) -> str:
        """Advice if a sensor that was chosen by name has a namesake beside it; else empty."""
        sought = self._sought[number]
        if sought.planned.address or not sought.chosen:
            return ""
        beside = [
            key
            for key in self._namesakes(number, now_s, self._timing.twin_s)
            if key != sought.chosen and (sought.linked or self._was_beside(sought, key))
        ]
        return self._twins(sought, [sought.chosen, *beside]) if beside else ""

    def suggestion(self, number: int, now_s: float) -> str:
        """Advice if a sensor that is away may be here under another address; else empty."""
        sought = self._sought[number]
        if not sought.chosen or self._fresh(sought, sought.chosen, now_s):
            return ""
        candidates = self._returned(number, now_s)
        if len(candidates) != 1:
            return ""
        place = self._places[candidates[0]]
        sought.suggested = candidates[0]
        label = sought.planned.label
        return (
            f"{label} is not to be seen at its address {self._shown(sought.chosen)}, but a sensor "
            f"named {place.name} is, at {place.address}: if that is {label}, 'connect again' "
            "takes it, and the plan wants the new address"
        )

    def is_plain(self, address: str) -> bool:
        """Whether this sensor keeps its services to itself, so that filters do not find it."""
        place = self._places.get(address.casefold())
        return place is not None and not place.measures

    def chosen_address(self, number: int) -> str:
        """The case-folded address of this sensor; empty while it is not decided."""
        return self._sought[number].chosen

    def age_s(self, address: str, now_s: float) -> float:
        """Seconds since this address was seen."""
        place = self._places.get(address.casefold())
        return now_s - place.seen_s if place is not None else 1e12

    # --- who is who ---------------------------------------------------------------------

    def _fresh(self, sought: _Sought, key: str, now_s: float) -> tuple[Sighting[D], ...]:
        """Sightings of an address that count: of this search and not too old; newest first."""
        place = self._places.get(key)
        if place is None:
            return ()
        after_s = max(sought.since_s, now_s - self._timing.fresh_s)
        counted = [(s, one) for s, one in place.by_adapter.values() if s >= after_s]
        return tuple(one for _, one in sorted(counted, key=lambda pair: -pair[0]))

    def _taken(self, number: int) -> set[str]:
        return {s.chosen for n, s in self._sought.items() if n != number and s.chosen}

    def _is_namesake(self, number: int, key: str, place: _Place[D]) -> bool:
        sought = self._sought[number]
        wanted = {sought.name.casefold()}
        if sought.planned.address or sought.chosen:
            wanted |= {sought.planned.name.casefold(), sought.planned.label.casefold()}
        return (
            bool(place.name) and place.name.casefold() in wanted and key not in self._taken(number)
        )

    def _namesakes(self, number: int, now_s: float, within_s: float) -> list[str]:
        return sorted(
            key
            for key, place in self._places.items()
            if now_s - place.seen_s <= within_s and self._is_namesake(number, key, place)
        )

    def _was_beside(self, sought: _Sought, key: str) -> bool:
        return self._places[key].first_s <= sought.alive_s

    def _are_beside(self, keys: Iterable[str]) -> bool:
        """Whether two of these were in reach at a time: not one sensor under a new address."""
        places = [self._places[key] for key in keys]
        latest_first_s = max(place.first_s for place in places)
        return sum(place.seen_s >= latest_first_s for place in places) > 1

    def _returned(self, number: int, now_s: float) -> list[str]:
        """Namesakes in sight that may be the chosen sensor under a new address."""
        sought = self._sought[number]
        return [
            key
            for key in self._namesakes(number, now_s, self._timing.twin_s)
            if key != sought.chosen
            and key not in sought.strangers
            and not self._was_beside(sought, key)
            and self._fresh(sought, key, now_s)
        ]

    def _shown(self, key: str) -> str:
        place = self._places.get(key)
        return place.address if place is not None else key.upper()

    def _twins(self, sought: _Sought, keys: Iterable[str]) -> str:
        # Without signal strengths: what changes from second to second would be told each second.
        listed = " or ".join(sorted(self._shown(key) for key in keys))
        return f"several sensors are named {sought.name}: give the address in the plan, {listed}"

    def _last_one(self, sought: _Sought, key: str) -> str:
        sought.suggested = key
        label = sought.planned.label
        return (
            f"of several sensors named {sought.name} only the one at {self._shown(key)} is still "
            f"to be seen: if that is {label}, 'connect again' takes it, and the plan wants its "
            "address"
        )
