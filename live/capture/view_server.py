"""The view server: everything the capture has heard, kept for the views, and the server for them.

There is one backlog of frames.  Each attached view has a place in it and nothing else: it gets
everything from the beginning and then follows at its own pace, so a view that is attached late
knows as much as the first, and a frozen view costs one socket buffer.

Memory: an event of a heart-rate sensor is some 22 bytes as a frame; 8 sensors at 4 Hz for 8 h are
921,600 events, 20 MB, and ticks at 4 Hz add 1.5 MB.  That is the price of being able to attach at
any time, and less than one window takes.  Sealed blocks are shared by all views.
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import logging
import socket
from collections.abc import Awaitable, Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from live.protocol.feed import Acknowledged, CaptureStatus, Command, Ended
from live.protocol.frames import (
    FrameReader,
    Hello,
    WireError,
    ack_frame,
    ended_frame,
    event_frame,
    hello_frame,
    status_frame,
    tick_frame,
)
from live.protocol.run_file import RunFile, rewrite_run_file, write_run_file
from replay.event import Event

BLOCK: Final = 32 * 1024
"""Size of a sealed block, and so of the largest single write to a view: small enough that
catching up a new view holds the capture loop for some tens of microseconds at a time."""
HANDSHAKE_S: Final = 5.0
LAST_WORDS_S: Final = 2.0
"""How long the end waits for views to read what is left; a frozen one is then let go."""
MAX_REQUEST: Final = 64 * 1024
"""A view's frames are short; a longer one is refused before it takes memory."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class BacklogCursor:
    """Where a view stands in the backlog: always at the start of a frame."""

    block: int = 0
    offset: int = 0


class Backlog:
    """Append-only frames in blocks."""

    def __init__(self) -> None:
        self._sealed: list[bytes] = []
        self._open = bytearray()
        self.on_append: Callable[[], None] = lambda: None

    def put(self, event: Event) -> None:
        """Add the frame of one event."""
        self._append(event_frame(event))

    def tick(self, t_ns: int) -> None:
        """Add a tick."""
        self._append(tick_frame(t_ns))

    def events(self) -> Iterator[Event]:
        """All events put so far, whatever is put while they are gone through, in any thread."""
        blocks = [*self._sealed, bytes(self._open)]
        return (
            frame
            for block in blocks
            for frame in FrameReader().feed(block)
            if isinstance(frame, Event)
        )

    def end(self, ended: Ended) -> None:
        """Add the end."""
        self._append(ended_frame(ended))

    def read(self, place: BacklogCursor) -> tuple[bytes, BacklogCursor]:
        """Whole frames from ``place`` on, at most one block; empty if there is nothing new."""
        if place.block < len(self._sealed):
            return self._sealed[place.block][place.offset :], BacklogCursor(place.block + 1)
        return bytes(self._open[place.offset :]), BacklogCursor(place.block, len(self._open))

    def _append(self, frame: bytes) -> None:
        self._open += frame
        if len(self._open) >= BLOCK:
            self._sealed.append(bytes(self._open))
            self._open = bytearray()
        self.on_append()


class _View:
    """One attached view: its place, and what is to be said to it alone."""

    def __init__(self, writer: asyncio.StreamWriter, backlog: Backlog) -> None:
        self.writer = writer
        self.backlog = backlog
        self.is_watcher = False
        self.place = BacklogCursor()
        self.answers = bytearray()
        self.status = b""  # the newest only: an old status is worth nothing
        self.wake = asyncio.Event()
        self.wake.set()


class ViewServer:
    """Serves the backlog to views on a loopback port."""

    def __init__(
        self,
        backlog: Backlog,
        hello: Hello,
        on_command: Callable[[Command], Acknowledged | Awaitable[Acknowledged]],
    ) -> None:
        self._backlog = backlog
        self._hello = hello
        self._on_command = on_command
        self._views: dict[_View, None] = {}  # a set in the order of attaching
        self._tasks: set[asyncio.Task[None]] = set()
        self._listener: socket.socket | None = None
        self._run: RunFile | None = None
        self._finishing = False
        self.run_file: Path | None = None

    @property
    def views(self) -> int:
        """How many views are attached; one that only calls the tester is none."""
        return sum(not view.is_watcher for view in self._views)

    def unsent_bytes(self) -> list[int]:
        """What waits in this process for each view, in bytes; the rest is read when it is time."""
        return [view.writer.transport.get_write_buffer_size() for view in self._views]

    def start(self) -> Path:
        """Listen, and write the run file; on the running loop.  Raises ``OSError``."""
        # A plain reader rather than asyncio.start_server or sock_accept: both lose the socket of
        # somebody who connects in the very moment of stopping (Python 3.11).
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.setblocking(False)
        port = self._listener.getsockname()[1]
        self.run_file, self._run = write_run_file(port, self._hello.title, self._hello.path)
        self._listen_at(self._listener)
        self._backlog.on_append = self._wake_all
        return self.run_file

    def turn_over(self, backlog: Backlog, hello: Hello) -> None:
        """Serve another session from now on, at the same address.

        Views of the session before read it to its end and are then let go; they may come again.
        Raises ``OSError`` if the run file cannot be written; the new session is served all the
        same.
        """
        self._backlog.on_append = lambda: None
        self._backlog = backlog
        backlog.on_append = self._wake_all
        self._wake_all()
        self.rename(hello)

    def rename(self, hello: Hello) -> None:
        """Greet newcomers otherwise from now on.  Raises ``OSError`` as :meth:`turn_over`."""
        self._hello = hello
        if self._run is not None and self.run_file is not None:
            self._run = replace(self._run, title=hello.title, capture=hello.path)
            rewrite_run_file(self.run_file, self._run)

    def tell(self, status: CaptureStatus) -> None:
        """Send this status to every view; one that is still unsent is replaced.

        The view that was attached last is told that it is in front.
        """
        pictures = [view for view in self._views if not view.is_watcher]
        others, front = (status_frame(replace(status, in_front=front)) for front in (False, True))
        for view in self._views:
            view.status = front if view in pictures[-1:] else others
            view.wake.set()

    async def stop(self) -> None:
        """Let the views read to the end, for a moment, then close everything."""
        if self._listener is not None:
            asyncio.get_running_loop().remove_reader(self._listener)
            self._listener.close()
        if self.run_file is not None:
            with contextlib.suppress(OSError):
                self.run_file.unlink(missing_ok=True)
        self._finishing = True
        self._wake_all()
        if self._tasks:
            await asyncio.wait(self._tasks, timeout=LAST_WORDS_S)
        for view in list(self._views):
            view.writer.transport.abort()
        for task in list(self._tasks):
            task.cancel()
        if self._tasks:
            await asyncio.wait(self._tasks, timeout=LAST_WORDS_S)

    def _wake_all(self) -> None:
        for view in self._views:
            view.wake.set()

    def _accept(self, listener: socket.socket) -> None:
        loop = asyncio.get_running_loop()
        try:
            connection, _ = listener.accept()
        except (BlockingIOError, ConnectionError):
            return  # who knocked has gone
        except OSError as error:
            # Out of file descriptors, say: the knock stays there, so listening goes on later.
            _log.warning("a view could not be let in: %s", error)
            loop.remove_reader(listener)
            loop.call_later(1.0, self._listen_at, listener)
            return
        connection.setblocking(False)
        task = asyncio.create_task(self._serve(connection))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def _listen_at(self, listener: socket.socket) -> None:
        if listener.fileno() >= 0:
            asyncio.get_running_loop().add_reader(listener, self._accept, listener)

    async def _serve(self, connection: socket.socket) -> None:
        """A view from its first frame to its last; its faults end here."""
        frames = FrameReader(MAX_REQUEST)
        try:
            reader, writer = await asyncio.open_connection(sock=connection)
        except OSError:
            connection.close()
            return
        try:
            async with asyncio.timeout(HANDSHAKE_S):
                is_known = await self._is_known(reader, frames)
            if is_known:
                await self._converse(reader, writer, frames)
        except (OSError, TimeoutError, WireError) as error:
            _log.debug("a view was let go: %s", error)
        except Exception:
            _log.exception("a view was let go")
        finally:
            await _close(writer)

    async def _is_known(self, reader: asyncio.StreamReader, frames: FrameReader) -> bool:
        """Whether the first frame is the token; nothing is said before that."""
        while data := await reader.read(4096):
            for frame in frames.feed(data):
                known = self._run is not None and isinstance(frame, str)
                return known and hmac.compare_digest(
                    str(frame).encode(), self._run.token.encode() if self._run else b""
                )
        return False

    async def _converse(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, frames: FrameReader
    ) -> None:
        # No buffer of our own behind the socket's: what a view has not read stays in the backlog.
        writer.transport.set_write_buffer_limits(high=0)
        writer.write(hello_frame(self._hello))
        view = _View(writer, self._backlog)
        self._views[view] = None
        talking = asyncio.ensure_future(self._talk(view))
        listening = asyncio.ensure_future(self._listen(reader, frames, view))
        try:
            await asyncio.wait({talking, listening}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            self._views.pop(view, None)
            for task in (talking, listening):
                task.cancel()
            await asyncio.gather(talking, listening, return_exceptions=True)

    async def _talk(self, view: _View) -> None:
        while True:
            await view.wake.wait()
            view.wake.clear()
            while data := self._next_words(view):
                view.writer.write(data)
                await view.writer.drain()
                # drain() does not yield while the socket takes everything at once; stamps come
                # first, so the loop gets its turn between any two writes.
                await asyncio.sleep(0)
            if self._finishing or view.backlog is not self._backlog:
                return

    def _next_words(self, view: _View) -> bytes:
        data, view.place = view.backlog.read(view.place)
        data += bytes(view.answers) + view.status
        view.answers.clear()
        view.status = b""
        return data

    async def _listen(self, reader: asyncio.StreamReader, frames: FrameReader, view: _View) -> None:
        data = b""  # what came together with the token is still in the frame reader
        while True:
            for frame in frames.feed(data):
                if not isinstance(frame, Command):
                    raise WireError("a view may only send commands")
                view.is_watcher |= frame.action == "watch"
                answer = self._on_command(frame)
                if isinstance(answer, Acknowledged):
                    self._answer(view, answer)
                else:
                    task = asyncio.create_task(self._answer_later(view, answer))
                    self._tasks.add(task)
                    task.add_done_callback(self._tasks.discard)
                if len(view.answers) > MAX_REQUEST:
                    raise WireError("a view asks and asks, but does not read the answers")
            data = await reader.read(4096)
            if not data:
                return

    def _answer(self, view: _View, answer: Acknowledged) -> None:
        view.answers += ack_frame(answer)
        view.wake.set()

    async def _answer_later(self, view: _View, coming: Awaitable[Acknowledged]) -> None:
        self._answer(view, await coming)


async def _close(writer: asyncio.StreamWriter) -> None:
    """Close a connection; what a frozen view has not read is thrown away after a moment."""
    writer.close()
    try:
        with contextlib.suppress(OSError, TimeoutError):
            async with asyncio.timeout(LAST_WORDS_S):
                await writer.wait_closed()
    finally:
        writer.transport.abort()
        await asyncio.sleep(0)  # the transport closes its socket in the loop's next turn
