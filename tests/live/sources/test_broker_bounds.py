"""What a broker sends is bounded: it is asked for no long packet, and not heard with one."""

from __future__ import annotations

import asyncio
import struct
import tracemalloc

from live.capture.clock import MonotonicClock
from live.sources import broker, mqtt
from live.sources.attempt import LARGEST_PACKET
from live.sources.mqtt import MqttSource
from replay.broker import Broker
from replay.event import DOUBLED, MQTT_HEART_RATE
from replay.plan import Plan, PlannedSensor

TOPIC = b"gym/yarrow/hr"
PATIENCE_S = 20.0


def plan(port: int) -> Plan:
    sensor = PlannedSensor(label="Yarrow", role="reference", source="mqtt", topic=TOPIC.decode())
    return Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=(sensor,),
        broker=Broker(host="127.0.0.1", port=port),
    )


def publish(payload: bytes, *, newest: bool) -> bytes:
    body = struct.pack(">H", len(TOPIC)) + TOPIC + (b"\0" if newest else b"") + payload
    return b"\x30" + bytes((len(body),)) + body


class ScriptedBroker:
    """Lets in whom it understands; ``first``: what it then says to the first; then a good word.

    ``old``: it knows MQTT 3.1.1 alone, and refuses anything newer.  ``again``: what it says before
    the good word.
    """

    def __init__(
        self, *, first: bytes = b"", old: bool = False, again: tuple[bytes, ...] = ()
    ) -> None:
        self.connects: list[bytes] = []
        self.taken = 0
        self._first, self._old, self._again = first, old, again
        self._served = 0

    async def all_have_left(self) -> None:
        """Wait until nobody is served any more."""
        async with asyncio.timeout(PATIENCE_S):
            while self._served:  # noqa: ASYNC110 - a test
                await asyncio.sleep(0.005)

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._served += 1
        try:
            connect = await reader.read(4096)
            self.connects.append(connect)
            newest = connect[8:9] == b"\5"
            if newest and self._old:
                writer.write(b"\x20\x02\x00\x01")
                return
            writer.write(b"\x20\x03\0\0\0" if newest else b"\x20\x02\0\0")
            asked = await reader.read(4096)
            granted = asked[2:4] + (b"\0" if newest else b"") + b"\x01"
            writer.write(b"\x90" + bytes((len(granted),)) + granted)
            if self._first and len(self.connects) == 1:
                writer.write(self._first)
                while True:
                    writer.write(bytes(65_536))
                    await writer.drain()
                    self.taken += 65_536
            for packet in self._again:
                writer.write(packet)
            writer.write(publish(b"142", newest=newest))
            await reader.read()
        except OSError:
            pass
        finally:
            writer.close()
            self._served -= 1


def heard_from(
    scripted: ScriptedBroker, last: bytes = b"", doubled: list[bytes] | None = None
) -> list[bytes]:
    """Payloads until the first one, or that which is ``last``, was heard."""
    payloads: list[bytes] = []

    async def main() -> None:
        server = await asyncio.start_server(scripted.serve, "127.0.0.1", 0)
        source = MqttSource(plan(server.sockets[0].getsockname()[1]))
        heard = asyncio.Event()

        def emit(t_ns: int, sensor: int, channel: str, payload: bytes, **_: object) -> None:
            if channel == MQTT_HEART_RATE:
                payloads.append(payload)
                if last in (b"", payload):
                    heard.set()
            elif channel == DOUBLED and doubled is not None:
                doubled.append(payload)

        running = asyncio.ensure_future(source.run(MonotonicClock(), emit))
        try:
            async with asyncio.timeout(PATIENCE_S):
                await heard.wait()
        finally:
            running.cancel()
            await asyncio.gather(running, return_exceptions=True)
            await scripted.all_have_left()
            server.close()

    asyncio.run(main())
    return payloads


def test_the_broker_is_asked_for_no_long_packet():
    """MQTT 5, property 0x27 (Maximum Packet Size) of CONNECT, four bytes (section 3.1.2.11.4)."""
    scripted = ScriptedBroker()
    assert heard_from(scripted) == [b"142"]
    assert b"\x27" + LARGEST_PACKET.to_bytes(4, "big") in scripted.connects[0]


def test_a_broker_that_sends_a_long_packet_all_the_same_is_not_listened_to():
    """256 MB announced: hung up on after a little of it, and the next connection is heard."""
    tracemalloc.start()
    try:
        scripted = ScriptedBroker(first=b"\x30\xff\xff\xff\x7f")
        assert heard_from(scripted) == [b"142"]
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(scripted.connects) == 2
    assert most < 16_000_000
    assert scripted.taken < 32_000_000


def test_a_broker_of_the_older_version_is_heard_as_well():
    """It refuses the newest version in its own words; the next attempt speaks its own."""
    scripted = ScriptedBroker(old=True)
    assert heard_from(scripted) == [b"142"]
    assert [connect[8] for connect in scripted.connects] == [5, 4]


def test_an_attempt_at_a_broker_of_the_older_version_succeeds():
    """What the checks before a session ask is answered by either version."""

    async def main() -> str:
        scripted = ScriptedBroker(old=True)
        server = await asyncio.start_server(scripted.serve, "127.0.0.1", 0)
        try:
            return await broker.tried(
                Broker(host="127.0.0.1", port=server.sockets[0].getsockname()[1])
            )
        finally:
            await scripted.all_have_left()
            server.close()

    assert asyncio.run(main()) == ""


def numbered(payload: bytes, number: int, *, dup: bool = False) -> bytes:
    """A message of MQTT 5 that the broker wants confirmed (QoS 1)."""
    body = struct.pack(">H", len(TOPIC)) + TOPIC + struct.pack(">H", number) + b"\0" + payload
    return bytes((0x3A if dup else 0x32, len(body))) + body


def test_what_is_delivered_twice_is_no_second_reading():
    """A repetition that the broker calls one is kept as a doubled notification; the same value in a
    message of its own is a reading, and so is a repetition of what never came.
    """
    packets = (
        numbered(b"120", 1),
        numbered(b"120", 1, dup=True),
        numbered(b"120", 2),
        numbered(b"121", 3, dup=True),
        numbered(b"122", 1, dup=True),  # another message under a number that was used before
    )
    doubled: list[bytes] = []
    heard = heard_from(ScriptedBroker(again=packets), last=b"142", doubled=doubled)
    assert heard == [b"120", b"120", b"121", b"122", b"142"]
    assert doubled == [b"120"]


def test_a_connection_remembers_a_bounded_number_of_messages():
    """However many messages come, no more are remembered than a broker can have on their way."""
    import paho.mqtt.client as paho

    known = mqtt.Deliveries()
    for number in range(1, 5000):
        message = paho.MQTTMessage(number, TOPIC)
        message.qos, message.payload = 1, b"142"
        known.look(message)
        assert not known.is_repeat
    assert len(known) == mqtt.REMEMBERED
