"""Lines for the tester: in order, each written or counted, and nobody waits for a reader."""

from __future__ import annotations

import io
import os
import threading
import time

from live.capture.line_writer import LineWriter


def test_lines_that_nobody_reads_are_counted_and_told() -> None:
    """What does not fit into the queue is dropped; the reader who comes back is told how much."""
    reading, writing = os.pipe()
    with os.fdopen(writing, "w") as stream, os.fdopen(reading) as reader:
        lines = LineWriter(stream, most=5)
        line = "x" * 1000
        for _ in range(500):  # 64 KiB and 5 lines fit
            lines.put(line)
            time.sleep(0)
        assert not lines.flush(0.2)
        dropped = lines.dropped
        assert dropped > 300
        told = ""
        while "not shown" not in told:
            told = reader.readline()
            lines.put("news")
        assert int(told.split()[1]) >= dropped
        while reader.readline() != "news\n":
            pass
        assert lines.close(10.0)


def test_lines_come_in_order_and_a_closed_reader_is_no_error() -> None:
    """Lines are written one by one in their order; where nobody is any more, they are dropped."""
    stream = io.StringIO()
    lines = LineWriter(stream)
    for number in range(100):
        lines.put(str(number))
    assert lines.flush(10.0)
    assert stream.getvalue().split() == [str(number) for number in range(100)]
    stream.close()
    lines.put("too late")
    assert lines.close(10.0)
    assert lines.dropped == 1


class Slow(io.StringIO):
    """A stream in memory; while ``gate`` is not set, a write waits, and ``entered`` says so."""

    def __init__(self) -> None:
        super().__init__()
        self.gate, self.entered = threading.Event(), threading.Event()

    def write(self, text: str) -> int:
        self.entered.set()
        assert self.gate.wait(30)
        return super().write(text)


def test_what_did_not_fit_is_told_in_its_place_and_once() -> None:
    """Before the next line that is shown; every line is either written or counted."""
    stream = Slow()
    lines = LineWriter(stream, most=5)
    lines.put("first")
    assert stream.entered.wait(30)
    for number in range(9):
        lines.put(str(number))
    assert lines.dropped == 4
    stream.gate.set()
    assert lines.flush(10.0)
    told = "sidebeat: 4 lines were not shown: nobody read them"
    assert stream.getvalue().splitlines() == ["first", told, "0", "1", "2", "3", "4"]
    assert (lines.dropped, lines.close(10.0)) == (4, True)


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
    for _ in range(1000):
        if lines.flush(0.0):
            break
        time.sleep(0.005)
    lines.put("second")
    assert lines.flush(10.0)
    assert stream.getvalue().split() == ["first", "second"]
    assert lines.close(10.0)


def test_lines_go_past_the_lock_of_the_stream() -> None:
    """The interpreter waits for that lock when it ends, and the thread is left to end with it."""
    reading, writing = os.pipe()
    with os.fdopen(writing, "w") as stream, os.fdopen(reading) as reader:
        lines = LineWriter(stream)
        (thread,) = (one for one in threading.enumerate() if one.name == "log lines")
        assert thread.daemon
        stream.close = stream.write = None  # type: ignore[method-assign, assignment]
        lines.put("past it")
        assert reader.readline() == "past it\n"
        assert lines.close(10.0)
        del stream.close, stream.write
