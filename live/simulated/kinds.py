"""The kinds of simulated sensor that a plan can name, and what tends to happen to each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Protocol

from live.simulated.counter import StepCounter, StrokeCounter
from live.simulated.noise import Noise
from live.simulated.optical import Optical
from live.simulated.script import Script
from live.simulated.strap import Strap
from live.simulated.troubles import Trouble, TroubleKind, Troubles
from live.simulated.world import World
from replay.errors import PlanError
from replay.plan import PlannedSensor


class Device(Protocol):
    """A simulated sensor: what it is, and what it sends."""

    @property
    def body_location(self) -> int | None:
        """Code of the 2A38 it answers with; ``None`` if it has none."""

    @property
    def model(self) -> str:
        """Its model number text."""

    def readings(
        self, world: World, noise: Noise, troubles: Troubles, start_s: float, end_s: float
    ) -> Iterator[tuple[float, str, bytes]]:
        """Time in s, channel and payload of each notification between two seconds."""


def _dries(script: Script, noise: Noise) -> list[Trouble]:
    """Dry about every eight minutes: a minute of bad beats, half a minute off, then wetted."""
    troubles = []
    start_s = noise.uniform(150, 240)
    while start_s < script.duration_s:
        troubles.append(Trouble(TroubleKind.DRYING, start_s, start_s + 60))
        troubles.append(Trouble(TroubleKind.NO_CONTACT, start_s + 60, start_s + 90))
        start_s += noise.uniform(420, 540)
    return troubles


def _locks_on(script: Script, noise: Noise) -> list[Trouble]:
    """On to the cadence in every third effort with one."""
    return [
        Trouble(TroubleKind.ON_CADENCE, start_s + 20, end_s, _multiple(script.at(start_s).cadence))
        for start_s, end_s in script.efforts
        if script.at(start_s).cadence and noise.chance(1 / 3)
    ]


def _multiple(cadence: float) -> float:
    return 1.0 if cadence > 60 else 2.0


def _misses(script: Script, noise: Noise) -> list[Trouble]:
    """Every third effort missed."""
    return [
        Trouble(TroubleKind.MISSED_EFFORT, start_s, end_s + 15)
        for start_s, end_s in script.efforts
        if noise.chance(1 / 3)
    ]


def _starts_late(script: Script, noise: Noise) -> list[Trouble]:  # noqa: ARG001
    return [Trouble(TroubleKind.LATE_START, 0, noise.uniform(90, 150))]


def _slips(script: Script, noise: Noise) -> list[Trouble]:
    """Loses the skin for some 20 s about every six minutes."""
    troubles = []
    start_s = noise.uniform(120, 300)
    while start_s < script.duration_s:
        end_s = start_s + noise.uniform(15, 30)
        troubles.append(Trouble(TroubleKind.NO_CONTACT, start_s, end_s))
        start_s += noise.uniform(300, 420)
    return troubles


def _loses_its_link(script: Script, noise: Noise) -> list[Trouble]:
    """The link breaks for some 20 s about every five minutes."""
    troubles = []
    start_s = noise.uniform(100, 240)
    while start_s < script.duration_s:
        end_s = start_s + noise.uniform(12, 30)
        troubles.append(Trouble(TroubleKind.DROPPED, start_s, end_s))
        start_s += noise.uniform(240, 360)
    return troubles


def _acquires(script: Script, noise: Noise) -> list[Trouble]:  # noqa: ARG001
    """Looks for the heart at start: 0 bpm for some seconds, then a wrong value."""
    none_s, wrong_s = noise.uniform(5, 15), noise.uniform(5, 20)
    return [
        Trouble(TroubleKind.ACQUIRING, 0, none_s, 0.0),
        Trouble(
            TroubleKind.ACQUIRING, none_s, none_s + wrong_s, float(int(noise.uniform(58, 104)))
        ),
    ]


def _grows_cold(script: Script, noise: Noise) -> list[Trouble]:  # noqa: ARG001
    """Cold hands for five minutes in every twenty; at the same time for every sensor."""
    starts = range(300, int(script.duration_s), 1200)
    return [Trouble(TroubleKind.COLD_HANDS, start_s, start_s + 300) for start_s in starts]


def _fares_well(script: Script, noise: Noise) -> list[Trouble]:  # noqa: ARG001
    return []


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind: in words, the device, and the rule for what happens to it in a session."""

    summary: str
    device: Device
    troubles: Callable[[Script, Noise], list[Trouble]] = _fares_well


_WRIST: Final = Optical(delay_s=2.0, smooth_s=4.0, noise_bpm=1.8)
_ARM: Final = Optical(
    delay_s=1.0, smooth_s=2.0, noise_bpm=0.9, body_location=0, model="optical arm sensor"
)

KINDS: Final[Mapping[str, Kind]] = {
    "strap": Kind("ECG chest strap that works well, with RR", Strap()),
    "strap-drying": Kind("ECG chest strap that dries, loses the skin, is wetted", Strap(), _dries),
    "strap-no-rr": Kind("chest strap that sends bpm only", Strap(sends_rr=False)),
    "wrist": Kind("optical wrist sensor that works well", _WRIST),
    "wrist-slow": Kind(
        "optical wrist sensor that is late and blunts peaks",
        Optical(delay_s=4.0, smooth_s=9.0, peaks=0.72, noise_bpm=1.8),
    ),
    "wrist-cadence": Kind("optical wrist sensor that locks on to the cadence", _WRIST, _locks_on),
    "wrist-misses": Kind("optical wrist sensor that misses efforts", _WRIST, _misses),
    "wrist-loose": Kind("optical wrist sensor that loses the skin", _WRIST, _slips),
    "wrist-steps": Kind(
        "optical wrist sensor that smooths over some 15 s and moves in steps",
        Optical(delay_s=2.0, smooth_s=12.0, noise_bpm=1.5, band_bpm=1.6),
    ),
    "wrist-acquires": Kind(
        "optical wrist sensor that looks for the heart for 10 to 35 s at start", _WRIST, _acquires
    ),
    "wrist-cold": Kind(
        "optical wrist sensor on cold hands, 20 bpm low for five minutes", _WRIST, _grows_cold
    ),
    "arm": Kind("optical upper-arm sensor that works well", _ARM),
    "arm-late": Kind("optical upper-arm sensor that is started late", _ARM, _starts_late),
    "arm-rr": Kind(
        "optical upper-arm sensor with RR that leave out one beat in fifteen",
        Optical(
            delay_s=1.0,
            smooth_s=4.0,
            noise_bpm=0.9,
            rr_left_out=0.065,
            body_location=0,
            model="optical arm sensor",
        ),
    ),
    "arm-far": Kind("optical upper-arm sensor whose link breaks", _ARM, _loses_its_link),
    "strokes": Kind("stroke counter of an ergometer (2A5B), a companion", StrokeCounter()),
    "steps": Kind("step counter on a foot (2A53), a companion", StepCounter()),
}
"""Every kind by its name in a plan (``kind = "strap"``)."""


def kind_of(sensor: PlannedSensor) -> Kind:
    """The kind of a planned sensor.  Raises :class:`PlanError` naming those that exist."""
    try:
        return KINDS[sensor.kind]
    except KeyError:
        known = ", ".join(KINDS)
        raise PlanError(
            f"sensor {sensor.label!r}, kind", f"must be one of {known}", sensor.kind
        ) from None
