"""Sensors whose readings come over MQTT: one planned topic is one sensor.

A message is stamped and passed on inside the client's own read callback: the queue that the
client library puts messages into is one of ours that keeps nothing (the stamp would otherwise
be as late as whoever empties the queue).

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
import logging
import random
import secrets
from collections.abc import Callable
from typing import Final

import aiomqtt
import paho.mqtt.client as paho

from live.sources import broker
from live.sources.base import CaptureClock, Emit
from live.sources.mqtt_topic import Topic
from replay.broker import Broker
from replay.event import NS_PER_S
from replay.link_state import LinkState
from replay.plan import Plan

FIRST_WAIT_S: Final = 0.5
LONGEST_WAIT_S: Final = 8.0
"""Between two attempts at a broker that is out of reach: a tester who switches it on should not
have to wait longer."""
REFUSED_WAIT_S: Final = 30.0
"""A refusal does not heal by itself; asking often would look like an attack."""
SETTLED_NS: Final = 10 * NS_PER_S
"""A connection that held this long was a good one: the next attempt begins with the short wait."""
REMEMBERED: Final = 64
"""Messages of a connection that are known again when they are delivered once more; a broker has 20
or so on their way at a time."""
AT_LEAST_ONCE: Final = 1
"""The broker then holds messages for a connection that is slow for a moment, and drops none."""

_log = logging.getLogger(__name__)


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
        self._password = broker.password_of(self._broker)
        self._tls = broker.tls_of(self._broker)
        self._identifier = f"sidebeat-{secrets.token_hex(4)}"
        self._version = broker.NEWEST
        self._deliveries = Deliveries()
        self._hurry = asyncio.Event()
        self._client: aiomqtt.Client | None = None

    def connect(self, sensor: int) -> None:
        """Try the broker, or a refused topic, again at once."""
        if any(topic.number == sensor for topic in self._topics.values()):
            self._hurry.set()

    async def run(self, clock: CaptureClock, emit: Emit) -> None:
        """Serve until cancelled; then leave the broker in good order."""
        for topic in self._topics.values():
            topic.begin(clock, emit)
        watching = asyncio.ensure_future(self._watch())
        try:
            await self._stay_connected(clock)
        finally:
            watching.cancel()
            await asyncio.gather(watching, return_exceptions=True)
            for topic in self._topics.values():
                topic.enter(LinkState.STOPPED)

    async def _stay_connected(self, clock: CaptureClock) -> None:
        wait_s = FIRST_WAIT_S
        while True:
            began_ns = clock.now_ns()
            client = self._new_client(clock)
            try:
                async with client:
                    await self._subscribe(client, list(self._topics.values()))
                    self._client = client
                    async for _ in client.messages:
                        pass  # never reached: the queue keeps nothing, see _queue_type
            except (aiomqtt.MqttError, OSError, ValueError) as error:
                _end_if_cancelled(error)
                if self._client is None and broker.may_be_older(error):
                    was_newest = self._version is broker.NEWEST
                    self._version = broker.OLDER if was_newest else broker.NEWEST
                    if was_newest and isinstance(error, aiomqtt.exceptions.MqttConnectError):
                        continue  # it says so itself: nothing is wrong with it yet
                state, sentence = await broker.understood(error, self._broker)
            finally:
                self._client = None
                broker.left(client)
            for topic in self._topics.values():
                topic.lose(state, sentence)
            if clock.now_ns() - began_ns > SETTLED_NS:
                wait_s = FIRST_WAIT_S
            if state is LinkState.REFUSED:
                wait_s = REFUSED_WAIT_S
            await self._pause(wait_s * random.uniform(0.8, 1.0))
            wait_s = min(wait_s * 2, LONGEST_WAIT_S)

    def _new_client(self, clock: CaptureClock) -> aiomqtt.Client:
        queue_type = _queue_type(clock, self._hear)
        client = broker.new_client(
            self._broker,
            self._identifier,
            self._password,
            self._tls,
            queue_type=queue_type,
            version=self._version,
        )
        self._deliveries = Deliveries()
        broker.before_message(client, self._deliveries.look)
        return client

    def _hear(self, t_ns: int, message: aiomqtt.Message) -> None:
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
            client = self._client
            refused = [t for t in self._topics.values() if t.state is LinkState.REFUSED]
            if client is None or not refused:
                continue
            if waited_s >= REFUSED_WAIT_S or self._hurry.is_set():
                self._hurry.clear()
                waited_s = 0.0
                with contextlib.suppress(aiomqtt.MqttError):  # _stay_connected meets it as well
                    await self._subscribe(client, refused)

    async def _pause(self, wait_s: float) -> None:
        self._hurry.clear()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._hurry.wait(), wait_s)


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


def _queue_type(
    clock: CaptureClock, hear: Callable[[int, aiomqtt.Message], None]
) -> type[asyncio.Queue[aiomqtt.Message]]:
    """A queue class that stamps what is put into it, passes it on at once and keeps nothing."""

    class Stamping(asyncio.Queue[aiomqtt.Message]):
        def _put(self, item: aiomqtt.Message) -> None:
            t_ns = clock.now_ns()
            try:
                hear(t_ns, item)
            except Exception:
                # Inside the client's read callback an error would end the connection.
                _log.exception("a message on %s was lost", item.topic)

    return Stamping


def _end_if_cancelled(error: Exception) -> None:
    """Leaving the broker may fail while we are being cancelled; the cancellation counts."""
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError from error
