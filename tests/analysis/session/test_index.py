"""A recording that was read whole: what came before an instant, and the work that reads it."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from analysis.session.bookmarks import BookmarkKind
from analysis.session.index import CaptureIndex, Job, findings, read_index
from analysis.statistics.efforts import Kind
from replay.capture import Capture
from replay.errors import CaptureError
from replay.event import HEART_RATE, NS_PER_S
from tests.standins.feeds import beat, two_sensors, written


@pytest.fixture(name="index")
def index_fixture(tmp_path: Path) -> CaptureIndex:
    """Sorrel has sent at 2, 5 and 9 s."""
    events = [beat(second, 2, 100) for second in (2, 5, 9)]
    return read_index(written(tmp_path / "c.sqlite", events, end_s=10))


@pytest.mark.parametrize(
    ("at_s", "before_s"), [(0, None), (2, None), (3, 2), (5, 2), (9, 5), (10, 9)]
)
def test_the_one_before_is_the_newest_that_is_earlier(index, at_s, before_s) -> None:
    """None before the first, and none of a sensor or a channel that has sent nothing."""
    before_ns = None if before_s is None else before_s * NS_PER_S
    assert index.before(2, HEART_RATE, at_s * NS_PER_S) == before_ns
    assert index.before(1, HEART_RATE, at_s * NS_PER_S) is None
    assert index.before(2, "2a19", at_s * NS_PER_S) is None


def test_findings_are_of_the_efforts_and_say_how_many_notes_they_rest_on(tmp_path) -> None:
    """Dips are none; the number of notes stands in the record, 0 unless it is told."""
    path = written(tmp_path / "c.sqlite", two_sensors(240), end_s=240)
    index = read_index(path)
    with Capture.open(path) as capture:
        found = findings(index, capture.plan, capture.effective_notes)
        noted = findings(index, capture.plan, capture.effective_notes, 3)
    efforts = tuple(one for one in found.record.efforts if one.kind is Kind.EFFORT)
    assert found.efforts == efforts != found.record.efforts
    marked = [one for one in found.bookmarks if one.kind is BookmarkKind.EFFORT]
    assert len(marked) == len(efforts)
    assert (found.record.provenance.notes, noted.record.provenance.notes) == (0, 3)


def test_a_job_is_done_when_its_work_is() -> None:
    """It has its result then, and never keeps the program from ending."""
    gate = threading.Event()

    def work() -> str:
        assert threading.current_thread().daemon
        gate.wait(30)
        return "result"

    job = Job(work, "test")
    assert (job.done, job.result, job.problem) == (False, None, "")
    gate.set()
    job.wait()
    assert (job.done, job.result, job.problem) == (True, "result", "")


@pytest.mark.parametrize(
    ("error", "problem"),
    [(CaptureError("it is damaged"), "it is damaged"), (KeyError("x"), "KeyError: 'x'")],
)
def test_a_job_that_fails_has_its_reason_and_no_result(error, problem) -> None:
    """One of ours is a sentence already; any other is named."""

    def work() -> None:
        raise error

    job = Job(work, "test")
    job.wait()
    assert (job.done, job.result, job.problem) == (True, None, problem)
