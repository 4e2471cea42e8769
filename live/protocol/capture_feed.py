"""The feed of a running capture: what it sends over the local connection, for one view.

Two small threads stand between the socket and the view, so that neither reading nor sending
can ever hold the view's own thread.  If the view is slow, the reading thread waits, and with it
the capture's server, which simply keeps what was not read.
"""

from __future__ import annotations

import contextlib
import queue
import socket
import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Final, Self

from live.protocol.alarm import (
    ATTACH_AGAIN,
    BEGIN_ANEW,
    CUT_OFF,
    ENDED,
    Alarm,
    identity_of,
    look_at_saved,
)
from live.protocol.feed import Acknowledged, CaptureStatus, Command, Ended, Message, Tick
from live.protocol.frames import FrameReader, Hello, WireError, command_frame, token_frame
from live.protocol.run_file import NoCapture, find_capture, read_run_file
from replay.errors import SidebeatError
from replay.event import Event
from replay.plan import Plan, parse_plan
from replay.text import printable

SLICE: Final = 10_000
"""Most messages of one poll: a view that catches up on hours draws between the slices."""
HELD: Final = 4 * SLICE
"""Messages held for a view that does not poll; beyond that the reading waits."""
CONNECT_S: Final = 5.0
ANSWER_S: Final = 1.0
"""How long a view that was cut off waits for a word from the capture: the alarm must not wait."""


class CaptureFeed:
    """Events, ticks and status of the capture behind a run file; see ``Feed``."""

    def __init__(
        self,
        connection: socket.socket,
        hello: Hello,
        frames: FrameReader,
        run_file: Path,
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.connection = connection
        """To the capture, for as long as there is one."""
        self._hello = hello
        self._run_file = run_file
        self._clock = clock
        self._title = hello.title
        self._path = Path(hello.path) if hello.path else None
        self._file = identity_of(self._path) if self._path else None
        self._saved = 0
        self._heard_at = clock()
        self._plan = parse_plan(hello.plan)
        self._frames = frames
        self._held: deque[Message] = deque()
        self._room = threading.Condition()
        self._requests: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._unanswered: set[int] = set()
        self._numbers = 0
        self._closed = False
        self._ended = False
        self._gone = False  # the connection is over; nothing more will come
        self._last_ns = 0
        for name, work in (("feed reader", self._read), ("feed sender", self._send)):
            threading.Thread(target=work, name=name, daemon=True).start()

    @classmethod
    def attach(cls, run_file: Path | None = None) -> Self:
        """Attach to the capture of this run file, or to the only one that is running.

        Returns once the capture has said what it is.  Raises :class:`NoCapture` or
        :class:`WireError` in one sentence.
        """
        path = run_file or find_capture()
        run = read_run_file(path)
        try:
            connection = socket.create_connection(("127.0.0.1", run.port), timeout=CONNECT_S)
        except OSError:
            raise NoCapture(f"the capture of {path} is not running any more") from None
        try:
            connection.sendall(token_frame(run.token))
            frames = FrameReader()
            hello = _greeting(connection, frames)
            connection.settimeout(None)
            return cls(connection, hello, frames, path)
        except OSError as error:
            connection.close()
            raise NoCapture(f"the capture of {path} does not answer: {error}") from None
        except BaseException:
            connection.close()
            raise

    @property
    def plan(self) -> Plan:
        """The plan of the running session."""
        return self._plan

    @property
    def title(self) -> str:
        """The capture file's name, or that nothing is saved."""
        return self._title

    @property
    def started_utc_ns(self) -> int:
        """UTC at which the session began, ns since 1970."""
        return self._hello.started_utc_ns

    @property
    def is_live(self) -> bool:
        """Always: a capture is behind it."""
        return True

    @property
    def silent_s(self) -> float:
        """Seconds since the capture's last word; 0 while words wait here, and after the end."""
        if self._held or self._gone or self._ended:
            return 0.0
        return max(self._clock() - self._heard_at, 0.0)

    def poll(self) -> list[Message]:
        """What came since the last call, in order, at most :data:`SLICE` messages."""
        with self._room:
            count = min(len(self._held), SLICE)
            messages = [self._held.popleft() for _ in range(count)]
            self._room.notify()
        for message in messages:
            if isinstance(message, Acknowledged):
                self._unanswered.discard(message.number)
            elif isinstance(message, Ended):
                # Nobody is left to answer: a request must not wait for ever.
                messages += self._refuse_all()
                break
        return messages

    def send(self, action: str, **values: str | int) -> int:
        """Ask the capture for something; returns the command's number.

        ``marker`` with ``text`` and, for a moment that has passed, ``ago_ms``; ``acknowledge``
        with ``kind`` and ``sensor`` (0: the session); ``stop``; ``connect`` with ``sensor``
        (number in the plan).
        """
        self._numbers += 1
        self._unanswered.add(self._numbers)
        if self._gone or self._ended:
            with self._room:
                self._held += self._refuse_all()
        else:
            self._requests.put(command_frame(Command(self._numbers, action, values)))
        return self._numbers

    def close(self) -> None:
        """Let go of the capture; it goes on."""
        with self._room:
            self._closed = True
            self._room.notify()
        self._requests.put(None)
        with contextlib.suppress(OSError):
            self.connection.shutdown(socket.SHUT_RDWR)
        self.connection.close()

    def _refuse_all(self) -> list[Message]:
        refused = [
            Acknowledged(number, done=False, message="the capture has ended")
            for number in sorted(self._unanswered)
        ]
        self._unanswered.clear()
        return list(refused)

    def _read(self) -> None:
        problem = "the connection to the capture has ended"
        data = b""  # what came together with the greeting is still in the frame reader
        try:
            while True:
                for frame in self._frames.feed(data):
                    if not isinstance(frame, (Hello, Command, str)):
                        self._hold(frame)
                data = self.connection.recv(65536)
                self._heard_at = self._clock()
                if not data:
                    break
        except OSError as error:
            problem = f"the connection to the capture broke: {error}"
        except WireError as error:
            problem = str(error)
        self._gone = True
        if not self._ended:
            self._hold(self._unasked_end(problem))

    def _unasked_end(self, problem: str) -> Ended:
        """The end of a stream that nobody has announced: what is left is looked at first."""
        if self._closed:  # nobody is there to read it
            return Ended(self._last_ns, problem)
        if _answers(self._run_file):
            sentence = f"This view was cut off ({problem}); the capture itself still runs."
            return Ended(self._last_ns, problem, Alarm(CUT_OFF, sentence, ATTACH_AGAIN))
        gone = "the capture process is gone"
        if self._path is not None:
            found = look_at_saved(self._path, self._file, self._saved)
            if found.end_reason is not None:  # its last words were not waited for
                return Ended(self._last_ns, found.end_reason)
            saved = found.sentence
        else:
            saved = "Nothing was saved: it was practice."
        sentence = f"The capture process is gone without a word.  {saved}"
        return Ended(self._last_ns, gone, Alarm(ENDED, sentence, BEGIN_ANEW))

    def _hold(self, message: Message) -> None:
        with self._room:
            self._room.wait_for(lambda: len(self._held) < HELD or self._closed)
            if isinstance(message, Ended):
                self._ended = True  # before it can be read: what is asked then is refused at once
            self._held.append(message)
        if isinstance(message, (Event, Tick)):
            self._last_ns = message.t_ns
        elif isinstance(message, CaptureStatus):
            self._saved = message.saved
            if message.path and (path := Path(message.path)) != self._path:
                # The recording goes on in a new file.
                self._path, self._file = path, identity_of(path)
                self._title = printable(path.name)

    def _send(self) -> None:
        while (frame := self._requests.get()) is not None:
            try:
                self.connection.sendall(frame)
            except OSError:
                return  # the reader notices too, and says so


def _answers(run_file: Path) -> bool:
    """Whether the capture of a run file greets a newcomer.

    That somebody listens is not enough: a killed process loses its sockets one after another.
    """
    with contextlib.suppress(OSError, SidebeatError):
        run = read_run_file(run_file)
        with socket.create_connection(("127.0.0.1", run.port), timeout=ANSWER_S) as connection:
            connection.sendall(token_frame(run.token))
            _greeting(connection, FrameReader())
            return True
    return False


def _greeting(connection: socket.socket, frames: FrameReader) -> Hello:
    while data := connection.recv(65536):
        for frame in frames.feed(data):
            if isinstance(frame, Hello):
                return frame
            raise WireError("the capture did not greet; it may be another version")
    raise NoCapture("the capture refused this view; its run file may be out of date")
