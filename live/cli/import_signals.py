"""What a recorded session holds beside the heart: cadence, power, speed, markers."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from replay.channels import COMPANION_CHANNELS, decode
from replay.errors import PayloadError
from replay.event import MARKER, Event
from replay.markers import decode_marker
from replay.payloads import CyclingCadence, CyclingPower, RevolutionRate, RunningCadence
from replay.plan import Plan


class SessionSignals:
    """Told every event of a capture in order; ``markers_ns``: moments of the tester's notes.

    Where several sensors send the same signal, the first one in the plan is taken.
    """

    def __init__(self, plan: Plan) -> None:
        self.markers_ns: list[int] = []
        self._series: dict[tuple[str, int], tuple[list[int], list[float]]] = {}
        self._cranks = {number: RevolutionRate() for number in range(1, len(plan.sensors) + 1)}

    def take(self, event: Event) -> None:
        """One event; what is no signal, or cannot be read, is passed over."""
        if event.channel == MARKER:
            self.markers_ns.append(decode_marker(event.t_ns, event.payload)[0])
        if event.channel not in COMPANION_CHANNELS:
            return
        try:
            reading = decode(event.channel, event.payload)
        except PayloadError:
            return
        crank = None
        if isinstance(reading, RunningCadence):
            self._add("cadence", event, float(reading.cadence_per_min))
            self._add("speed", event, reading.speed / 256)
        elif isinstance(reading, CyclingPower):
            self._add("power", event, float(reading.power_w))
            crank = reading.crank
        elif isinstance(reading, CyclingCadence):
            crank = reading.crank
        if crank is not None:
            rate = self._cranks[event.sensor].feed(event.t_ns, crank)
            if rate is not None:
                self._add("cadence", event, rate)

    def found(self) -> dict[str, tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]]:
        """Each signal: times in ns of the capture clock, and values."""
        chosen: dict[str, int] = {}
        for name, number in sorted(self._series, key=lambda key: key[1]):
            chosen.setdefault(name, number)
        return {
            name: (np.array(times, dtype=np.int64), np.array(values, dtype=np.float64))
            for name, number in chosen.items()
            for times, values in [self._series[name, number]]
        }

    def _add(self, name: str, event: Event, value: float) -> None:
        times, values = self._series.setdefault((name, event.sensor), ([], []))
        times.append(event.t_ns)
        values.append(value)
