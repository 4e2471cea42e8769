"""Simulated companions that count the movement: strokes of an ergometer, steps of a foot."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from live.simulated.noise import Noise
from live.simulated.troubles import Troubles
from live.simulated.wearer import STEP_S
from live.simulated.world import World
from replay.event import CYCLING, RUNNING


@dataclass(frozen=True, slots=True)
class StrokeCounter:
    """Sends 2A5B: strokes so far as crank revolutions, with the time of the last in 1/1024 s."""

    period_s: float = 1.0
    jitter_s: float = 0.03

    body_location: int | None = None
    model: str = "stroke counter"

    def readings(
        self,
        world: World,
        noise: Noise,
        troubles: Troubles,  # noqa: ARG002 - nothing happens to a counter
        start_s: float,
        end_s: float,
    ) -> Iterator[tuple[float, str, bytes]]:
        """Time in s, channel and payload of each notification between two seconds."""
        strokes = noise.uniform()
        whole, last_s = 0, start_s
        now_s = send_s = start_s
        while send_s < end_s:
            while now_s < send_s:
                per_s = world.cadence.at(now_s) / 60.0
                if strokes + per_s * STEP_S >= whole + 1:
                    last_s = now_s + (whole + 1 - strokes) / per_s
                    whole += 1
                strokes += per_s * STEP_S
                now_s += STEP_S
            ticks = int((last_s - start_s) * 1024)
            payload = struct.pack("<BHH", 0x02, whole & 0xFFFF, ticks & 0xFFFF)
            yield send_s + noise.uniform(0.004, self.jitter_s), CYCLING, payload
            send_s += self.period_s


@dataclass(frozen=True, slots=True)
class StepCounter:
    """Sends 2A53: steps a minute, and a speed that goes with them."""

    period_s: float = 1.0
    jitter_s: float = 0.03
    step_m: float = 0.75

    body_location: int | None = None
    model: str = "step counter"

    def readings(
        self,
        world: World,
        noise: Noise,
        troubles: Troubles,  # noqa: ARG002 - nothing happens to a counter
        start_s: float,
        end_s: float,
    ) -> Iterator[tuple[float, str, bytes]]:
        """Time in s, channel and payload of each notification between two seconds."""
        send_s = start_s
        while send_s < end_s:
            steps = world.cadence.at(send_s)
            speed = min(int(steps / 60.0 * self.step_m * 256), 0xFFFF)
            runs = 0x04 if steps >= 140 else 0x00
            payload = struct.pack("<BHB", runs, speed, min(int(steps + 0.5), 255))
            yield send_s + noise.uniform(0.004, self.jitter_s), RUNNING, payload
            send_s += self.period_s
