"""What all sensors of a simulated session feel: one heart, one movement."""

from __future__ import annotations

from dataclasses import dataclass

from live.simulated.drawn import Drawn
from live.simulated.lively import felt_rate, lively_beats
from live.simulated.noise import Noise
from live.simulated.script import Script
from live.simulated.wearer import Trace, Wearer, beat_times, cadence, heart_rate, wearer_for
from replay.plan import Plan


@dataclass(frozen=True, slots=True)
class World:
    """The truth of a session, which no sensor tells entirely, drawn as far as one has asked.

    ``rate``: heart rate in bpm; ``beats_ns``: times of the beats; ``cadence``: per minute.
    """

    wearer: Wearer
    script: Script
    duration_s: float
    rate: Trace
    beats_ns: Drawn[int]
    cadence: Trace


def make_world(plan: Plan, script: Script, duration_s: float) -> World:
    """The truth of a session of this length in seconds, drawn with the plan's seed.

    A lively heart beats around the rate that a steady one of the same seed keeps.
    """
    wearer = wearer_for(plan.wearer, plan.seed)
    rate = heart_rate(wearer, script, duration_s, Noise(plan.seed, 2))
    if plan.heart == "lively":
        beats_ns = Drawn(lively_beats(wearer, rate, duration_s, Noise(plan.seed, 5)))
        rate = felt_rate(beats_ns, duration_s)
    else:
        beats_ns = Drawn(beat_times(wearer, rate, duration_s, Noise(plan.seed, 3)))
    return World(
        wearer=wearer,
        script=script,
        duration_s=duration_s,
        rate=rate,
        beats_ns=beats_ns,
        cadence=cadence(script, duration_s, Noise(plan.seed, 4)),
    )
