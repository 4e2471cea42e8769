"""A way through the network that can be cut and slowed: a TCP proxy on the loopback interface."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator


class Proxy:
    """Passes bytes on to ``port``, each direction with a delay of its own, unless it is cut."""

    def __init__(self, port: int) -> None:
        self.port = 0
        self.there_s = 0.0
        self.back_s = 0.0
        self.over = asyncio.Event()
        """Set at the end: nothing is held back any more."""
        self._to = port
        self._cut = False
        self._writers: set[asyncio.StreamWriter] = set()
        self._tasks: set[asyncio.Task[None]] = set()

    def cut(self) -> None:
        """End every connection and take no new one."""
        self._cut = True
        for writer in self._writers:
            writer.transport.abort()
        self._writers.clear()

    def mend(self) -> None:
        """Take connections again."""
        self._cut = False

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Pass one connection on."""
        if self._cut:
            writer.transport.abort()
            return
        try:
            reader_on, writer_on = await asyncio.open_connection("127.0.0.1", self._to)
        except OSError:
            writer.transport.abort()
            return
        self._writers |= {writer, writer_on}
        await asyncio.gather(
            self._pass(reader, writer_on, lambda: self.there_s),
            self._pass(reader_on, writer, lambda: self.back_s),
        )

    async def _pass(self, reader, writer, delay_s) -> None:
        with contextlib.suppress(OSError):
            while data := await reader.read(65536):
                if wait_s := delay_s():
                    with contextlib.suppress(TimeoutError):
                        await asyncio.wait_for(self.over.wait(), wait_s)
                writer.write(data)
                await writer.drain()
        writer.close()


@contextlib.asynccontextmanager
async def running_proxy(port: int) -> AsyncIterator[Proxy]:
    """A proxy for the length of an ``async with`` block."""
    proxy = Proxy(port)
    server = await asyncio.start_server(proxy.serve, "127.0.0.1", 0)
    proxy.port = server.sockets[0].getsockname()[1]
    try:
        yield proxy
    finally:
        server.close()
        proxy.over.set()
        proxy.cut()
        await asyncio.sleep(0.05)
