"""A broker that is none: whatever it says, the source goes on, and hears the next good one."""

from __future__ import annotations

import asyncio
import contextlib
import random
import struct
import time

from benchmarks.fuzz.spoiling import one_of
from live.sources import broker
from live.sources.mqtt import MqttSource
from replay.broker import Broker
from replay.event import MQTT_HEART_RATE
from replay.plan import Plan, PlannedSensor

TOPIC = "gym/yarrow/hr"
GOOD = b"142"
_PATIENCE_S = 10.0
_LET_IN_S = 0.3
"""What is said is there at once: a broker that has said nothing until then never will."""


def _plan(port: int) -> Plan:
    return Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=(PlannedSensor(label="Yarrow", role="reference", source="mqtt", topic=TOPIC),),
        broker=Broker(host="127.0.0.1", port=port),
    )


def _publish(payload: bytes, *, newest: bool) -> bytes:
    body = struct.pack(">H", len(TOPIC)) + TOPIC.encode() + (b"\0" if newest else b"") + payload
    return b"\x30" + bytes((len(body),)) + body


def _let_in(*, newest: bool) -> bytes:
    return b"\x20\x03\x00\x00\x00" if newest else b"\x20\x02\x00\x00"


def _granted(number: bytes, *, newest: bool) -> bytes:
    body = number + (b"\0" if newest else b"") + b"\x01"
    return b"\x90" + bytes((len(body),)) + body


def _wild(chance: random.Random) -> bytes:
    """What a broker of either version might say, out of order and spoiled."""
    newest = bool(chance.randrange(4))
    words = (
        _let_in(newest=newest), _publish(GOOD, newest=newest), _granted(b"\0\1", newest=newest),
        b"\xd0\x00", b"\x40\x02\x00\x01", b"\x30\xff\xff\xff\x7f" + bytes(300),
        b"\x30\xff\xff\xff\xff\xff\x01", b"\xe0\x00", b"\x62\x02\x00\x01", b"\xf0\x02\x18\x00",
    )  # fmt: skip
    said = b"".join(one_of(words, chance) for _ in range(chance.randint(1, 5)))
    return _let_in(newest=newest) + said if chance.randrange(2) else said


class _Clock:
    def now_ns(self) -> int:
        return time.perf_counter_ns()


async def _talk(chance: random.Random) -> None:
    calls = 0
    heard = asyncio.Event()
    wild = _wild(chance)

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal calls
        calls += 1
        with contextlib.suppress(OSError, asyncio.IncompleteReadError):
            newest = (await reader.read(4096))[8:9] == b"\x05"  # level of the protocol
            if calls == 1:
                writer.write(wild)
            else:
                writer.write(_let_in(newest=newest))
                asked = await reader.read(4096)
                writer.write(_granted(asked[2:4], newest=newest))
                writer.write(_publish(GOOD, newest=newest))
                await heard.wait()
            await writer.drain()
        writer.close()

    def emit(t_ns: int, sensor: int, channel: str, payload: bytes, **_: object) -> None:
        del t_ns, sensor
        if calls > 1 and channel == MQTT_HEART_RATE and payload == GOOD:
            heard.set()

    # What the client library leaves behind of a connection that breaks in its hands would only be
    # logged: what counts here is whether the source goes on.
    asyncio.get_running_loop().set_exception_handler(lambda _loop, _context: None)
    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    source = MqttSource(_plan(server.sockets[0].getsockname()[1]))
    running = asyncio.ensure_future(source.run(_Clock(), emit))
    try:
        async with asyncio.timeout(_PATIENCE_S):
            while not heard.is_set():
                source.connect(1)  # no waiting between two attempts
                await asyncio.sleep(0.002)
    except TimeoutError:
        raise AssertionError(f"after {wild.hex()} no good word was heard") from None
    finally:
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)
        server.close()


def mqtt(chance: random.Random) -> None:
    """One connection that says anything, and then one in good order."""
    patience, broker.TIMEOUT_S = broker.TIMEOUT_S, _LET_IN_S
    try:
        _run(chance)
    finally:
        broker.TIMEOUT_S = patience


def _run(chance: random.Random) -> None:
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        runner.run(_talk(chance))
