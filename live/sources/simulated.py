"""Simulated sensors as a source: practice without hardware, at the pace of life."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace

from live.simulated.script import script_for
from live.simulated.session import sensor_events, usual_troubles
from live.simulated.troubles import TroubleKind
from live.simulated.world import make_world
from live.sources.base import CaptureClock, Emit
from replay.errors import PlanError
from replay.event import LINK, NS_PER_S, Event
from replay.link_state import LinkState
from replay.plan import Plan

PRACTICE_S = 4 * 3600.0
"""How long the simulated sensors go on; the activity's script is repeated until then."""

_STOPPED = LinkState.STOPPED.value.encode()
_ON_OFFER = frozenset({LinkState.SEARCHING.value.encode(), LinkState.LOST.value.encode()})


def plan_with_invention_marked(plan: Plan) -> Plan:
    """The plan, marked as invented if any of its sensors is simulated, here or at a node."""
    if any(sensor.kind for sensor in plan.sensors):
        return replace(plan, invented=True)
    return plan


class SimulatedSource:
    """Plays the simulated sensors of a plan in real time.

    ``speed``: for tests; above 1 the sensors live faster than the capture clock, so that their
    RR no longer fit the time that passes.  Stamps are always those of the capture clock.
    Raises :class:`PlanError` for an unknown kind or activity, or if the plan is not marked as
    invented: simulated readings must never be taken for somebody's heart.
    """

    def __init__(self, plan: Plan, speed: float = 1.0, *, duration_s: float = PRACTICE_S) -> None:
        if not plan.invented:
            raise PlanError(
                "session.invented", "must be true when a sensor is simulated", plan.invented
            )
        self._plan = plan
        self._speed = speed
        # Drawn while serving, a second or so at a time: hours at once would delay the start.
        self._world = make_world(plan, script_for(plan.activity).lasting(duration_s), duration_s)
        self._wake = {
            number: asyncio.Event()
            for number, sensor in enumerate(plan.sensors, 1)
            if sensor.source == "simulated"
        }
        self._troubles = {n: usual_troubles(plan, n, self._world) for n in self._wake}

    async def run(self, clock: CaptureClock, emit: Emit) -> None:
        """Serve until cancelled."""
        begin_ns = clock.now_ns()
        try:
            async with asyncio.TaskGroup() as tasks:
                for number in self._wake:
                    tasks.create_task(self._serve(number, clock, emit, begin_ns))
            await asyncio.Event().wait()
        finally:
            for number in self._wake:
                emit(clock.now_ns(), number, LINK, _STOPPED)

    def connect(self, sensor: int) -> None:
        """Switch this sensor on, or bring it back into reach, at once."""
        if sensor in self._wake:
            self._wake[sensor].set()

    async def _serve(self, number: int, clock: CaptureClock, emit: Emit, begin_ns: int) -> None:
        stream = self._stream(number, 0.0)
        state = b""
        while (event := next(stream, None)) is not None:
            due_ns = begin_ns + round(event.t_ns / self._speed)
            if await self._asked_before(due_ns, number, clock, state in _ON_OFFER):
                now_s = (clock.now_ns() - begin_ns) * self._speed / NS_PER_S
                stream = self._stream(number, now_s)
                continue
            t_ns = clock.now_ns()
            if event.channel == LINK:
                state = event.payload
                if state == _STOPPED:
                    return
            emit(t_ns, number, event.channel, event.payload)

    async def _asked_before(
        self, due_ns: int, number: int, clock: CaptureClock, on_offer: bool
    ) -> bool:
        """Wait until ``due_ns``, or until the tester asks for a sensor that can be had."""
        wake = self._wake[number]
        while (wait_ns := due_ns - clock.now_ns()) > 0:
            with suppress(TimeoutError):
                async with asyncio.timeout(wait_ns / NS_PER_S):
                    await wake.wait()
                wake.clear()
                if on_offer:
                    return True
        return False

    def _stream(self, number: int, join_s: float) -> Iterator[Event]:
        """The sensor's events if it is switched on, or looked for, from ``join_s`` on."""
        troubles = [
            trouble
            for trouble in self._troubles[number]
            if join_s == 0
            or (trouble.kind is not TroubleKind.LATE_START and trouble.end_s > join_s)
        ]
        return sensor_events(self._plan, number, self._world, troubles=troubles, join_s=join_s)
