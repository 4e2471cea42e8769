"""From the set-up page over a real capture process to a finished file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PySide6.QtCore import QEvent
from PySide6.QtWidgets import QApplication

from live.__main__ import main
from live.protocol.run_file import RUN_FOLDER_VARIABLE
from live.setup.known_sensors import CONFIG_FOLDER_VARIABLE
from live.views.window.live.main_window import MainWindow
from live.views.window.parts.dialogs import LeaveChoice, LeaveDialog
from live.views.window.setup.app import live_window
from live.views.window.setup.keys import Step
from replay.capture import Capture
from replay.event import ANCHOR, HEART_RATE, LINK
from replay.plan import load_plan
from tests.standins.setups import setup_page, stop_frames, strap_and_wrist, until

pytestmark = pytest.mark.timeout(120)


@pytest.fixture(autouse=True)
def own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(CONFIG_FOLDER_VARIABLE, str(tmp_path / "config"))
    monkeypatch.setenv(RUN_FOLDER_VARIABLE, str(tmp_path / "run"))


def fill(window) -> None:
    for sensor in strap_and_wrist():
        window.plan_page.insert(sensor)
    window.plan_page.form.wearer.setText("W1")
    window.plan_page.form.activity.setCurrentText("rowing ergometer")
    window.plan_page.take_form()


def shut(window: MainWindow) -> None:
    window.leave()
    window.deleteLater()
    QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def test_from_the_page_to_a_whole_file(tmp_path, capsys):
    """Plan, checks, start, live window, asked on closing, end: the file is whole and its own."""
    out = tmp_path / "captures"
    with setup_page(out) as (window, child):
        assert not window.footer.forward.isEnabled()
        fill(window)
        assert window.footer.forward.isEnabled()
        shown: list[MainWindow] = []
        window.recording.connect(lambda feed: shown.append(live_window(window, feed)))
        window.do(Step.FORWARD)
        assert child.gone
        until(window.frame, lambda: window.rehearsal and window.rehearsal.is_heard, "rehearsal")
        until(
            window.frame,
            lambda: any("bpm" in check.sentence for check in window.check_page.checks),
            "reading",
        )
        assert list(out.glob("*")) == []
        assert window.footer.forward.text() == "Start recording all the same"
        window.do(Step.FORWARD)
        until(window.frame, lambda: shown, "live window")
        (live,) = shown
        stop_frames(live)
        assert not window.isVisible()
        until(live.frame, lambda: live.model.board.second >= 1, "grid second")
        assert live.model.snapshot().sensors[0].bpm is not None
        live.close()
        assert isinstance(live.dialog, LeaveDialog)
        live.dialog.buttons[LeaveChoice.END].click()
        until(live.frame, lambda: live.model.ended is not None, "end")
        capture_process = window.rehearsal.child
        shut(live)
        assert capture_process.wait() == 0
    (path,) = out.glob("*.sqlite")
    capsys.readouterr()
    assert main(["check", str(path), "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert (facts["whole"], facts["clean"]) == (True, True)
    with Capture.open(path) as capture:
        events = list(capture.events())
        assert capture.plan == load_plan(path.with_suffix(".toml"))
        assert capture.plan.invented
    assert events[0].channel == ANCHOR
    assert {e.sensor for e in events if e.channel == HEART_RATE} == {1, 2}


def test_the_file_begins_when_the_recording_does(tmp_path):
    """What was heard while rehearsing is not in the file, but how the links stand is."""
    out = tmp_path / "captures"
    feeds = []
    with setup_page(out) as (window, _):
        fill(window)
        window.recording.connect(feeds.append)
        window.do(Step.FORWARD)

        def heard() -> bool:
            return window.rehearsal is not None and all(
                status.notifications > 2
                for status in window.rehearsal.checks.board.snapshot().sensors
            )

        until(window.frame, heard, "notifications")
        rehearsed = window.rehearsal.checks.board.snapshot()
        window.do(Step.FORWARD)
        until(window.frame, lambda: feeds, "recording")
        (feed,) = feeds
        feed.send("stop")
        assert window.rehearsal.child.wait() == 0
        feed.close()
    (path,) = out.glob("*.sqlite")
    with Capture.open(path) as capture:
        events = list(capture.events())
        assert capture.duration_ns < rehearsed.t_ns + 30e9
    assert 0 <= events[0].t_ns < 1e9
    first = {}
    for event in events:
        first.setdefault((event.sensor, event.channel), event)
    assert first[1, LINK].payload == b"streaming"
    assert first[1, LINK].t_ns < 2e9
    assert (1, "2a38") in first
    assert [e.t_ns for e in events] == sorted(e.t_ns for e in events)


def test_a_folder_that_refuses_keeps_the_rehearsal(tmp_path):
    """Where the file cannot be made, the page says so, and the rehearsal goes on."""
    blocked = tmp_path / "a file"
    blocked.write_text("x")
    with setup_page(blocked / "captures") as (window, _):
        fill(window)
        window.do(Step.FORWARD)
        until(window.frame, lambda: window.rehearsal and window.rehearsal.is_heard, "rehearsal")
        window.do(Step.FORWARD)
        until(window.frame, lambda: window.rehearsal.refusal, "refusal")
        window.frame()
        assert "cannot be made" in window.check_page.told.text()
        assert window.rehearsal.recording is None
        assert window.rehearsal.problem == ""
        assert window.footer.forward.isEnabled()


def test_going_back_lets_go_of_the_sensors(tmp_path):
    """Back to the plan ends the capture process, and nothing was saved."""
    with setup_page(tmp_path / "captures") as (window, _):
        fill(window)
        window.do(Step.FORWARD)
        until(window.frame, lambda: window.rehearsal and window.rehearsal.is_heard, "rehearsal")
        rehearsal = window.rehearsal
        window.do(Step.BACK)
        assert window.rehearsal is None
        assert window.plan_page.isVisible()
        rehearsal.wait_for_end(40)
        assert rehearsal.child.has_ended
        assert not (tmp_path / "captures").exists()
