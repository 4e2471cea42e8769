"""The rehearsing capture process: what it says, what it refuses, when it ends by itself."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path

import pytest

from live.protocol.capture_feed import CaptureFeed
from live.protocol.feed import RECORDING_BEGINS, Acknowledged, Ended
from live.protocol.run_file import RUN_FOLDER_VARIABLE, read_run_file
from live.setup.rehearsal import Rehearsal
from replay.capture import Capture
from replay.event import ANCHOR
from tests.standins.running import follow, running_capture
from tests.standins.setups import practice_plan

IMPATIENT = "import live.capture.process as process\nprocess.ABANDONED_S = 0.3"


def has(kind: type):
    return lambda messages: any(isinstance(message, kind) for message in messages)


def test_a_rehearsal_that_nobody_watches_ends(tmp_path: Path) -> None:
    """A page that crashed leaves no process behind that holds its sensors, and no file."""
    with running_capture(
        tmp_path / "c", practice_plan(), "--rehearse", before=IMPATIENT
    ) as capture:
        assert capture.wait() == 0
        lines = [json.loads(line) for line in capture.stdout.splitlines()]
        assert set(lines[0]) == {"run_file"}
        assert lines[1]["reason"] == "nobody watches the rehearsal"
        assert not capture.out.exists()


def test_a_recording_that_nobody_watches_goes_on(tmp_path: Path) -> None:
    """Once it records, a page that goes costs nothing; another view attaches at the same place."""
    with running_capture(
        tmp_path / "c", practice_plan(), "--rehearse", before=IMPATIENT
    ) as capture:
        feed = capture.attach()
        number = feed.send("record")
        messages = follow(feed, has(Ended))
        (ended,) = [m for m in messages if isinstance(m, Ended)]
        assert ended.reason == RECORDING_BEGINS
        assert number == 1
        feed.close()
        time.sleep(1.0)  # longer than a rehearsal would have waited
        run = capture.run_file()
        assert read_run_file(run).capture == str(capture.file())
        feed = CaptureFeed.attach(run)
        assert feed.title == capture.file().name
        again = feed.send("record")
        (answer,) = [m for m in follow(feed, has(Acknowledged)) if isinstance(m, Acknowledged)]
        assert (answer.number, answer.done) == (again, False)
        feed.send("marker", text="turn")
        feed.send("stop")
        assert capture.wait() == 0
        feed.close()
        with Capture.open(capture.file()) as recorded:
            events = list(recorded.events())
            assert recorded.clean
        assert events[0].channel == ANCHOR
        assert [e.payload for e in events if e.channel == "marker"] == [b"turn"]


def test_minutes_count_from_the_start_of_the_recording(tmp_path: Path) -> None:
    """A rehearsal does not use up the minutes that were asked for."""
    with running_capture(
        tmp_path / "c", practice_plan(), "--rehearse", "--minutes", "0.02"
    ) as capture:
        feed = capture.attach()
        time.sleep(1.5)  # longer than the minutes
        assert capture.process.poll() is None
        feed.send("record")
        follow(feed, has(Ended))
        assert capture.wait() == 0
        feed.close()
        with Capture.open(capture.file()) as recorded:
            assert recorded.end_reason == "0.02 min have passed"
            assert recorded.duration_ns >= 1.2e9


@pytest.mark.parametrize("change", [{"activity": "chess"}, {"sensors": "no kind"}])
def test_a_plan_that_cannot_be_rehearsed_is_one_sentence(
    change: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the capture process refuses stands in ``problem``, and no process is left."""
    monkeypatch.setenv(RUN_FOLDER_VARIABLE, str(tmp_path / "run"))
    plan = practice_plan()
    if "activity" in change:
        plan = replace(plan, activity="chess")
    else:
        plan = replace(plan, sensors=tuple(replace(s, kind="spoon") for s in plan.sensors))
    rehearsal = Rehearsal(plan, tmp_path / "captures")
    give_up = time.monotonic() + 40
    while not rehearsal.problem and time.monotonic() < give_up:
        rehearsal.poll()
        time.sleep(0.02)
    assert "must" in rehearsal.problem or "can only do" in rehearsal.problem
    assert rehearsal.child.wait() == 2
    rehearsal.stop()
    rehearsal.wait_for_end(40)
