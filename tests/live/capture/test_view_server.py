"""The journal's server and the feed of a view, over a real loopback connection."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import stat
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from live.capture.view_server import BLOCK, Backlog, BacklogCursor, ViewServer
from live.protocol import run_file as runfile
from live.protocol.capture_feed import HELD, SLICE, CaptureFeed
from live.protocol.feed import Acknowledged, CaptureStatus, Command, Ended, Message, Tick
from live.protocol.frames import VERSION, FrameReader, Hello, token_frame
from live.protocol.run_file import NoCapture, find_capture, read_run_file, run_folder
from replay.event import HEART_RATE, Event
from replay.plan import format_plan
from tests.standins.feeds import PLAN


@pytest.fixture(autouse=True)
def own_run_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(runfile.RUN_FOLDER_VARIABLE, str(tmp_path / "run"))


class Served:
    """A backlog and its server on a loop in a thread; ``do`` runs a function there."""

    def __init__(self) -> None:
        self.backlog = Backlog()
        self.commands: list[Command] = []
        hello = Hello(VERSION, format_plan(PLAN), "x.sqlite", "/captures/x.sqlite", 77)
        self.server = ViewServer(self.backlog, hello, self._obey)
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()
        assert self._ready.wait(30)

    def do(self, work: Callable[[], object]) -> None:
        async def call() -> None:
            work()

        self._await(call())

    def put(self, events: list[Event]) -> None:
        self.do(lambda: [self.backlog.put(event) for event in events])

    def stop(self) -> None:
        if self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._stopped.set)
            self._thread.join()

    def _run(self) -> None:
        with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
            runner.run(self._serve())

    async def _serve(self) -> None:
        self._loop, self._stopped = asyncio.get_running_loop(), asyncio.Event()
        self.run_file = self.server.start()
        self._ready.set()
        await self._stopped.wait()
        await self.server.stop()

    def _obey(self, command: Command) -> Acknowledged:
        self.commands.append(command)
        return Acknowledged(command.number, done=command.action != "refuse", message="heard")

    def _await(self, work):
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(30)


@pytest.fixture
def served() -> Iterator[Served]:
    served = Served()
    yield served
    served.stop()


def polled(feed: CaptureFeed, enough: Callable[[list[Message]], bool]) -> list[Message]:
    """Everything from the feed until it is enough."""
    messages: list[Message] = []
    until = time.monotonic() + 30
    while not enough(messages):
        assert time.monotonic() < until, f"only {len(messages)} messages came"
        messages += feed.poll()
        time.sleep(0.005)
    return messages


def beats(count: int) -> list[Event]:
    return [Event(n * 1000, 1, HEART_RATE, bytes([0, n % 200])) for n in range(count)]


def test_reading_the_backlog_gives_whole_frames_from_any_place() -> None:
    """Two readers at different paces get the same frames, across sealed blocks."""
    backlog = Backlog()
    events = beats(5_000)
    slow, fast = BacklogCursor(), BacklogCursor()
    slow_reader, fast_reader = FrameReader(), FrameReader()
    fast_seen: list[object] = []
    for event in events:
        backlog.put(event)
        data, fast = backlog.read(fast)
        fast_seen += fast_reader.feed(data)
    slow_seen: list[object] = []
    while True:
        data, slow = backlog.read(slow)
        if not data:
            break
        assert len(data) < BLOCK + 100
        slow_seen += slow_reader.feed(data)
    assert slow_seen == fast_seen == events
    assert slow == fast


def test_a_view_gets_everything_from_the_beginning_and_then_follows(served: Served) -> None:
    """A view attached late has the whole session, in order, and goes on live."""
    served.put(beats(3_000))
    feed = CaptureFeed.attach(served.run_file)
    try:
        first = polled(feed, lambda messages: len(messages) >= 3_000)
        served.put([Event(10_000_000, 2, HEART_RATE, b"\x00\x50")])
        served.do(lambda: served.backlog.tick(11_000_000))
        rest = polled(feed, lambda messages: len(messages) >= 2)
    finally:
        feed.close()
    assert first == beats(3_000)
    assert rest == [Event(10_000_000, 2, HEART_RATE, b"\x00\x50"), Tick(11_000_000)]
    assert (feed.plan, feed.title, feed.started_utc_ns) == (PLAN, "x.sqlite", 77)
    assert feed.is_live


def test_a_poll_is_bounded_so_that_a_view_draws_while_it_catches_up(served: Served) -> None:
    """Hours of backlog come in slices, complete and in order, though the view polls late."""
    events = beats(HELD + SLICE)
    served.put(events)
    feed = CaptureFeed.attach(served.run_file)
    try:
        seen: list[Message] = []
        longest = 0
        until = time.monotonic() + 50
        while len(seen) < len(events):
            assert time.monotonic() < until
            messages = feed.poll()
            longest = max(longest, len(messages))
            seen += messages
    finally:
        feed.close()
    assert seen == events
    assert longest <= SLICE


def test_a_frozen_view_costs_nothing(served: Served) -> None:
    """A view that never reads delays neither the capture nor another view, and grows no buffer."""
    run = read_run_file(served.run_file)
    frozen = socket.create_connection(("127.0.0.1", run.port))
    feed = None
    try:
        frozen.sendall(token_frame(run.token))
        long = bytes(250)  # 8 MB in all: far more than the sockets hold
        events = [event._replace(payload=long) for event in beats(30_000)]
        served.put(events)
        feed = CaptureFeed.attach(served.run_file)
        assert len(polled(feed, lambda messages: len(messages) >= len(events))) == len(events)
        held: list[int] = []
        served.do(lambda: held.extend(served.server.unsent_bytes()))
        assert len(held) == 2
        assert 0 < max(held) <= BLOCK + 1000
    finally:
        frozen.close()
        if feed is not None:
            feed.close()


def test_commands_are_carried_back_and_acknowledged(served: Served) -> None:
    """Each request reaches the capture once, in order, and its own answer comes back."""
    feed = CaptureFeed.attach(served.run_file)
    try:
        first = feed.send("marker", text="second set")
        second = feed.send("refuse", sensor=2)
        answers = polled(feed, lambda messages: len(messages) >= 2)
    finally:
        feed.close()
    assert [(c.action, c.values) for c in served.commands] == [
        ("marker", {"text": "second set"}),
        ("refuse", {"sensor": 2}),
    ]
    assert answers == [
        Acknowledged(first, done=True, message="heard"),
        Acknowledged(second, done=False, message="heard"),
    ]


def test_the_status_is_for_now_and_not_for_later_views(served: Served) -> None:
    """A status reaches who is attached; one who comes later gets the next one."""
    early = CaptureFeed.attach(served.run_file)
    late = None
    try:
        polled(early, lambda _: served.server.views == 1)
        served.do(lambda: served.server.tell(CaptureStatus("p", 1, 1, 0.0, 1)))
        assert polled(early, bool) == [CaptureStatus("p", 1, 1, 0.0, 1, in_front=True)]
        late = CaptureFeed.attach(served.run_file)
        served.do(lambda: served.backlog.tick(5))
        assert polled(late, bool) == [Tick(5)]
    finally:
        early.close()
        if late is not None:
            late.close()


def test_one_view_is_in_front(served: Served) -> None:
    """The newest view is told that it is in front, a watcher never; after it the one before."""
    feeds: list[CaptureFeed] = []

    def views_are(count: int) -> None:
        until = time.monotonic() + 30
        while served.server.views != count:
            assert time.monotonic() < until
            time.sleep(0.005)

    def fronts() -> list[bool]:
        served.do(lambda: served.server.tell(CaptureStatus("p", 1, 1, 0.0, 1)))
        told = [polled(feed, bool) for feed in feeds]
        return [status.in_front for (*_, status) in told if isinstance(status, CaptureStatus)]

    try:
        for count in (1, 2):
            feeds.append(CaptureFeed.attach(served.run_file))
            views_are(count)
        feeds.append(CaptureFeed.attach(served.run_file))
        feeds[2].send("watch")
        assert isinstance(polled(feeds[2], bool)[0], Acknowledged)
        views_are(2)
        assert fronts() == [False, True, False]
        feeds.pop(1).close()
        views_are(1)
        assert fronts() == [True, False]
    finally:
        for feed in feeds:
            feed.close()


def test_the_end_reaches_every_view(served: Served) -> None:
    """The last frame is the end with its reason, and requests after it are refused."""
    feed = CaptureFeed.attach(served.run_file)
    try:
        served.put(beats(10))
        served.do(lambda: served.backlog.end(Ended(99_000, "done")))
        served.stop()
        messages = polled(feed, lambda messages: Ended(99_000, "done") in messages)
        assert messages == [*beats(10), Ended(99_000, "done")]
        assert not served.run_file.exists()
        number = feed.send("marker", text="too late")
        answers = polled(feed, bool)
        assert answers == [Acknowledged(number, done=False, message="the capture has ended")]
    finally:
        feed.close()


def test_a_capture_that_vanishes_is_an_end_that_says_so(tmp_path: Path) -> None:
    """When the process is gone without a word, the view ends and names the file."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        path, _ = runfile.write_run_file(listener.getsockname()[1], "t", "c")
        backlog = Backlog()
        backlog.put(beats(2)[1])

        def serve() -> None:
            connection, _ = listener.accept()
            with connection:
                connection.recv(1000)
                from live.protocol.frames import hello_frame

                hello = Hello(VERSION, format_plan(PLAN), "t", "/c/x.sqlite", 0)
                connection.sendall(hello_frame(hello) + backlog.read(BacklogCursor())[0])

        thread = threading.Thread(target=serve)
        thread.start()
        feed = CaptureFeed.attach(path)
        thread.join()
        messages = polled(feed, lambda messages: len(messages) >= 2)
        feed.close()
    assert messages[0] == beats(2)[1]
    assert isinstance(messages[1], Ended)
    assert messages[1].t_ns == 1000
    assert "gone" in messages[1].reason
    assert messages[1].alarm is not None
    assert "/c/x.sqlite is not there" in messages[1].alarm.sentence


@pytest.mark.parametrize("words", [b"", b"GET / HTTP/1.1\r\n\r\n" * 10, token_frame("guess")])
def test_who_does_not_know_the_token_hears_nothing(served: Served, words: bytes) -> None:
    """Another user of this computer reaches the port, and gets not one byte."""
    served.put(beats(5))
    port = read_run_file(served.run_file).port
    with socket.create_connection(("127.0.0.1", port), timeout=30) as stranger:
        stranger.sendall(words)
        stranger.shutdown(socket.SHUT_WR)
        with contextlib.suppress(ConnectionResetError):
            assert stranger.recv(1000) == b""
    assert served.server.views == 0


def test_a_view_that_sends_nonsense_is_let_go(served: Served) -> None:
    """Bytes that are no command end that view only."""
    feed = CaptureFeed.attach(served.run_file)
    run = read_run_file(served.run_file)
    try:
        with socket.create_connection(("127.0.0.1", run.port), timeout=30) as bad:
            bad.sendall(token_frame(run.token) + b"\x63" + bytes(4))
            with contextlib.suppress(ConnectionResetError):
                while bad.recv(1000):
                    pass
        served.put(beats(1))
        assert polled(feed, bool) == beats(1)
    finally:
        feed.close()


@pytest.mark.skipif(sys.platform == "win32", reason="the profile's own rights count there")
def test_the_run_file_is_for_its_user_alone(served: Served) -> None:
    """Nobody else can read the token; the folder is closed too."""
    assert stat.S_IMODE(served.run_file.stat().st_mode) == 0o600
    assert stat.S_IMODE(served.run_file.parent.stat().st_mode) == 0o700


def test_the_one_running_capture_is_found(served: Served) -> None:
    """Without a name, the running capture is taken; run files of dead ones do not count."""
    stale = run_folder() / "1-1.json"
    stale.write_text('{"port": 1, "token": "t", "pid": 1, "title": "old", "capture": ""}')
    (run_folder() / "junk.json").write_text("{")
    assert find_capture() == served.run_file
    feed = CaptureFeed.attach()
    feed.close()


def test_without_a_capture_one_sentence_says_so() -> None:
    """Attaching to nothing, or to a file of a capture that ended, is explained."""
    with pytest.raises(NoCapture, match="no capture is running"):
        CaptureFeed.attach()
    with pytest.raises(NoCapture, match="there is no run file"):
        CaptureFeed.attach(run_folder() / "gone.json")
    stale = run_folder() / "1-1.json"
    stale.write_text('{"port": 1, "token": "t", "pid": 1, "title": "old", "capture": ""}')
    with pytest.raises(NoCapture, match="not running any more"):
        CaptureFeed.attach(stale)


def test_a_run_folder_that_cannot_be_made_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sentence names the folder and how another can be given."""
    (tmp_path / "file").touch()
    monkeypatch.setenv("SIDEBEAT_RUN_DIR", str(tmp_path / "file" / "run"))
    with pytest.raises(NoCapture, match=r"run, cannot be made .*SIDEBEAT_RUN_DIR"):
        find_capture()


def test_of_two_running_captures_one_must_be_named(served: Served) -> None:
    """With several captures running nothing is guessed."""
    other = Served()
    try:
        with pytest.raises(NoCapture, match="several captures are running"):
            find_capture()
    finally:
        other.stop()
    assert find_capture() == served.run_file
