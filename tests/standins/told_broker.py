"""A broker that does as a test tells it, and an event loop whose time passes when a test says so.

What waits for half a minute is so asked in an instant, over a real socket all the same.  The few
packets of MQTT are written as the standard has them (MQTT 3.1.1 and 5, chapter 3).
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import struct
import time
from collections.abc import AsyncIterator, Callable, Coroutine
from dataclasses import dataclass
from typing import Any

PATIENCE_S = 20.0
"""For a machine that is busy with other things."""
_TURNS = 20
"""Of the loop: more than whoever waited for a time takes to go on."""
_CONNECT, _PUBLISH, _SUBSCRIBE, _DISCONNECT = 0x10, 0x30, 0x80, 0xE0
NEWEST, OLDER = 5, 4
"""What a CONNECT says of its version."""
UNAVAILABLE, NOT_ALLOWED = 0x88, 0x87
"""Answers of MQTT 5 to it (section 3.2.2.2)."""


class ToldTime(asyncio.SelectorEventLoop):
    """A loop of which only :meth:`leap` moves the time; the network is as quick as ever."""

    now_s = 0.0

    def time(self) -> float:
        """s, as told so far."""
        return self.now_s

    def now_ns(self) -> int:
        """The same as the clock of a capture."""
        return round(self.now_s * 1e9)

    async def leap(self, by_s: float) -> None:
        """Let so much pass, and whoever has waited for it go on."""
        self.now_s += by_s
        for _ in range(_TURNS):
            await asyncio.sleep(0)


def on_told_time(work: Callable[[ToldTime], Coroutine[Any, Any, None]]) -> None:
    """Run a test's coroutine on such a loop."""
    loop = ToldTime()
    with asyncio.Runner(loop_factory=lambda: loop) as runner:
        runner.run(work(loop))


async def until(condition: Callable[[], object]) -> None:
    """Wait for what the network does; the loop's own time stands meanwhile."""
    end_s = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < end_s, "it did not come"
        await asyncio.to_thread(time.sleep, 0.002)


@dataclass(frozen=True)
class Connect:
    """What a client said of itself: the version, and all bytes behind the length."""

    version: int
    body: bytes


class ToldBroker:
    """``answer``: the code that clients are answered with.  ``denied``: topics that nobody may
    read.  ``is_old``: it knows MQTT 3.1.1 alone.  ``resets``: it ends each connection at once.
     ``connects``, ``asked``: what clients said, and what each
    subscription was for.
    """

    def __init__(self) -> None:
        self.port = 0
        self.answer = 0
        self.denied: set[str] = set()
        self.is_old = self.resets = False
        self.connects: list[Connect] = []
        self.asked: list[list[str]] = []
        self._writers: dict[asyncio.StreamWriter, int] = {}

    def drop(self) -> None:
        """End every connection without a word."""
        for writer in self._writers:
            writer.transport.abort()

    async def close(self) -> None:
        """The same, and wait until nobody is served any more."""
        self.drop()
        await until(lambda: not self._writers)

    def publish(self, topic: str, payload: bytes) -> None:
        """Send a message to everybody."""
        name = topic.encode()
        for writer, version in self._writers.items():
            properties = b"\0" if version == NEWEST else b""
            body = struct.pack(">H", len(name)) + name + properties + payload
            writer.write(_packet(_PUBLISH, body))

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one client until it leaves."""
        self._writers[writer] = 0
        try:
            while True:
                kind, body = await _read(reader)
                if kind == _CONNECT:
                    self._greet(writer, body)
                elif kind == _SUBSCRIBE:
                    self._grant(writer, body)
                elif kind == _DISCONNECT:
                    break
        except (OSError, asyncio.IncompleteReadError):
            pass
        finally:
            del self._writers[writer]
            writer.close()

    def _greet(self, writer: asyncio.StreamWriter, body: bytes) -> None:
        version = body[6]  # behind the name of the protocol and its length
        self.connects.append(Connect(version, body))
        if self.resets:
            at_once = struct.pack("ii", 1, 0)
            writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, at_once)
            writer.transport.abort()
        elif self.is_old and version == NEWEST:
            writer.write(_packet(0x20, b"\0\x01"))  # unacceptable protocol version
        else:
            self._writers[writer] = version
            writer.write(
                _packet(0x20, bytes((0, self.answer)) + (b"\0" if version == NEWEST else b""))
            )

    def _grant(self, writer: asyncio.StreamWriter, body: bytes) -> None:
        properties = b"\0" if self._writers[writer] == NEWEST else b""
        number, rest = body[:2], body[2 + len(properties) :]
        topics = []
        while rest:
            (length,) = struct.unpack(">H", rest[:2])
            topics.append(rest[2 : 2 + length].decode())
            rest = rest[3 + length :]
        self.asked.append(topics)
        codes = bytes(0x80 if topic in self.denied else 1 for topic in topics)
        writer.write(_packet(0x90, number + properties + codes))


@contextlib.asynccontextmanager
async def told_broker() -> AsyncIterator[ToldBroker]:
    """One for the length of an ``async with`` block, on the loop of the test."""
    broker = ToldBroker()
    server = await asyncio.start_server(broker.serve, "127.0.0.1", 0)
    broker.port = server.sockets[0].getsockname()[1]
    try:
        yield broker
    finally:
        server.close()
        await broker.close()


async def _read(reader: asyncio.StreamReader) -> tuple[int, bytes]:
    """The kind of the next packet, and what is in it."""
    (kind,) = await reader.readexactly(1)
    length = shift = 0
    more = True
    while more:
        (digit,) = await reader.readexactly(1)
        length |= (digit & 127) << shift
        shift, more = shift + 7, digit > 127
    return kind & 0xF0, await reader.readexactly(length)


def _packet(kind: int, body: bytes) -> bytes:
    assert len(body) < 128
    return bytes((kind, len(body))) + body
