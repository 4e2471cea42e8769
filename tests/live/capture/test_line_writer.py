"""Lines for the tester: in order, each written or counted, and nobody waits for a reader."""

from __future__ import annotations

import io
import os
import re
import select
import threading
import time

from live.capture.line_writer import LineWriter


def read_all(descriptor: int, silent_s: float = 0.5) -> str:
    """What comes out of a pipe until nothing has come for so long."""
    read = b""
    while select.select([descriptor], [], [], silent_s)[0]:
        read += os.read(descriptor, 1 << 16)
    return read.decode()


def test_lines_that_nobody_reads_are_counted_and_told() -> None:
    """What does not fit is dropped; the reader who comes back has all the rest, and is told."""
    reading, writing = os.pipe()
    with os.fdopen(writing, "w") as stream, os.fdopen(reading):
        lines = LineWriter(stream, most=5)
        line = "x" * 1000
        for _ in range(300):  # 64 KiB and 5 lines fit
            lines.put(line)
            time.sleep(0)
        assert not lines.flush(0.2)
        dropped = lines.dropped
        assert dropped > 200
        told = read_all(reading).splitlines()
        assert told.count(line) == 300 - dropped
        assert lines.close(5.0)
        # Told at once, or in two parts: the thread may begin while lines are being put.
        words = re.compile(r"sidebeat: (\d+) lines were not shown: nobody read them")
        parts = [words.fullmatch(one) for one in told if one != line]
        assert all(parts)
        assert sum(int(part[1]) for part in parts) == dropped


def test_lines_come_in_order_and_a_closed_reader_is_no_error() -> None:
    """Lines are written one by one in their order; where nobody is any more, they are dropped."""
    stream = io.StringIO()
    lines = LineWriter(stream)
    for number in range(100):
        lines.put(str(number))
    assert lines.flush(5.0)
    assert stream.getvalue().split() == [str(number) for number in range(100)]
    stream.close()
    lines.put("too late")
    assert lines.close(5.0)
    assert lines.dropped == 1


class Slow(io.StringIO):
    """A stream in memory; while ``gate`` is not set, a write waits, and ``entered`` says so."""

    def __init__(self) -> None:
        super().__init__()
        self.gate, self.entered = threading.Event(), threading.Event()

    def write(self, text: str) -> int:
        self.entered.set()
        assert self.gate.wait(5)
        return super().write(text)


def test_what_did_not_fit_is_told_in_its_place_and_once() -> None:
    """Before the next line that is shown; every line is either written or counted."""
    stream = Slow()
    lines = LineWriter(stream, most=5)
    lines.put("first")
    assert stream.entered.wait(5)
    for number in range(9):
        lines.put(str(number))
    assert lines.dropped == 4
    stream.gate.set()
    assert lines.flush(5.0)
    told = "sidebeat: 4 lines were not shown: nobody read them"
    assert stream.getvalue().splitlines() == ["first", told, "0", "1", "2", "3", "4"]
    assert (lines.dropped, lines.close(5.0)) == (4, True)


def test_who_has_not_read_within_the_time_is_not_waited_for_again() -> None:
    """The end of the program does not last longer with each flush; who reads again is heard."""
    stream = Slow()
    lines = LineWriter(stream)
    lines.put("first")
    assert not lines.flush(0.01)
    before = time.monotonic()
    assert not lines.flush(20.0)
    assert not lines.close(20.0)
    assert time.monotonic() - before < 5
    stream.gate.set()
    for _ in range(400):
        if lines.flush(0.0):
            break
        time.sleep(0.005)
    lines.put("second")
    assert lines.flush(5.0)
    assert stream.getvalue().split() == ["first", "second"]
    assert lines.close(5.0)


def test_after_its_end_nothing_is_waited_for() -> None:
    """Logging flushes each of its handlers once more when the interpreter ends."""
    lines = LineWriter(io.StringIO())
    lines.put("last")
    assert lines.close(5.0)
    before = time.monotonic()
    assert lines.flush(20.0)
    assert time.monotonic() - before < 5


def test_lines_go_past_the_lock_of_the_stream() -> None:
    """The interpreter waits for that lock when it ends, and the thread is left to end with it."""
    reading, writing = os.pipe()
    with os.fdopen(writing, "w") as stream, os.fdopen(reading):
        lines = LineWriter(stream)
        (thread,) = (one for one in threading.enumerate() if one.name == "log lines")
        assert thread.daemon
        stream.close = stream.write = None  # type: ignore[method-assign, assignment]
        lines.put("past it")
        assert read_all(reading) == "past it\n"
        assert lines.close(5.0)
        del stream.close, stream.write
