"""Who is a node at a broker, and whom it listens to."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import NamedTuple

from live.sources.base import CaptureClock
from live.sources.node import wire
from live.sources.node.connection import Connection
from replay.broker import Broker
from replay.errors import SidebeatError
from replay.link_state import LinkState
from replay.plan import PlannedSensor

Changed = Callable[[dict[str, wire.State]], None]


class NodeSensorFound(NamedTuple):
    """A sensor, and the node that listens to it; ``online``: the node is there now."""

    node: str
    online: bool
    sensor: wire.NodeSensor

    def planned(self) -> PlannedSensor:
        """As a sensor of a plan."""
        one = self.sensor
        return PlannedSensor(
            label=one.label,
            role=one.role if one.role in {"reference", "companion"} else "test",
            placement=one.placement,
            source="node",
            node=self.node,
            address=one.address,
            name="" if one.address else one.name,
            kind=one.kind,
        )

    def row(self) -> dict[str, object]:
        """The same as a table of a plan, as far as it says anything."""
        one = self.planned()
        keys = ("label", "role", "placement", "source", "node", "address", "name", "kind")
        return {key: getattr(one, key) for key in keys if getattr(one, key)}

    def facts(self) -> dict[str, object]:
        """The same for scripts."""
        one = self.sensor
        return {
            "node": self.node,
            "online": self.online,
            "label": one.label,
            "address": one.address,
            "name": one.name,
            "placement": one.placement,
            "role": one.role,
            "kind": one.kind,
        }


class _NoClock:
    def now_ns(self) -> int:
        return 0


async def watch_nodes(
    to: Broker, changed: Changed, problem: Callable[[str], None], clock: CaptureClock | None = None
) -> None:
    """Listen until cancelled; ``changed`` is given the newest state of each node by its name."""
    states: dict[str, wire.State] = {}

    def hear(_t_ns: int, topic: str, payload: bytes, _retained: bool) -> None:
        try:
            states[wire.node_of(topic)] = wire.read_state(payload)
        except wire.WireError:
            return
        changed(dict(states))

    def told(_state: LinkState, sentence: str) -> None:
        problem(sentence)

    topics = [f"{wire.PREFIX}/+/state"]
    await Connection(to, topics, hear=hear, changed=told).run(clock or _NoClock())


async def nodes_in_reach(to: Broker, seconds: float) -> list[NodeSensorFound]:
    """All sensors of the nodes at a broker.  Raises :class:`SidebeatError` if it cannot be had."""
    found: dict[str, wire.State] = {}
    problems = [""]
    with_time = asyncio.timeout(seconds)
    try:
        async with with_time:
            await watch_nodes(to, found.update, problems.append)
    except TimeoutError:
        if not with_time.expired():
            raise
    if problems[-1]:
        raise SidebeatError(problems[-1])
    return sensors_of(found)


def sensors_of(states: dict[str, wire.State]) -> list[NodeSensorFound]:
    """One row for each sensor, by name of node and number; a node that is off tells of none."""
    return [
        NodeSensorFound(name, state.online, sensor)
        for name, state in sorted(states.items())
        if state.online
        for sensor in state.sensors
    ]
