"""A Bluetooth source at work in a test: its events, and waits on conditions instead of time."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType

from bleak.backends.bluezdbus import manager

from live.sources.bluetooth import BluetoothSource, Timing
from replay.event import ADVICE, HEART_RATE, LINK, Event
from replay.link_state import LinkState
from replay.plan import Plan, PlannedSensor

QUICK = Timing(
    scan_s=0.6,
    gather_s=0.1,
    patient_s=0.2,
    fresh_s=1.0,
    settle_s=0.15,
    twin_s=0.5,
    repin_s=0.3,
    unseen_s=0.5,
    adapter_poll_s=0.1,
    link_s=3.0,
    crowded_s=1.0,
    connect_s=3.0,
    call_s=2.0,
    disconnect_s=3.0,
    first_s=0.6,
    silence_s=0.5,
    idle_s=0.6,
    silence_most_s=1.0,
    retry_s=0.05,
    retry_most_s=0.2,
    refused_s=0.1,
    refused_most_s=0.2,
    full_s=0.1,
    full_most_s=0.2,
)
"""Short times; those that a fault waits for are short, those that bound a call stay long."""


def plan_of(*sensors: PlannedSensor) -> Plan:
    """A plan of these sensors."""
    return Plan(wearer="W1", activity="rowing ergometer", sensors=sensors)


def planned(
    label: str, address: str = "", *, role: str = "reference", **more: str
) -> PlannedSensor:
    """One planned Bluetooth sensor."""
    return PlannedSensor(label=label, role=role, address=address, **more)


class _Clock:
    def __init__(self) -> None:
        self._start_ns = time.monotonic_ns()

    def now_ns(self) -> int:
        return time.monotonic_ns() - self._start_ns


class Session:
    """Runs a source for the length of an ``async with``; ``events`` is all it emitted."""

    def __init__(self, plan: Plan, timing: Timing = QUICK) -> None:
        self.clock = _Clock()
        self.events: list[Event] = []
        self.source = BluetoothSource(plan, timing=timing, seed=1)
        self._task: asyncio.Task[None] | None = None

    async def __aenter__(self) -> Session:
        self._task = asyncio.create_task(self.source.run(self.clock, self._emit))
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        await self.stop()
        await release_bus()

    async def stop(self) -> None:
        """Cancel the source and wait until it has ended."""
        task, self._task = self._task, None
        if task is not None:
            task.cancel()
            with suppress(asyncio.CancelledError):
                await task

    def _emit(self, t_ns: int, sensor: int, channel: str, payload: bytes) -> None:
        self.events.append(Event(t_ns, sensor, channel, payload))

    def of(self, sensor: int, channel: str = HEART_RATE) -> list[bytes]:
        """Payloads of one sensor on one channel."""
        return [e.payload for e in self.events if e.sensor == sensor and e.channel == channel]

    def states(self, sensor: int = 1) -> list[LinkState]:
        """Link states of one sensor, in order."""
        return [LinkState(p.decode()) for p in self.of(sensor, LINK)]

    def state(self, sensor: int = 1) -> LinkState | None:
        """Newest link state of one sensor."""
        states = self.states(sensor)
        return states[-1] if states else None

    def advice(self, sensor: int = 1) -> str:
        """Everything the tester was told about one sensor."""
        return "\n".join(p.decode() for p in self.of(sensor, ADVICE))

    async def until(self, condition: Callable[[], object], what: str = "") -> None:
        """Wait until the condition holds; fails with the events so far if it never does."""
        if self._task is None:
            raise RuntimeError("the session has ended")
        end = time.monotonic() + 20
        while not condition():
            if self._task.done():
                await self._task
                raise AssertionError("the source returned")
            if time.monotonic() > end:
                told = [(e.sensor, e.channel, e.payload) for e in self.events[-30:]]
                raise AssertionError(f"never came true: {what}; last events: {told}")
            await asyncio.sleep(0.005)

    async def until_state(self, state: LinkState, sensor: int = 1) -> None:
        """Wait until a sensor's link is in this state."""
        await self.until(lambda: self.state(sensor) is state, f"sensor {sensor} {state}")

    async def until_after(self, count: int, state: LinkState, sensor: int = 1) -> None:
        """Wait until a sensor enters this state after its first ``count`` states."""
        await self.until(
            lambda: state in self.states(sensor)[count:], f"sensor {sensor} {state} again"
        )


async def release_bus() -> None:
    """Close the bus connection that bleak keeps for the life of an event loop."""
    # bleak has no other way to let go of it.
    held = manager._global_instances.pop(asyncio.get_running_loop(), None)  # noqa: SLF001
    bus = held._bus if held is not None else None  # noqa: SLF001
    if bus is not None:
        bus.disconnect()
        with suppress(Exception):
            await bus.wait_for_disconnect()
        await asyncio.sleep(0)
