"""All sensors of a plan that nodes listen to, as one source of events."""

from __future__ import annotations

import asyncio
import logging
import secrets
from typing import Final

from live.sources.base import BoundedTranslation, CaptureClock, Emit
from live.sources.node import wire
from live.sources.node.connection import Connection
from live.sources.node.followed import FollowedNode
from live.sources.tasks import until_one_fails
from replay.broker import Broker
from replay.link_state import LinkState
from replay.plan import Plan

OFTEN_S: Final = 0.1
"""Between two questions while a node's clock is not known."""
SELDOM_S: Final = 1.0

_log = logging.getLogger(__name__)


class NodeSource:
    """Implements :class:`live.sources.base.Source` for the sensors with source ``node``.

    Raises :class:`~replay.errors.PlanError` for what can be known of the broker beforehand.
    """

    def __init__(self, plan: Plan) -> None:
        self._reader = secrets.token_hex(8)
        self._nodes = {
            name: FollowedNode(
                name,
                {
                    number: sensor
                    for number, sensor in enumerate(plan.sensors, 1)
                    if sensor.source == "node" and sensor.node == name
                },
                self._reader,
            )
            for name in plan.nodes
        }
        self._owner = {
            number: sensor.node
            for number, sensor in enumerate(plan.sensors, 1)
            if sensor.source == "node"
        }
        self._hurry = {name: asyncio.Event() for name in self._nodes}
        self.refused = 0
        """Messages that made no sense."""
        self._connection = Connection(
            plan.broker or Broker(),
            [
                wire.topic(name, what)
                for name in self._nodes
                for what in ("state", "events", f"answer/{self._reader}")
            ],
            hear=self._hear,
            changed=self._changed,
        )

    @property
    def translations(self) -> dict[str, BoundedTranslation]:
        """What is known of the nodes' clocks, by name: to the clock that ``run`` was given."""
        return {
            clock: found
            for node in self._nodes.values()
            for clock, found in node.translations.items()
        }

    def connect(self, sensor: int) -> None:
        """Try the broker, and the sensor at its node, again at once; ignored if it is not ours."""
        if sensor in self._owner:
            self._connection.hurry()
            self._nodes[self._owner[sensor]].try_again(sensor)
            self._hurry[self._owner[sensor]].set()

    async def run(self, clock: CaptureClock, emit: Emit) -> None:
        """Serve until cancelled."""
        self._clock = clock
        for node in self._nodes.values():
            node.begin(clock.now_ns(), emit)
        tasks = [
            asyncio.ensure_future(self._connection.run(clock)),
            *(asyncio.ensure_future(self._ask(node)) for node in self._nodes.values()),
        ]
        try:
            await until_one_fails(tasks)
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            for node in self._nodes.values():
                node.lose(clock.now_ns(), LinkState.STOPPED, "")

    async def _ask(self, node: FollowedNode) -> None:
        """Ask a node, again and again, what its clock shows and how far it is."""
        hurry = self._hurry[node.name]
        while True:
            await self._connection.up.wait()
            ask = node.question(self._clock.now_ns())
            await self._connection.publish(wire.topic(node.name, "ask"), wire.pack_ask(ask))
            hurry.clear()
            try:
                async with asyncio.timeout(OFTEN_S if node.is_new else SELDOM_S):
                    await hurry.wait()
            except TimeoutError:
                node.check_silence(self._clock.now_ns())

    def _hear(self, t_ns: int, topic: str, payload: bytes, retained: bool) -> None:
        try:
            node = self._nodes[wire.node_of(topic)]
            if topic.endswith("/events"):
                if not retained and node.hear_events(t_ns, *wire.read_events(payload)):
                    self._hurry[node.name].set()
            elif topic.endswith("/state"):
                node.hear_state(t_ns, wire.read_state(payload), retained=retained)
                self._hurry[node.name].set()
            elif not retained and node.hear_answer(t_ns, wire.read_answer(payload)):
                self._hurry[node.name].set()
        except (wire.WireError, KeyError) as error:
            self.refused += 1
            if self.refused == 1:  # the rest is counted
                _log.warning("a message on %r is none of a node: %s", topic[:80], error)

    def _changed(self, state: LinkState, sentence: str) -> None:
        for node in self._nodes.values():
            if state is LinkState.STREAMING:
                node.wait(self._clock.now_ns())
                self._hurry[node.name].set()
            else:
                node.lose(self._clock.now_ns(), state, sentence)
