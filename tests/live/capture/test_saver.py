"""The saving thread: what it promises to the capture loop and to the file."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from live.capture.saver import EARLIER_AT_ONCE, Saver
from replay.capture import COMMIT_EVERY_EVENTS, Capture, CaptureWriter
from replay.capture.notes import GOES_ON_IN, Note
from replay.errors import CaptureError, NotACapture
from replay.event import HEART_RATE, Event
from tests.standins.feeds import PLAN


class ScriptedWriter:
    """Remembers each step; ``fail_at``: the commit that fails; ``gate``: held while not set."""

    def __init__(self, fail_at: int | None = None) -> None:
        self.steps: list[object] = []
        self.committed = threading.Event()
        self.gate = threading.Event()
        self.gate.set()
        self._fail_at = fail_at
        self._appended = 0
        self._commits = 0

    def append(self, event: Event) -> None:
        self._appended += 1
        self.steps.append(event)

    def commit(self) -> int:
        self.gate.wait(30)
        self._commits += 1
        if self._commits == self._fail_at:
            raise CaptureError("the disk is full")
        self.steps.append("commit")
        self.committed.set()
        return self._appended

    def close(self, *, t_ns: int, reason: str) -> None:
        self.steps.append(("close", t_ns, reason))

    def abandon(self) -> None:
        self.steps.append("abandon")

    def keep_notes(self, notes) -> None:
        self.steps += notes


def beats(count: int, first: int = 0) -> list[Event]:
    return [Event(n, 1, HEART_RATE, bytes([0, 100])) for n in range(first, first + count)]


def started(writer: ScriptedWriter, failures: list[str] | None = None) -> Saver:
    told = failures if failures is not None else []
    saver = Saver(lambda: writer, lambda: told.append(saver.failure))
    saver.start()
    return saver


def test_a_burst_is_committed_by_count() -> None:
    """Sixty-four events are committed at once, without waiting for the time to pass."""
    writer = ScriptedWriter()
    writer.gate.clear()
    saver = started(writer)
    for event in beats(COMMIT_EVERY_EVENTS * 2):
        saver.put(event)
    writer.gate.set()
    saver.close(1_000, "done")
    assert saver.join(30)
    commits = [n for n, step in enumerate(writer.steps) if step == "commit"]
    assert commits[:2] == [COMMIT_EVERY_EVENTS, 2 * COMMIT_EVERY_EVENTS + 1]


def test_a_single_event_is_committed_by_time() -> None:
    """One event alone reaches the disk although no other follows."""
    writer = ScriptedWriter()
    saver = started(writer)
    saver.put(beats(1)[0])
    assert writer.committed.wait(30)
    saver.close(1, "done")
    assert saver.join(30)
    assert saver.committed == saver.accepted == 1


def test_handing_over_never_waits_for_the_disk() -> None:
    """While a commit hangs, thousands of events are taken and the delay is shown."""
    writer = ScriptedWriter()
    saver = started(writer)
    writer.gate.clear()
    for event in beats(5_000):
        saver.put(event)
    assert saver.accepted == 5_000
    assert saver.committed == 0
    assert saver.commit_age_s > 0
    writer.gate.set()
    saver.close(9_999, "done")
    assert saver.join(30)
    assert saver.committed == 5_000
    assert saver.commit_age_s == 0
    assert writer.steps[-1] == ("close", 9_999, "done")


def test_the_first_error_ends_the_saving_and_is_told_once() -> None:
    """After a failed commit nothing more is written, and what was saved is known."""
    failures: list[str] = []
    writer = ScriptedWriter(fail_at=2)
    saver = started(writer, failures)
    for event in beats(COMMIT_EVERY_EVENTS * 3):
        saver.put(event)
    assert saver.join(30)
    saver.put(beats(1)[0])
    saver.close(1_000, "done")
    assert failures == ["saving failed: the disk is full"]
    assert saver.failure == failures[0]
    assert saver.committed == COMMIT_EVERY_EVENTS
    assert saver.accepted == COMMIT_EVERY_EVENTS * 3 + 1
    assert writer.steps[-1] == "abandon"


def test_a_file_that_cannot_be_made_is_told_at_once(tmp_path: Path) -> None:
    """Opening fails in the thread, and the error is raised where the capture starts."""
    path = tmp_path / "missing" / "x.sqlite"
    saver = Saver(
        lambda: CaptureWriter(path, PLAN, started_utc_ns=1, software="test"), lambda: None
    )
    with pytest.raises(CaptureError, match="cannot create"):
        saver.start()
    assert saver.join(30)


def test_the_real_writer_ends_as_a_clean_file(tmp_path: Path) -> None:
    """Through the thread to a real file and back: the same events, a clean end."""
    path = tmp_path / "x.sqlite"
    saver = Saver(
        lambda: CaptureWriter(path, PLAN, started_utc_ns=1, software="test"), lambda: None
    )
    saver.start()
    events = beats(200)
    for event in events:
        saver.put(event)
    saver.close(500, "done")
    assert saver.join(30)
    assert (saver.failure, saver.failed_by_disk) == ("", False)
    with Capture.open(path) as capture:
        assert list(capture.events()) == events
        assert (capture.clean, capture.end_t_ns, capture.end_reason) == (True, 500, "done")


def test_what_came_before_is_written_before_anything_else() -> None:
    """A file that is begun later holds all from the first event on; then it is told."""
    writer = ScriptedWriter()
    saver = started(writer)
    assert not saver.caught_up.is_set()
    saver.catch_up(iter(beats(EARLIER_AT_ONCE + 5)), EARLIER_AT_ONCE + 5)
    for event in beats(3, first=EARLIER_AT_ONCE + 5):
        saver.put(event)
    assert saver.caught_up.wait(30)
    assert saver.committed >= EARLIER_AT_ONCE + 5
    saver.close(9_999_999, "done")
    assert saver.join(30)
    assert saver.committed == saver.accepted == EARLIER_AT_ONCE + 8
    assert [step for step in writer.steps if isinstance(step, Event)] == beats(EARLIER_AT_ONCE + 8)
    commits = [n for n, step in enumerate(writer.steps) if step == "commit"]
    assert commits[:2] == [EARLIER_AT_ONCE, EARLIER_AT_ONCE + 6]


def test_nobody_waits_for_a_file_that_cannot_take_what_came_before() -> None:
    """The waiting ends with the saving, and the failure tells why."""
    saver = started(ScriptedWriter(fail_at=1))
    saver.catch_up(iter(beats(5)), 5)
    assert saver.caught_up.wait(30)
    assert saver.join(30)
    assert saver.failure
    assert (saver.accepted, saver.committed) == (5, 0)


def test_a_file_that_is_left_is_told_where_the_recording_goes_on() -> None:
    """What waits is committed, then the note; the file has no ending."""
    writer = ScriptedWriter()
    saver = started(writer)
    saver.put(beats(1)[0])
    note = Note(1, 0, GOES_ON_IN, {"file": "b.sqlite"})
    saver.let_go(note)
    assert saver.join(30)
    assert writer.steps == [*beats(1), "commit", note, "abandon"]
    assert saver.failure == ""


@pytest.mark.parametrize(
    ("raised", "told", "words"),
    [
        (RuntimeError("no memory"), CaptureError, "the capture file cannot be created: no memory"),
        (FileExistsError("x"), FileExistsError, "x"),
        (NotACapture("it is none"), NotACapture, "it is none"),
    ],
)
def test_what_stops_the_opening_is_one_sentence(
    raised: Exception, told: type[Exception], words: str
) -> None:
    """Sentences of ours come as they are; anything else is put into one."""

    def fail() -> CaptureWriter:
        raise raised

    saver = Saver(fail, lambda: None)
    with pytest.raises(told, match=words) as caught:
        saver.start()
    assert type(caught.value) is told
    assert saver.join(30)
