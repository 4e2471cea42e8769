"""One attempt at a broker: what the client library leaves undone about its socket.

The library connects in another thread, which goes on where the attempt is cancelled meanwhile, and
it watches a socket from the loop's next turn on.  By then the attempt may be over, and the socket
closed or its number another's.  None of it can be told the library in public, so its parts are
reached for: its releases are bounded in ``pyproject.toml``, and tests meet it through real sockets.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import math
from collections.abc import Awaitable, Callable
from typing import Any, Final, TypeVar, cast

import aiomqtt
import paho.mqtt.client as paho
from paho.mqtt.enums import MQTTErrorCode

from analysis.report.words import count

LARGEST_PACKET: Final = 64 * 1024
"""Bytes of a packet of MQTT: the longest message that is taken has 4,096, its topic at most 65,535;
a longer packet is none of a heart-rate sensor."""
_T = TypeVar("_T")
_log = logging.getLogger(__name__)


def _for_us(record: logging.LogRecord) -> bool:
    """What the library says of an attempt is told the tester in a sentence, once it has ended."""
    record.levelno, record.levelname = logging.DEBUG, "DEBUG"
    return True


_library: Final = logging.getLogger(f"{__name__}.library")
_library.addFilter(_for_us)


class HungUpError(ConnectionResetError):
    """The broker has ended the connection before it let this client in or refused it."""


class Attempt(aiomqtt.Client):
    """A client that is used once: one whose connecting was cut short cannot be used again.

    Whoever makes one calls :meth:`end`, however it ended.
    """

    def __init__(self, *given: Any, **named: Any) -> None:  # noqa: ANN401 - as the library takes them
        super().__init__(*given, logger=_library, **named)
        self._is_over = False
        client = self._client
        bound_reading(client)
        self._opened, self._disconnected_by = client.on_socket_open, client.on_disconnect
        client.on_socket_open = self._open
        client.on_socket_register_write = self._register
        client.on_disconnect = self._disconnect

    def end(self) -> None:
        """Leave nothing behind: no socket that is open or watched, and none that another thread
        has yet to open; nor an ending that nothing has waited for.  Called on the loop.
        """
        self._is_over = True
        for ending in (self._connected, self._disconnected):
            if ending.done() and not ending.cancelled():
                ending.exception()
        # After what the library has asked of the loop: to watch the socket, and what goes with it.
        self._loop.call_soon(let_go, self._client)

    async def _wait_for(self, fut: Awaitable[_T], timeout: float | None) -> _T:  # noqa: ASYNC109 - its own
        """What the library waits for, as it does itself, but for one thing: before Python 3.12 its
        means keep a cancellation to themselves where the answer came in the same moment, so that
        who was to end goes on for good.
        """
        limit_s = self.timeout if timeout is None else timeout
        try:
            async with asyncio.timeout(None if limit_s == math.inf else limit_s):
                return await fut
        except TimeoutError:
            if isinstance(fut, asyncio.Future) and fut.done() and not fut.cancelled():
                return cast(_T, fut.result())  # in the last moment
            raise aiomqtt.MqttError("it did not answer in time") from None

    def before_message(self, look: Callable[[paho.MQTTMessage], None]) -> None:
        """Have each message looked at as it came, before what is passed on is taken from it."""
        deliver = self._client.on_message

        def both(of: paho.Client, data: object, message: paho.MQTTMessage) -> None:
            look(message)
            if deliver is not None:
                deliver(of, data, message)

        self._client.on_message = both

    def _open(self, _client: paho.Client, _data: object, sock: Any) -> None:  # noqa: ANN401
        """A socket was opened, in another thread."""
        self._loop.call_soon_threadsafe(self._take, sock)

    def _take(self, sock: Any) -> None:  # noqa: ANN401
        if self._is_over:
            let_go(self._client)
        elif self._opened is not None:
            self._opened(self._client, None, sock)

    def _register(self, _client: paho.Client, _data: object, sock: Any) -> None:  # noqa: ANN401
        """Something waits to be written: watch for room from now on."""
        try:
            is_here = asyncio.get_running_loop() is self._loop
        except RuntimeError:  # while it connects, in another thread
            is_here = False
        if is_here:
            self._watch(sock)
        else:
            self._loop.call_soon_threadsafe(self._watch, sock)

    def _watch(self, sock: Any) -> None:  # noqa: ANN401
        if not self._is_over and sock.fileno() >= 0:
            self._loop.add_writer(sock.fileno(), self._write)

    def _write(self) -> None:
        try:
            self._client.loop_write()
        except Exception as error:
            if not self._disconnected.done():
                self._disconnected.set_exception(error)

    def _disconnect(self, *told: Any) -> None:  # noqa: ANN401
        """The connection has ended: nothing to tell where nobody waits for its beginning any more,
        of which the library asks how it ended.
        """
        if self._disconnected_by is not None and not self._connected.cancelled():
            self._disconnected_by(*told)
        with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits
            self._loop.call_soon_threadsafe(self._hang_up)

    def _hang_up(self) -> None:
        """Who was hung up on before the broker's answer is not answered any more: the library would
        wait for it as long as for a broker that is slow.
        """
        if not self._is_over and not self._connected.done():
            error = aiomqtt.MqttError("it ended the connection without an answer")
            error.__cause__ = HungUpError()
            self._connected.set_exception(error)


def bound_reading(client: paho.Client) -> None:
    """Let nothing that a broker sends grow without end, or stop the reading.

    The library makes room for a packet of any announced length, up to 256 MB, and an error in one
    leaves it half read.
    """
    read, receive = client.loop_read, client._sock_recv  # noqa: SLF001

    def at_most(bufsize: int) -> bytes:  # a buffer of this size is made at once
        if bufsize > LARGEST_PACKET:
            raise ValueError(f"it is {count(bufsize)} bytes long")
        return receive(bufsize)

    def bounded(max_packets: int = 1) -> MQTTErrorCode:
        try:
            return read(max_packets)
        except Exception as error:
            _log.warning("the broker sent a packet that is not taken: %s", brief(error))
            return client._loop_rc_handle(MQTTErrorCode.MQTT_ERR_PROTOCOL)  # noqa: SLF001

    client._sock_recv = at_most  # type: ignore[method-assign]  # noqa: SLF001
    client.loop_read = bounded  # type: ignore[method-assign]


def let_go(client: paho.Client) -> None:
    """Close what the library leaves to the garbage collector, once its thread has ended."""
    client._reset_sockets()  # noqa: SLF001


def brief(error: BaseException) -> str:
    """What has gone wrong, in the words of the system or of the library."""
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return str(error) or type(error).__name__
