"""From a notification to the file and to the board: how many a second, and what share of a core.

Run ``python -m benchmarks.bench_ingest``.  For 1, 8 and 50 sensors the real parts are fed as fast
as they take it: the session (order, stamps), the saver with its file (until all is committed), the
frames to a view and back, and the view's board (decoded, paired, all rules).  Processor time of
this process, all threads.  Beside it, in the same run, what a script does that only keeps the
bytes: a line of JSON for each notification, written and flushed once a second.  What counts is the
ratio; the share of one core is that of sensors that notify ``--rate`` times a second.

Then a window is attached to another process that sends the frames of a capture in real time, as a
view of a recording is: offscreen, with the threads that read them.  Told are the time from the
arrival of a notification, where it is stamped, to the end of the first picture that was drawn with
it, and the processor time of the window's whole process.  It waits for the next frame; what comes
on top is the window's own.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import json
import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from PySide6.QtCore import QTimer

from analysis.board import Board
from benchmarks.pushed import plan_of
from live.capture.clock import MonotonicClock
from live.capture.saver import Saver
from live.capture.session import Session
from live.protocol.capture_feed import CaptureFeed
from live.protocol.feed import Message
from live.protocol.frames import FrameReader, Hello, event_frame, tick_frame
from live.views.window.live.main_window import MainWindow
from live.views.window.live.pace import FRAME_MS, SLOWEST_MS
from live.views.window.parts.application import open_application
from replay.capture import CaptureWriter
from replay.event import HEART_RATE, NS_PER_S, Event
from replay.payloads.heart_rate import encode_heart_rate
from replay.plan import format_plan

EVENTS = 40_000
_UTC_NS = 1_767_225_600 * NS_PER_S
_WARM_S = 5.0
"""Fonts and pictures that are made once are not what a session takes."""


class _Views:
    """Keeps what a view would be sent."""

    def __init__(self) -> None:
        self.events: list[Event] = []

    def put(self, event: Event) -> None:
        self.events.append(event)

    def tick(self, t_ns: int) -> None:
        del t_ns


def _notifications(sensors: int, rate_hz: float, count: int) -> Iterator[tuple[int, int, bytes]]:
    """``(t_ns, sensor, payload)`` of a heart that goes up and down once in five minutes."""
    spacing_ns = round(NS_PER_S / (rate_hz * sensors))
    for number in range(count):
        t_ns, sensor = number * spacing_ns, number % sensors + 1
        bpm = round(120 + 45 * np.sin(t_ns / NS_PER_S / 300 * 2 * np.pi)) + sensor % 3
        rr = (61_440 // bpm,) if sensor % 2 and (t_ns // NS_PER_S) % 2 else ()
        yield t_ns, sensor, encode_heart_rate(bpm, contact=True, rr=rr)


def _cpu_s(work: Callable[[], object]) -> float:
    gc.collect()
    start = time.process_time()
    work()
    return time.process_time() - start


async def _recorded(sensors: int, heard: list[tuple[int, int, bytes]], path: Path) -> list[Event]:
    """What the capture process does with each; the events as the views get them."""
    plan, clock, views = plan_of(sensors), MonotonicClock(), _Views()
    saver = Saver(
        lambda: CaptureWriter(path, plan, started_utc_ns=_UTC_NS, software="benchmark"),
        lambda: None,
    )
    saver.start()
    session = Session(clock, sensors, saver, views)
    for t_ns, sensor, payload in heard:
        session.emit(t_ns, sensor, HEART_RATE, payload)
    saver.close(session.end(), "stopped by the benchmark")
    saver.join()
    if saver.failure or saver.committed != len(heard):
        raise SystemExit(f"not saved: {saver.failure}")
    return views.events


def _lines(heard: list[tuple[int, int, bytes]], path: Path) -> None:
    second = -1
    with path.open("w") as file:
        for t_ns, sensor, payload in heard:
            line = {"t_ns": t_ns, "sensor": sensor, "payload": payload.hex()}
            file.write(json.dumps(line) + "\n")
            if t_ns // NS_PER_S != second:
                second = t_ns // NS_PER_S
                file.flush()


def _passed_on(events: list[Event]) -> None:
    reader = FrameReader()
    for event in events:
        list(reader.feed(event_frame(event)))


def _on_board(sensors: int, events: list[Event]) -> None:
    board = Board(plan_of(sensors))
    for event in events:
        board.feed(event)


def _ingest(sensors: int, rate_hz: float) -> None:
    heard = list(_notifications(sensors, rate_hz, EVENTS))
    with tempfile.TemporaryDirectory() as folder:
        plain_s = _cpu_s(lambda: _lines(heard, Path(folder) / "lines.jsonl"))
        events: list[Event] = []
        saved_s = _cpu_s(
            lambda: events.extend(asyncio.run(_recorded(sensors, heard, Path(folder) / "c.sqlite")))
        )
    sent_s = _cpu_s(lambda: _passed_on(events))
    board_s = _cpu_s(lambda: _on_board(sensors, events))
    whole_s = saved_s + sent_s + board_s
    share = whole_s / EVENTS * sensors * rate_hz
    print(
        f"{sensors:3} sensors: {EVENTS / whole_s:7.0f} a second, {share:6.2%} of a core at "
        f"{rate_hz:g} Hz each; stamped and saved {saved_s / plain_s:.1f}, passed to a view "
        f"{sent_s / plain_s:.1f}, decoded, paired and judged {board_s / plain_s:.1f} times as "
        "long as lines of JSON"
    )


def _send(port: int, zero_ns: int, sensors: int, rate_hz: float) -> None:
    """Be a capture to the view at a port: notifications and four ticks a second, until it goes."""
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        tick_s, ticked = 0.25, 0.0
        for t_ns, sensor, payload in _notifications(sensors, rate_hz, 1 << 40):
            now_s = (time.monotonic_ns() - zero_ns) / NS_PER_S
            if now_s < t_ns / NS_PER_S:
                time.sleep(t_ns / NS_PER_S - now_s)
            arrived_ns = time.monotonic_ns() - zero_ns
            frames = event_frame(Event(arrived_ns, sensor, HEART_RATE, payload))
            if arrived_ns / NS_PER_S >= ticked + tick_s:
                ticked = arrived_ns / NS_PER_S
                frames += tick_frame(arrived_ns)
            try:
                connection.sendall(frames)
            except OSError:
                return


class _Timed(CaptureFeed):
    """Tells how long what was polled had to wait until it was painted, s."""

    def __init__(self, connection: socket.socket, hello: Hello, zero_ns: int) -> None:
        super().__init__(connection, hello, FrameReader(), Path("benchmark"))
        self._zero_ns = zero_ns
        self.waits: list[float] = []

    def poll(self) -> list[Message]:
        messages = super().poll()
        arrived = [message.t_ns for message in messages if isinstance(message, Event)]
        # Painting is due before any timer of no time; the second one, so that it has been done.
        QTimer.singleShot(0, lambda: QTimer.singleShot(0, lambda: self._painted(arrived)))
        return messages

    def _painted(self, arrived: list[int]) -> None:
        now_ns = time.monotonic_ns() - self._zero_ns
        self.waits += [(now_ns - at_ns) / NS_PER_S for at_ns in arrived]


def _to_the_picture(sensors: int, rate_hz: float, seconds: float) -> None:
    application = open_application()
    plan, zero_ns = plan_of(sensors), time.monotonic_ns()
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
        given = ["--send", str(port), str(zero_ns), str(sensors), "--rate", str(rate_hz)]
        sender = subprocess.Popen([sys.executable, "-m", "benchmarks.bench_ingest", *given])
        connection, _ = listener.accept()
    feed = _Timed(connection, Hello(1, format_plan(plan), "benchmark", "", _UTC_NS), zero_ns)
    window = MainWindow(feed)
    window.show()
    window.start()
    begun: list[float] = []

    def begin() -> None:
        feed.waits.clear()
        begun.extend((time.perf_counter(), time.process_time()))

    QTimer.singleShot(round(1000 * _WARM_S), begin)
    QTimer.singleShot(round(1000 * (_WARM_S + seconds)), lambda: application.exit(0))
    application.exec()
    share = (time.process_time() - begun[1]) / (time.perf_counter() - begun[0])
    window.leave()
    sender.kill()
    sender.wait()
    p50, p99 = np.percentile(feed.waits, (50, 99)) * 1000
    print(
        f"window, {sensors} sensors at {rate_hz:g} Hz, a frame each {FRAME_MS} to {SLOWEST_MS} ms: "
        f"from arrival to picture p50 {p50:.0f} ms, p99 {p99:.0f} ms; {share:.0%} of a core"
    )


def main(arguments: list[str] | None = None) -> int:
    """Run the benchmark from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--rate", type=float, default=4.0, help="notifications a second")
    parser.add_argument("--seconds", type=float, default=20.0, help="of the window, in real time")
    parser.add_argument("--window", action="store_true", help="the window alone")
    parser.add_argument("--send", type=int, nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args(arguments)
    if options.send:
        _send(*options.send, options.rate)
        return 0
    for sensors in () if options.window else (1, 8, 50):
        _ingest(sensors, options.rate)
    for sensors in (8, 50):
        _to_the_picture(sensors, options.rate, options.seconds)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
