"""Sensors whose readings come over MQTT: one planned topic is one sensor.

A message that the broker had stored (*retained*) is not a reading of this moment: it may be
seconds or days old, and MQTT does not say.  It is left out, counted, and the tester is told.
Only the copy sent upon subscribing carries that mark; a sensor that publishes with the retain
flag is heard normally.

A message that the broker delivers once more on one connection (*DUP*) is no second reading: it is
kept as a doubled notification, like those of Bluetooth.
"""

from __future__ import annotations

import asyncio
import contextlib
from typing import Final

import aiomqtt
import paho.mqtt.client as paho

from live.sources import broker
from live.sources.attempt import Attempt
from live.sources.base import CaptureClock, Emit
from live.sources.kept_client import REFUSED_WAIT_S, KeptClient
from live.sources.mqtt_topic import Topic
from replay.broker import Broker
from replay.link_state import LinkState
from replay.plan import Plan

REMEMBERED: Final = 64
"""Messages of a connection that are known again when they are delivered once more; a broker has 20
or so on their way at a time."""
AT_LEAST_ONCE: Final = 1
"""The broker then holds messages for a connection that is slow for a moment, and drops none."""


class MqttSource:
    """All MQTT sensors of a plan, over one connection to the plan's broker.

    Raises :class:`~replay.errors.PlanError` for what can be known beforehand: a password variable
    that is not set, an impossible port, a certificate that cannot be read.
    """

    def __init__(self, plan: Plan) -> None:
        self._broker = plan.broker or Broker()
        self._topics: dict[str, Topic] = {}
        for number, sensor in enumerate(plan.sensors, 1):
            if sensor.source != "mqtt":
                continue
            self._topics[sensor.topic] = Topic(number, sensor)
        self._deliveries = Deliveries()
        self._kept = KeptClient(self._broker, self, prepared=self._prepare)

    def connect(self, sensor: int) -> None:
        """Try the broker, or a refused topic, again at once."""
        if any(topic.number == sensor for topic in self._topics.values()):
            self._kept.hurry.set()

    async def run(self, clock: CaptureClock, emit: Emit) -> None:
        """Serve until cancelled; then leave the broker in good order."""
        for topic in self._topics.values():
            topic.begin(clock, emit)
        watching = asyncio.ensure_future(self._watch())
        try:
            await self._kept.run(clock)
        finally:
            watching.cancel()
            await asyncio.gather(watching, return_exceptions=True)
            for topic in self._topics.values():
                topic.enter(LinkState.STOPPED)

    def _prepare(self, client: Attempt) -> None:
        self._deliveries = Deliveries()
        client.before_message(self._deliveries.look)

    async def joined(self, client: aiomqtt.Client) -> None:
        """As :class:`~live.sources.kept_client.Owner` says."""
        await self._subscribe(client, list(self._topics.values()))

    def lost(self, state: LinkState, sentence: str) -> None:
        """As :class:`~live.sources.kept_client.Owner` says."""
        for topic in self._topics.values():
            topic.lose(state, sentence)

    def hear(self, t_ns: int, message: aiomqtt.Message) -> None:
        """As :class:`~live.sources.kept_client.Owner` says."""
        topic = self._topics.get(str(message.topic))
        if topic is not None:
            payload = bytes(message.payload or b"")
            if self._deliveries.is_repeat:
                topic.hear_again(t_ns, payload)
            else:
                topic.hear(t_ns, payload, stored=bool(message.retain))

    async def _subscribe(self, client: aiomqtt.Client, topics: list[Topic]) -> None:
        for topic in topics:
            topic.enter(LinkState.SEARCHING)
        granted = await client.subscribe([(topic.sensor.topic, AT_LEAST_ONCE) for topic in topics])
        for topic, code in zip(topics, granted, strict=True):
            if broker.is_refusal(code):
                topic.enter(
                    LinkState.REFUSED, broker.may_not_read(self._broker, topic.sensor.topic)
                )
            elif topic.state is LinkState.SEARCHING:  # no message came with the answer
                topic.wait()

    async def _watch(self) -> None:
        """See topics fall quiet, and ask again for refused ones, slowly or when told to."""
        waited_s = 0.0
        while True:
            await asyncio.sleep(1.0)
            waited_s += 1.0
            for topic in self._topics.values():
                topic.check_quiet()
            client = self._kept.client
            refused = [t for t in self._topics.values() if t.state is LinkState.REFUSED]
            if client is None or not refused:
                continue
            if waited_s >= REFUSED_WAIT_S or self._kept.hurry.is_set():
                self._kept.hurry.clear()
                waited_s = 0.0
                with contextlib.suppress(aiomqtt.MqttError):  # the kept client meets it as well
                    await self._subscribe(client, refused)


class Deliveries:
    """Knows what is delivered once more on one connection: same number, topic and payload, and the
    broker says so.

    What it says so of without having delivered it is taken: better twice than not at all.
    ``is_repeat``: of the message that was last looked at.
    """

    def __init__(self) -> None:
        self.is_repeat = False
        self._known: dict[int, tuple[str, bytes]] = {}

    def __len__(self) -> int:
        """How many messages are remembered."""
        return len(self._known)

    def look(self, message: paho.MQTTMessage) -> None:
        """Look at a message before it is delivered."""
        self.is_repeat = False
        if message.qos == 0:  # has no number
            return
        delivered = (message.topic, bytes(message.payload))
        self.is_repeat = message.dup and self._known.get(message.mid) == delivered
        self._known.pop(message.mid, None)
        self._known[message.mid] = delivered
        if len(self._known) > REMEMBERED:
            del self._known[next(iter(self._known))]
