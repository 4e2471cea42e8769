"""Sensors whose readings come over MQTT: one planned topic is one sensor.

A payload is stored as it came, on channel ``mqtt-hr``: a bare bpm as text or the bytes of a
heart-rate measurement; on ``mqtt-message``, behind the plan's form of it, where the values stand
somewhere inside.  What is malformed is stored too, and the decoder refuses it later.

A message is stamped and passed on inside the client's own read callback: the queue that the
client library puts messages into is one of ours that keeps nothing (the stamp would otherwise
be as late as whoever empties the queue).

A message that the broker had stored (*retained*) is not a reading of this moment: it may be
seconds or days old, and MQTT does not say.  It is left out, counted, and the tester is told.
Only the copy sent upon subscribing carries that mark; a sensor that publishes with the retain
flag is heard normally.
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

from live.sources import broker
from live.sources.base import CaptureClock, Emit
from replay.broker import Broker
from replay.channels import decode
from replay.errors import PayloadError
from replay.event import ADVICE, LINK, MQTT_HEART_RATE, MQTT_MESSAGE, NS_PER_S
from replay.link_state import LinkState
from replay.plan import Plan, PlannedSensor
from replay.text import printable

FIRST_WAIT_S: Final = 0.5
LONGEST_WAIT_S: Final = 8.0
"""Between two attempts at a broker that is out of reach: a tester who switches it on should not
have to wait longer."""
REFUSED_WAIT_S: Final = 30.0
"""A refusal does not heal by itself; asking often would look like an attack."""
SETTLED_NS: Final = 10 * NS_PER_S
"""A connection that held this long was a good one: the next attempt begins with the short wait."""
QUIET_NS: Final = 5 * NS_PER_S
"""Silence after which a topic is called quiet; at least twice the sensor's age limit."""
LONGEST_SHOWN: Final = 60
"""Characters of a message that cannot be read which its sentence shows."""
FLOOD: Final = 50
"""Messages a second that no heart-rate sensor sends: the fastest send some 10 a second."""
LONGEST_PAYLOAD: Final = 512
"""The longest value of a Bluetooth attribute; more cannot be a heart rate."""
LONGEST_MESSAGE: Final = 4096
"""Where the plan says that the heart rate stands inside a message."""
_BARE: Final = (
    "a bare number of beats a minute, such as 142, or the bytes of the standard heart-rate "
    "measurement; for JSON, or bytes written as text, the plan says where the values stand "
    "(message = …)"
)
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
        self._topics: dict[str, _Topic] = {}
        for number, sensor in enumerate(plan.sensors, 1):
            if sensor.source != "mqtt":
                continue
            self._topics[sensor.topic] = _Topic(number, sensor)
        self._password = broker.password_of(self._broker)
        self._tls = broker.tls_of(self._broker)
        self._identifier = f"sidebeat-{secrets.token_hex(4)}"
        self._version = broker.NEWEST
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
        return broker.new_client(
            self._broker,
            self._identifier,
            self._password,
            self._tls,
            queue_type=queue_type,
            version=self._version,
        )

    def _hear(self, t_ns: int, message: aiomqtt.Message) -> None:
        topic = self._topics.get(str(message.topic))
        if topic is not None:
            topic.hear(t_ns, bytes(message.payload or b""), stored=bool(message.retain))

    async def _subscribe(self, client: aiomqtt.Client, topics: list[_Topic]) -> None:
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


class _Topic:
    """One sensor: its topic and where its link stands."""

    def __init__(self, number: int, sensor: PlannedSensor) -> None:
        self.number = number
        self.sensor = sensor
        self.state = LinkState.WAITING
        self._advice = ""
        self._last_ns = 0
        self._quiet_ns = max(QUIET_NS, 2 * sensor.hold_ns)
        self._form = sensor.message
        self._longest = LONGEST_MESSAGE if sensor.message else LONGEST_PAYLOAD
        self._left_out = 0
        self._told_unreadable = False
        self._second = 0
        self._in_second = 0
        self._told_flood = False

    def begin(self, clock: CaptureClock, emit: Emit) -> None:
        self._clock = clock
        self._emit = emit
        self.enter(LinkState.SEARCHING)

    def hear(self, t_ns: int, payload: bytes, *, stored: bool) -> None:
        if stored or len(payload) > self._longest:
            self._leave_out(t_ns, payload, stored=stored)
            return
        self._last_ns = t_ns
        if self.state is not LinkState.STREAMING:
            self.enter(LinkState.STREAMING, t_ns=t_ns)
        channel, kept = MQTT_HEART_RATE, payload
        if self._form is not None:
            channel, kept = MQTT_MESSAGE, self._form.wrap(payload)
        self._emit(t_ns, self.number, channel, kept)
        self._count(t_ns)
        if not self._told_unreadable:
            self._tell_unreadable(t_ns, channel, kept, payload)

    def enter(self, state: LinkState, advice: str = "", t_ns: int | None = None) -> None:
        """Record a change of state, and the sentence that goes with it if it is a new one."""
        if t_ns is None:
            t_ns = self._clock.now_ns()
        if state is not self.state:
            self.state = state
            self._emit(t_ns, self.number, LINK, state.value.encode())
            if state is LinkState.STREAMING:
                self._advice = ""
        if advice and advice != self._advice:
            self._advice = advice
            self._emit(t_ns, self.number, ADVICE, advice.encode())

    def wait(self) -> None:
        """Subscribed, and nothing heard so far."""
        self.enter(
            LinkState.SEARCHING,
            f"Waiting for the first message on {self.sensor.topic!r}{self._so_far()}.",
        )

    def lose(self, state: LinkState, advice: str) -> None:
        """The connection ended or could not be made; a link that was up is lost first."""
        if self.state.is_up:
            self.enter(LinkState.LOST)
        self.enter(state, advice)

    def check_quiet(self) -> None:
        silent_ns = self._clock.now_ns() - self._last_ns
        if self.state is LinkState.STREAMING and silent_ns > self._quiet_ns:
            self.enter(
                LinkState.QUIET,
                f"The broker is there, but nothing comes on {self.sensor.topic!r}; "
                "look at what publishes it.",
            )

    def _count(self, t_ns: int) -> None:
        """Say, once for each run of such seconds, that no sensor sends so fast; all is saved."""
        second = t_ns // NS_PER_S
        if second != self._second:
            flood = self._in_second > FLOOD
            if flood and not self._told_flood:
                said = (
                    f"{self._in_second} messages a second come on {self.sensor.topic!r}, and all "
                    "are saved; no heart-rate sensor sends so many: look at what publishes them."
                )
                self._emit(t_ns, self.number, ADVICE, said.encode())
            self._told_flood = flood
            self._second, self._in_second = second, 0
        self._in_second += 1

    def _tell_unreadable(self, t_ns: int, channel: str, kept: bytes, payload: bytes) -> None:
        """Once: what came, why it is none, and what would be one."""
        try:
            decode(channel, kept)
        except PayloadError as error:
            self._told_unreadable = True
            shown = printable(payload[:LONGEST_SHOWN].decode("utf-8", "replace"))
            more = "…" if len(payload) > LONGEST_SHOWN else ""
            why, expected = "", _BARE
            if self._form is not None:
                why, expected = f" ({error.problem})", self._form.expected
            self._emit(
                t_ns,
                self.number,
                ADVICE,
                f"A message on {self.sensor.topic!r} cannot be read as a heart rate{why}: "
                f"{shown}{more}  Expected is {expected}.".encode(),
            )

    def _leave_out(self, t_ns: int, payload: bytes, *, stored: bool) -> None:
        self._left_out += 1
        why = (
            f"a value that the broker had stored on {self.sensor.topic!r}: its age is not known"
            if stored
            else f"a message of {len(payload)} bytes, which cannot be a heart rate"
        )
        self._advice = f"Left out {why}{self._so_far()}."
        self._emit(t_ns, self.number, ADVICE, self._advice.encode())

    def _so_far(self) -> str:
        return f" ({self._left_out} left out so far)" if self._left_out else ""


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
