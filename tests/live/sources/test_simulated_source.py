"""Rules of the source that plays simulated sensors."""

from __future__ import annotations

import asyncio
import selectors
from dataclasses import replace

import pytest

from live.simulated import simulate
from live.sources.simulated import SimulatedSource, plan_with_invention_marked
from replay import event
from replay.errors import PlanError
from replay.event import NS_PER_S, Event
from replay.plan import Plan, PlannedSensor

PLAN = Plan(
    wearer="W2",
    activity="kettlebell sets",
    sensors=(
        PlannedSensor(label="Yarrow", role="reference", source="simulated", kind="strap"),
        PlannedSensor(label="Elsewhere", role="test", source="bluetooth", name="E"),
        PlannedSensor(label="Bracken", role="test", source="simulated", kind="arm-late"),
    ),
    invented=True,
)


class _NoWaiting(selectors.DefaultSelector):
    """Lets the loop's time pass instead of waiting for it."""

    passed_s = 0.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        self.passed_s += timeout or 0.0
        return super().select(0)


class _Loop(asyncio.SelectorEventLoop):
    """A loop, and the clock of a capture, on time that passes at once."""

    def __init__(self) -> None:
        self._waits = _NoWaiting()
        super().__init__(self._waits)

    def time(self) -> float:
        return self._waits.passed_s

    def now_ns(self) -> int:
        return 5 * NS_PER_S + round(self.time() * NS_PER_S)


def _played(source: SimulatedSource, seconds: float, connect: int | None = None) -> list[Event]:
    """What a source emits in this time; after 10 s the tester may ask for a sensor."""
    heard: list[Event] = []

    def emit(t_ns: int, sensor: int, channel: str, payload: bytes) -> None:
        heard.append(Event(t_ns, sensor, channel, payload))

    async def play() -> None:
        loop = asyncio.get_running_loop()
        assert isinstance(loop, _Loop)
        task = asyncio.create_task(source.run(loop, emit))
        await asyncio.sleep(10)
        if connect is not None:
            source.connect(connect)
        await asyncio.sleep(seconds - 10)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task

    with asyncio.Runner(loop_factory=_Loop) as runner:
        runner.run(play())
    return heard


def _first_reading_s(events: list[Event], sensor: int) -> float:
    return next(
        one.t_ns / NS_PER_S - 5
        for one in events
        if one.sensor == sensor and one.channel == event.HEART_RATE
    )


def test_plays_what_the_simulation_makes():
    """The source emits the events of the simulation in order, each at its time."""
    heard = _played(SimulatedSource(PLAN, duration_s=300), 200)
    made = [one for one in simulate(PLAN, 300) if one.sensor and one.t_ns < 200 * NS_PER_S]
    assert [one[1:] for one in heard[:-2]] == [one[1:] for one in made]
    late_ns = [
        one.t_ns - 5 * NS_PER_S - two.t_ns for one, two in zip(heard[:-2], made, strict=True)
    ]
    assert min(late_ns) >= 0
    assert max(late_ns) < 1_000_000
    assert {one.sensor for one in heard} == {1, 3}


def test_speed_shortens_the_waits():
    """At speed 10 ten minutes of the sensors' lives pass in one of the capture clock."""
    heard = _played(SimulatedSource(PLAN, 10.0, duration_s=800), 60)
    made = [one for one in simulate(PLAN, 800) if one.sensor and one.t_ns < 600 * NS_PER_S]
    assert len(heard) - 2 == pytest.approx(len(made), abs=2)


def test_stops_every_link_when_cancelled():
    """Cancelled, before or after its sensors' end, it leaves the link of each stopped once."""
    for seconds in (60, 400):
        heard = _played(SimulatedSource(PLAN, duration_s=300), seconds)
        stops = [(one.sensor, one.t_ns) for one in heard if one.payload == b"stopped"]
        assert stops == [(1, (seconds + 5) * NS_PER_S), (3, (seconds + 5) * NS_PER_S)]
        assert heard[-2:] == [one for one in heard if one.payload == b"stopped"]


def test_connect_switches_a_late_sensor_on():
    """A sensor that would be started late joins at once when it is asked for."""
    asked = _played(SimulatedSource(PLAN, duration_s=300), 200, connect=3)
    assert _first_reading_s(_played(SimulatedSource(PLAN, duration_s=300), 200), 3) > 90
    assert 10 < _first_reading_s(asked, 3) < 15


def test_connect_leaves_others_alone():
    """Asking for a sensor that streams, or is not simulated, changes nothing."""
    heard = _played(SimulatedSource(PLAN, duration_s=300), 100)
    for sensor in (1, 2):
        assert _played(SimulatedSource(PLAN, duration_s=300), 100, connect=sensor) == heard


def test_invention_must_be_marked():
    """A plan with simulated sensors is refused unless it says that its data are invented."""
    unmarked = replace(PLAN, invented=False)
    with pytest.raises(PlanError, match="must be true"):
        SimulatedSource(unmarked)
    assert plan_with_invention_marked(unmarked) == PLAN
    real = replace(unmarked, sensors=(replace(PLAN.sensors[1], role="reference"),))
    assert plan_with_invention_marked(real) is real


def test_one_that_joins_does_so_at_the_pace_of_the_others():
    """At speed 4 it joins the sensors' lives where they are, four times as far as the clock."""
    heard = _played(SimulatedSource(PLAN, 4.0, duration_s=800), 40, connect=3)
    first_s = _first_reading_s(heard, 3)
    assert 10 < first_s < 15
    soon = [
        one for one in heard
        if one.sensor == 3 and one.channel == event.HEART_RATE
        and one.t_ns < (5 + first_s + 2) * NS_PER_S
    ]  # fmt: skip
    assert 6 <= len(soon) <= 10
