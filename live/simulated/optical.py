"""A simulated optical sensor: it sees the pulse late, smoothed and through movement."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from live.simulated.noise import Noise, SlowNoise
from live.simulated.troubles import Trouble, TroubleKind, Troubles
from live.simulated.wearer import STEP_S
from live.simulated.world import World
from replay.event import HEART_RATE
from replay.payloads import RR_PER_S, encode_heart_rate

_BLUNT_S: Final = 120.0
"""Changes much slower than this are shown whole by a sensor that blunts."""
_TAKEN_IN_S: Final = 6.0
"""How slowly a sensor slips on to a wrong rhythm and back."""
_COLD_BPM: Final = 20.0
_FOLLOWS_STILL: Final = 0.15
"""What share of a missed effort shows all the same."""

_LEAD_ASTRAY: Final = (
    TroubleKind.ON_CADENCE, TroubleKind.MISSED_EFFORT, TroubleKind.COLD_HANDS,
)  # fmt: skip
"""Troubles by which it shows something else than the pulse; nearly all sensors have none."""


@dataclass(frozen=True, slots=True)
class Optical:
    """How an optical sensor is built and how well it works.

    ``period_s``: time between notifications.  ``delay_s``: pure delay.  ``smooth_s``: time
    constant of its smoothing.  ``peaks``: share of quick changes that it shows (1: all).
    ``noise_bpm``: SD of its error in moderate work, correlated over some 10 s.
    ``tells_contact``: whether its payloads carry contact bits.  ``band_bpm``: the shown value moves
    only when the belief has left it by more than this.  ``rr_left_out``: share of the beats that
    its RR leave out; ``None`` for a sensor without RR.
    """

    period_s: float = 1.0
    delay_s: float = 1.5
    smooth_s: float = 3.0
    peaks: float = 1.0
    noise_bpm: float = 1.5
    jitter_s: float = 0.05
    tells_contact: bool = True
    band_bpm: float = 0.0
    rr_left_out: float | None = None

    body_location: int = 2
    model: str = "optical sensor"

    def readings(
        self, world: World, noise: Noise, troubles: Troubles, start_s: float, end_s: float
    ) -> Iterator[tuple[float, str, bytes]]:
        """Time in s, channel and payload of each notification between two seconds."""
        tracker = _PulseTracker(self, world, noise, troubles, start_s)
        pulse = _Pulse(world, noise, self.rr_left_out, start_s)
        send_s = start_s
        step = int(start_s / STEP_S)
        while send_s < end_s:
            while step * STEP_S <= send_s:
                tracker.step(step * STEP_S)
                step += 1
            worn = troubles.at(send_s, TroubleKind.NO_CONTACT) is None
            looks = troubles.at(send_s, TroubleKind.ACQUIRING)
            bpm = tracker.bpm if looks is None else int(looks.strength)
            rr = pulse.intervals_until(send_s) if worn and looks is None else ()
            yield (
                send_s + noise.uniform(0.004, self.jitter_s),
                HEART_RATE,
                encode_heart_rate(
                    bpm if worn else 0, contact=worn if self.tells_contact else None, rr=rr
                ),
            )
            send_s += self.period_s


class _PulseTracker:
    """What the sensor believes the pulse to be."""

    def __init__(
        self, build: Optical, world: World, noise: Noise, troubles: Troubles, start_s: float
    ) -> None:
        self._build = build
        self._world = world
        self._troubles = troubles
        self._error = SlowNoise(noise, 10.0, STEP_S)
        self._takes_in = min(STEP_S / build.smooth_s, 1.0)
        self._is_led_astray = any(troubles.of(kind) for kind in _LEAD_ASTRAY)
        self._quick = self._slow = world.rate.at(start_s - build.delay_s)
        self._seen = self._quick
        self._wrong = 0.0
        self._trouble: Trouble | None = None
        self._held = self._seen
        self._shown = self._seen
        self._low = 0.0

    @property
    def bpm(self) -> int:
        """The belief in whole bpm, where it has left what was shown by the band."""
        if abs(self._seen - self._shown) > self._build.band_bpm:
            self._shown = self._seen
        return min(max(int(self._shown + 0.5), 30), 230)

    def step(self, t_s: float) -> None:
        """Take in the light of one more step."""
        build = self._build
        true = self._world.rate.at(t_s - build.delay_s)
        self._quick += (true - self._quick) * self._takes_in
        self._slow += (true - self._slow) * STEP_S / _BLUNT_S
        right = self._slow + build.peaks * (self._quick - self._slow)
        work = self._world.script.at(t_s).intensity
        error = build.noise_bpm * (0.4 + work) * self._error.step()
        if not self._is_led_astray:
            self._seen = right + error
            return
        slipped = self._slipped(t_s, right)
        self._seen = right + slipped * (self._rhythm(t_s, right) - right)
        # A rhythm of the movement is taken more surely than a pulse.
        self._seen += error * (1 - 0.7 * slipped * self._on_cadence)
        cold = self._troubles.at(t_s, TroubleKind.COLD_HANDS)
        low = 0.0 if cold is None else _COLD_BPM * cold.strength
        self._low += (low - self._low) * STEP_S / _TAKEN_IN_S
        self._seen -= self._low

    def _slipped(self, t_s: float, right: float) -> float:
        """How far the sensor has slipped on to the wrong rhythm, 0 to 1."""
        trouble = self._troubles.at(t_s, TroubleKind.ON_CADENCE, TroubleKind.MISSED_EFFORT)
        if trouble is not None and trouble is not self._trouble:
            self._held = right
            self._trouble = trouble
        toward = 0.0 if trouble is None else 1.0
        self._wrong += (toward - self._wrong) * STEP_S / _TAKEN_IN_S
        return self._wrong

    @property
    def _on_cadence(self) -> bool:
        return self._trouble is not None and self._trouble.kind is TroubleKind.ON_CADENCE

    def _rhythm(self, t_s: float, right: float) -> float:
        """The wrong rhythm itself."""
        if self._trouble is None:
            return right
        if self._trouble.kind is TroubleKind.ON_CADENCE:
            return self._trouble.strength * self._world.cadence.at(t_s)
        return self._held + _FOLLOWS_STILL * (right - self._held)


class _Pulse:
    """RR of the pulse at the skin, without the beats that could not be placed."""

    def __init__(self, world: World, noise: Noise, left_out: float | None, start_s: float) -> None:
        self._beats_ns = world.beats_ns
        self._noise = noise
        self._left_out = left_out
        self._next = world.beats_ns.first_from(round(start_s * 1e9)) + 1

    def intervals_until(self, t_s: float) -> list[int]:
        """Intervals in 1/1024 s that ended since the last call; a pulse comes 0.25 s late."""
        found: list[int] = []
        if self._left_out is None:
            return found
        until_ns = round((t_s - 0.25) * 1e9)
        while self._beats_ns.reaches(self._next) and self._beats_ns[self._next] <= until_ns:
            whole = self._beats_ns[self._next] - self._beats_ns[self._next - 1]
            self._next += 1
            if not self._noise.chance(self._left_out):
                ticks = whole * RR_PER_S / 1e9 + self._noise.normal(8.0)
                found.append(max(int(ticks + 0.5), 1))
        return found
