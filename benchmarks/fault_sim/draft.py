"""A drawn session before its faults: wearer, workout and sensors, all from one seed."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from benchmarks.fault_sim.faults import Fault
from benchmarks.fault_sim.packets import (
    Packet,
    StrapBuild,
    optical_packets,
    strap_packets,
    true_beats,
)
from benchmarks.fault_sim.wire import Quirks, Row, as_events, draw_quirks, encoded, linked
from benchmarks.fault_sim.workouts import draw_workout
from live.simulated.counter import StepCounter, StrokeCounter
from live.simulated.noise import Noise
from live.simulated.optical import Optical
from live.simulated.session import session_events
from live.simulated.troubles import Troubles
from live.simulated.world import World, make_world
from replay import event
from replay.event import NS_PER_S, Event
from replay.plan import Plan, PlannedSensor

STARTED_UTC_NS = 1_772_604_900 * NS_PER_S
STEPPING = ("intervals", "running", "stairs")


@dataclass
class Sensor:
    """One heart-rate sensor of a drawn session, and what it will send."""

    number: int
    strap: StrapBuild | None
    optical: Optical | None
    quirks: Quirks
    beats: list[float] | None
    packets: list[Packet]
    asked_s: float = 0.0
    away: list[tuple[float, float]] = field(default_factory=list)
    silent: list[tuple[float, float]] = field(default_factory=list)
    identity: str = ""
    same_as: int | None = None
    """Number of the sensor that it is, planned twice."""
    spoken_for: bool = False
    """Has a fault that lasts the whole session; no other is put upon it."""

    @property
    def sends_rr(self) -> bool:
        """Whether its packets carry RR."""
        return any(packet.rr is not None for packet in self.packets[:10])


@dataclass(frozen=True)
class Session:
    """A drawn session: the events in order, and the faults in them."""

    seed: int
    plan: Plan
    duration_s: float
    events: list[Event]
    faults: tuple[Fault, ...]


class Draft:
    """A session while it is being drawn."""

    def __init__(self, seed: int, duration_s: float) -> None:
        self.noise = Noise(seed, 100)
        self.duration_s = duration_s
        self.activity, script = draw_workout(self.noise, duration_s)
        self.faults: list[Fault] = []
        self.about_session: list[Event] = []
        self.disk_full_s = duration_s
        base = Plan(
            wearer=f"S{seed}"[:16],
            activity=self.activity,
            sensors=(PlannedSensor(label="x", role="reference", name="x"),),
            invented=True,
            seed=seed,
        )
        self.world: World = make_world(base, script, duration_s)
        self.beats = true_beats(self.world, Noise(seed, 101), self.noise.uniform(0, 8))
        self.sensors = [self._reference(Noise(seed, 110))]
        count = 2 + int(self.noise.uniform(0, 3))
        self.sensors += [
            self._test(number, Noise(seed, 110 + number)) for number in range(2, count + 2)
        ]
        self.counts = self.world.script.phases[0].cadence > 0 and self.noise.chance(0.65)
        self.base = base

    @property
    def reference(self) -> Sensor:
        """The first sensor."""
        return self.sensors[0]

    @property
    def tests(self) -> list[Sensor]:
        """The other sensors."""
        return self.sensors[1:]

    def true_bpm(self, t_s: float) -> float:
        """The heart rate."""
        return self.world.rate.at(t_s)

    def off(self, value: float, t_s: float) -> bool:
        """Whether a value is outside the plan's tolerance of the heart rate."""
        bpm = self.true_bpm(t_s)
        return abs(value - bpm) > max(
            self.base.tolerance_bpm, bpm * self.base.tolerance_percent / 100
        )

    def _reference(self, noise: Noise) -> Sensor:
        build = StrapBuild(
            period_s=(1.0, 1.0, 0.998, 0.75, 1.01)[int(noise.uniform(0, 5))],
            beats=3 + int(noise.uniform(0, 8)),
            by_median=noise.chance(0.5),
            sends_rr=noise.chance(0.85),
        )
        start_s = noise.uniform(0.5, 5)
        return Sensor(
            number=1,
            strap=build,
            optical=None,
            quirks=draw_quirks(noise, strap=True),
            beats=self.beats,
            packets=strap_packets(build, self.beats, start_s, self.duration_s, self.true_bpm(0)),
            identity=f"strap-{noise.uniform():.6f}",
        )

    def _test(self, number: int, noise: Noise) -> Sensor:
        build = Optical(
            period_s=(0.25, 0.5, 1.0, 1.0, 1.0, 1.2, 2.0)[int(noise.uniform(0, 7))],
            delay_s=noise.uniform(0.5, 3),
            smooth_s=noise.uniform(1, 4),
            peaks=noise.uniform(0.94, 1.0),
            noise_bpm=noise.uniform(0.6, 1.8),
            jitter_s=noise.uniform(0.02, 0.12),
        )
        beats = self.beats if noise.chance(0.25) else None
        quirks = draw_quirks(noise, strap=False)
        if quirks.as_text:
            beats = None
        return Sensor(
            number=number,
            strap=None,
            optical=build,
            quirks=quirks,
            beats=beats,
            packets=optical_packets(
                build, self.world, noise, (noise.uniform(0.5, 6), self.duration_s), beats=beats
            ),
            identity=f"optical-{noise.uniform():.6f}",
        )

    def finish(self, seed: int) -> Session:
        """The events and faults of the session as drawn."""
        events = [
            one
            for one in session_events(self.duration_s, STARTED_UTC_NS)
            if one.channel != event.DISK or one.t_ns < self.disk_full_s * 1e9
        ]
        events += self.about_session
        sent: dict[int, list[Row]] = {}
        for sensor in self.sensors:
            noise = Noise(seed, 200 + sensor.number)
            if sensor.same_as is None:
                rows = encoded(sensor.packets, sensor.quirks, noise)
                sent[sensor.number] = rows
            else:
                rows = [
                    (t_s + noise.uniform(0, 0.03), channel, payload)
                    for t_s, channel, payload in sent[sensor.same_as]
                ]
            events += as_events(
                linked(
                    rows,
                    noise,
                    identity="" if sensor.quirks.as_text else sensor.identity,
                    asked_s=sensor.asked_s,
                    away=sensor.away,
                    silent=sensor.silent,
                ),
                sensor.number,
            )
        planned = [self._planned(sensor) for sensor in self.sensors]
        if self.counts:
            device = StepCounter() if self.activity in STEPPING else StrokeCounter()
            noise = Noise(seed, 300)
            counted = device.readings(self.world, noise, Troubles(), 2.0, self.duration_s)
            events += as_events(
                linked(list(counted), noise, identity="counter", asked_s=0.0), len(planned) + 1
            )
            planned.append(PlannedSensor(label="Counter", role="companion", name="Counter"))
        events = [one for one in events if one.t_ns <= self.duration_s * 1e9]
        events.sort(key=lambda one: one.t_ns)
        return Session(
            seed,
            replace(self.base, sensors=tuple(planned)),
            self.duration_s,
            events,
            tuple(self.faults),
        )

    def _planned(self, sensor: Sensor) -> PlannedSensor:
        text = sensor.quirks.as_text
        return PlannedSensor(
            label=f"Sensor {sensor.number}",
            role="reference" if sensor.number == 1 else "test",
            source="mqtt" if text else "bluetooth",
            name="" if text else f"Sensor {sensor.number}",
            topic=f"bench/{sensor.number}" if text else "",
        )
