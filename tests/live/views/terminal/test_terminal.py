"""The terminal view: what it shows, what its keys do, how it is left."""

from __future__ import annotations

import io
import logging
import os
import sys
from dataclasses import replace

import pytest
from rich.console import Console

from analysis.board.rules.levels import LowBattery
from analysis.board.snapshot import (
    Agreement,
    EffortCounts,
    SensorWarning,
    Severity,
    WarningKind,
)
from analysis.report.words import count
from live.protocol.feed import Acknowledged, CaptureStatus, Ended, Tick
from live.protocol.file_feed import FileFeed
from live.protocol.view_model import ViewModel
from live.views.terminal.app import TerminalView, run_terminal
from live.views.terminal.keys import parse_posix
from live.views.terminal.lines import Lines
from live.views.terminal.screen import ScreenState, clock, screen
from live.views.terminal.summary import print_summary
from live.views.terminal.tables import signed
from live.views.terminal.warning_lines import warning_lines
from replay.event import NS_PER_S
from replay.plan import PlannedSensor
from tests.standins.feeds import PLAN, ScriptedFeed, beat, two_sensors, written

STATUS = CaptureStatus(path="/d/x.sqlite", events=61, saved=60, commit_age_s=0.2, views=1)
DRY = SensorWarning(
    number=1,
    kind=WarningKind.NO_CONTACT,
    sensor=1,
    severity=Severity.REFERENCE_FAULT,
    since_s=50,
    start_s=54,
    end_s=None,
    cause="Its contact bits say that it is off the skin.",
    advice="Wet the strap's electrodes and tighten it by a finger.",
)


def board_after(seconds, *, apart=2, plan=PLAN):
    model = ViewModel(
        ScriptedFeed([[*two_sensors(seconds, apart=apart), Tick(seconds * NS_PER_S)]], plan=plan)
    )
    model.pump()
    return model


def text_of(shown, width, height):
    console = Console(width=width, height=height, file=io.StringIO(), color_system=None)
    console.print(screen(shown, width, height), end="")
    return console.file.getvalue()


def shown_of(model, **changes):
    values = {"title": "x.sqlite", "plan": model.plan, "snapshot": model.snapshot(), "mode": "m"}
    return ScreenState(**{**values, "keys": "keys stand here", **changes})


@pytest.mark.parametrize(("width", "height"), [(80, 24), (60, 20), (120, 40), (200, 50)])
def test_the_screen_fits(width, height):
    """Whatever the size from 60x20 up, no line is too long and there are no more lines than fit."""
    model = board_after(120)
    crowded = replace(
        model.snapshot(), open_warnings=tuple(replace(DRY, number=n) for n in range(1, 9))
    )
    shown = shown_of(model, snapshot=crowded, status=STATUS, markers=[(1, "a marker")] * 5)
    lines = text_of(shown, width, height).splitlines()
    assert len(lines) <= height
    assert max(map(len, lines)) <= width
    assert lines[-1].startswith("keys stand here")


@pytest.mark.parametrize("width", [80, 120])
def test_the_agreement_without_the_references_faults_stands_above_the_whole(width):
    """Both rows, with their widest figures, and how much is left out; nothing is cut short."""
    model = board_after(60)
    kept = Agreement(12_345, -12.3, 10.9, 100.0, -0.99)
    whole = Agreement(23_456, -45.6, 48.7, 12.0, 0.5)
    snapshot = model.snapshot()
    tests = [
        sensor._replace(
            windows=dict.fromkeys(sensor.windows, whole),
            without_exclusions=dict.fromkeys(sensor.windows, kept),
            efforts=EffortCounts(10, 12, 0, 0),
        )
        for sensor in snapshot.sensors[1:]
    ]
    shown = replace(snapshot, sensors=(snapshot.sensors[0], *tests), left_out_s=75)
    lines = text_of(shown_of(model, snapshot=shown, status=STATUS), width, 24).splitlines()
    (place,) = (at for at, line in enumerate(lines) if line.startswith("  whole"))
    assert [w for w in lines[place - 1].split(" ") if w][-2:] == [count(12_345), "10/12/0/0"]
    assert lines[place - 1].count("-12.3") == lines[place - 1].count("10.9") == 3
    assert lines[place].count("-45.6") == lines[place].count("48.7") == 3
    assert [w for w in lines[place].split(" ") if w][-1] == count(23_456)
    assert lines[place + 1].startswith("75 s left out")
    assert "…" not in "".join(lines[place - 3 : place + 1])
    assert max(map(len, lines)) <= width
    assert "whole" not in text_of(shown_of(model), width, 24)


def test_the_screen_says_what_the_board_knows():
    """At 80x24: bpm, difference, inside or not, agreement, and the saved events are all there."""
    model = board_after(120, apart=30)
    text = text_of(shown_of(model, status=STATUS), 80, 24)
    difference = f"{model.snapshot().sensors[1].difference_bpm:+.0f}"
    for words in ("Yarrow", "Sorrel", difference, "OUT", "99 %", "61 events, 60 saved", "x.sqlite"):
        assert words in text


@pytest.mark.parametrize("width", [64, 70, 80, 90, 120])
def test_the_meaning_of_the_columns_is_never_cut(width):
    """The line below the agreement is worded for the width."""
    model = board_after(120)
    text = text_of(shown_of(model), width, 24)
    assert "followed/late/blunted/missed" in text
    assert "±5 bpm or ±10 %" in text


def test_value_and_difference_are_of_the_same_second():
    """A reading that no closed second holds yet moves neither the value nor the difference."""
    events = [*two_sensors(20, apart=2), Tick(20 * NS_PER_S)]
    model = ViewModel(ScriptedFeed([events, [beat(20.2, 1, 190)]]))
    model.pump()
    before = text_of(shown_of(model), 80, 24)
    model.pump()
    assert model.snapshot().sensors[0].bpm == 190
    assert "190" not in text_of(shown_of(model), 80, 24)
    assert model.snapshot().sensors[0].shown_bpm == model.snapshot().sensors[0].held_bpm
    assert "190" not in before


def test_a_warning_has_its_cause_and_advice():
    """A standing warning names the sensor, the time, the cause and what to do."""
    snapshot = replace(board_after(60).snapshot(), open_warnings=(DRY,))
    text = " ".join(str(line) for line in warning_lines(snapshot, 80, 8))
    for words in ("REFERENCE", "Yarrow: no contact", "since 0:50", DRY.cause, "Do: Wet the strap"):
        assert words in " ".join(text.split())


@pytest.mark.parametrize("room", [0, 1, 2, 4, 6, 7, 12, 40])
def test_no_standing_warning_is_hidden(room):
    """However few lines there are, each warning is on them by sensor and kind; cause and advice
    come with the lines there are beyond that.
    """
    kinds = list(WarningKind)[:6]
    many = tuple(replace(DRY, number=n, kind=kind) for n, kind in enumerate(kinds, 1))
    snapshot = replace(board_after(60).snapshot(), open_warnings=many)
    lines = [str(line) for line in warning_lines(snapshot, 200, room)]
    assert len(lines) <= max(room, 1)
    for kind in kinds:
        assert any(f"Yarrow: {kind}" in line for line in lines), kind


@pytest.mark.parametrize("tests", [1, 4])
def test_a_small_terminal_shows_the_warning_before_the_agreement(tests):
    """At 60x20 the warning that stands is there, with markers and file below it."""
    model = board_after(120)
    status = model.snapshot().sensors[1]
    plan = replace(
        PLAN,
        sensors=(
            PLAN.sensors[0],
            *(PlannedSensor(label=f"T{n}", role="test", name=f"T{n}") for n in range(tests)),
        ),
    )
    sensors = tuple(status._replace(number=n + 2, label=f"T{n}") for n in range(tests))
    snapshot = replace(
        model.snapshot(), sensors=(model.snapshot().sensors[0], *sensors), open_warnings=(DRY,),
        left_out_s=20,
    )  # fmt: skip
    shown = shown_of(
        model, plan=plan, snapshot=snapshot, status=STATUS, markers=[(1, "a marker")] * 5
    )
    lines = text_of(shown, 60, 20).splitlines()
    assert len(lines) <= 20
    assert any("REFERENCE Yarrow: no contact, since 0:50" in line for line in lines)
    assert sum("%" in line for line in lines) > tests  # the tables beside it are there as well


def test_an_old_value_stands_in_brackets():
    """What a sensor said before it fell silent is marked by a sign, not by its shade alone."""
    model = board_after(60)
    ref, test = model.snapshot().sensors
    gone = test._replace(held_bpm=None, bpm=98.0)
    shown = shown_of(model, snapshot=replace(model.snapshot(), sensors=(ref, gone)))
    (row,) = (line for line in text_of(shown, 80, 24).splitlines() if "(98)" in line)
    assert "Sorrel" in row
    assert "(" not in "".join(
        line for line in text_of(shown_of(model), 80, 24).splitlines() if line.startswith("◆")
    )


def test_practice_is_not_called_recording():
    """A capture without a file is practice, on the screen as in the window."""
    status = replace(STATUS, path="")
    model = board_after(5)
    view = TerminalView(ScriptedFeed([[status]]), leave_at_end=False)
    view.pump()
    assert view.shown().mode == "practice"
    assert "nothing is saved" in text_of(shown_of(model, status=status), 80, 24)


def test_invented_data_is_marked():
    """A plan with simulated sensors puts the words on the screen."""
    plan = replace(PLAN, invented=True)
    assert "INVENTED DATA" in text_of(shown_of(board_after(10, plan=plan)), 80, 24)
    assert "INVENTED" not in text_of(shown_of(board_after(10)), 80, 24)


def test_a_problem_of_the_capture_replaces_its_status():
    """When the capture reports a problem, that is what stands on its line."""
    status = replace(STATUS, problem="the disk is full")
    assert "CAPTURE: the disk is full" in text_of(shown_of(board_after(5), status=status), 80, 24)


@pytest.mark.parametrize(
    ("seconds", "text"), [(0, "0:00"), (61.9, "1:01"), (3600, "1:00:00"), (36_061, "10:01:01")]
)
def test_clock(seconds, text):
    """Session time reads m:ss, with hours from the first hour on."""
    assert clock(seconds) == text


@pytest.mark.parametrize(
    ("value", "text"), [(-0.04, "0.0"), (0.04, "0.0"), (-0.06, "-0.1"), (12.34, "+12.3")]
)
def test_what_rounds_to_0_has_no_sign(value, text):
    """Neither -0.0 nor +0.0 is ever shown."""
    assert signed(value, "+.1f") == text


def test_plain_signs_are_ascii():
    """On a terminal without Unicode the sensors' shapes are ASCII."""
    snapshot_lines = text_of(shown_of(board_after(5), plain=True), 80, 24).splitlines()
    row = next(line for line in snapshot_lines if "Sorrel" in line)
    assert row.startswith("< Sorrel")


@pytest.mark.parametrize(
    ("sent", "keys"),
    [
        ("m", ["m"]),
        ("\x1b[C\x1b[D", ["right", "left"]),
        ("\x1bOA ", ["up", " "]),
        ("\x1b[1;5Cq", ["right", "q"]),
        ("\x1b[3~m", ["m"]),
        ("\x1b", []),
    ],
)
def test_posix_keys(sent, keys):
    """Escape sequences become names of arrows; others are left out; signs stay."""
    assert parse_posix(sent) == keys


def test_m_drops_a_marker_and_shows_the_answer():
    """The marker key is sent to the capture, and its answer is shown."""
    feed = ScriptedFeed([[Acknowledged(1, True, "marker at 0:10")]])
    view = TerminalView(feed, leave_at_end=False)
    view.press("m")
    view.pump()
    assert feed.sent == [("marker", {"text": "marker 1"})]
    assert view.shown().note == "marker at 0:10"


def test_leaving_a_recording_is_asked_twice():
    """One q only asks; a second one stops the recording and the view waits for its end."""
    feed = ScriptedFeed([[Tick(1)], [Ended(2, "stopped")]])
    view = TerminalView(feed, leave_at_end=False)
    view.press("q")
    assert feed.sent == []
    assert "once more" in view.shown().note
    view.press("q")
    view.pump()
    assert (feed.sent, view.done) == ([("stop", {})], False)
    view.pump()
    assert view.done


def test_another_key_forgets_the_first_q():
    """q, another key, q does not stop the recording."""
    feed = ScriptedFeed([])
    view = TerminalView(feed, leave_at_end=False)
    for key in "qxq":
        view.press(key)
    assert feed.sent == []


def test_d_leaves_the_view_and_the_recording_goes_on():
    """The d key ends the view alone; nothing is asked of the capture."""
    feed = ScriptedFeed([])
    view = TerminalView(feed, leave_at_end=False)
    view.press("d")
    assert (feed.sent, view.done) == ([], True)


def test_ctrl_c_stops_once_and_leaves_at_the_second():
    """Ctrl-C asks the capture to stop; the second one leaves without waiting."""
    feed = ScriptedFeed([])
    view = TerminalView(feed, leave_at_end=False)
    view.interrupt()
    assert (feed.sent, view.done) == ([("stop", {})], False)
    view.interrupt()
    assert view.done


def test_replay_keys_drive_the_player(tmp_path):
    """Space, arrows, steps and speed keys act on the player."""
    path = written(tmp_path / "c.sqlite", two_sensors(60), end_s=60)
    wall = [0]
    with FileFeed(path, 1, clock=lambda: wall[0]) as feed:
        view = TerminalView(feed, leave_at_end=False)
        view.press(" ")
        assert not feed.playing
        view.press("right")
        view.pump()
        assert feed.position_ns == 10 * NS_PER_S
        view.press("+")
        assert feed.speed == 2
        view.press("n")
        view.pump()
        assert feed.position_ns == 10_100_000_000
        view.press("q")
        assert view.done


def console_of(**settings):
    return Console(file=io.StringIO(), width=100, **settings)


def test_without_a_terminal_lines_are_printed(tmp_path):
    """Into a pipe go the opening, and at the end the tables; no escape sequence."""
    path = written(tmp_path / "c.sqlite", two_sensors(90), end_s=90)
    console = console_of()
    with FileFeed(path, None) as feed:
        assert run_terminal(feed, console=console) == 0
    text = console.file.getvalue()
    assert text.startswith("c.sqlite: W1, rowing ergometer; Yarrow (reference, chest)")
    assert "agreement" in text
    assert "\x1b" not in text


def test_on_a_terminal_the_last_tables_stay(tmp_path):
    """The full screen is left at the end, and the tables are printed below."""
    path = written(tmp_path / "c.sqlite", two_sensors(90), end_s=90)
    console = console_of(force_terminal=True, height=24)
    with FileFeed(path, None) as feed:
        assert run_terminal(feed, console=console, leave_at_end=True) == 0
    before, after = console.file.getvalue().split("\x1b[?1049l")
    assert "Sidebeat" in before
    assert "No warning" in after
    assert "agreement" in after


def test_the_summary_says_why_a_capture_ended():
    """Whoever was left alone by a capture that was killed reads where it was saved."""
    reason = "the capture process is gone; what it saved is in /d/x.sqlite"
    model = ViewModel(ScriptedFeed([[*two_sensors(5), Ended(5 * NS_PER_S, reason)]]))
    model.pump()
    console = console_of()
    print_summary(model, console)
    assert reason in console.file.getvalue()


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_a_terminal_that_is_taken_away_is_left_in_peace():
    """With the terminal gone, as when the capture it belongs to was killed, nothing is raised."""
    import pty

    from live.views.terminal import keys

    try:
        ours, theirs = pty.openpty()
    except OSError:
        pytest.skip("this machine has no pseudo-terminals")
    stdin = os.fdopen(theirs, closefd=False)
    saved, sys.stdin = sys.stdin, stdin
    try:
        with keys.keyboard() as board:
            os.close(ours)
            assert board.read() == []
    finally:
        sys.stdin = saved
        stdin.close()
        os.close(theirs)


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_a_real_terminal_is_as_before_after_leaving():
    """Keys are read one by one from a pseudo-terminal, whose settings are restored."""
    import pty
    import termios

    from live.views.terminal import keys

    try:
        ours, theirs = pty.openpty()
    except OSError:
        pytest.skip("this machine has no pseudo-terminals")
    stdin = os.fdopen(theirs, closefd=False)
    before = termios.tcgetattr(theirs)
    saved, sys.stdin = sys.stdin, stdin
    try:
        with keys.keyboard() as board:
            os.write(ours, b"m\x1b[C")
            assert board.read() == ["m", "right"]
            assert board.read() == []
        assert termios.tcgetattr(theirs) == before
    finally:
        sys.stdin = saved
        stdin.close()
        os.close(ours)
        os.close(theirs)


def test_a_rule_that_failed_is_told_on_screen_in_lines_and_in_the_summary(monkeypatch, caplog):
    """A warning that is no longer looked for after an error is named, with its sensor."""
    monkeypatch.setattr(LowBattery, "step", lambda *_: 1 / 0)
    with caplog.at_level(logging.CRITICAL):
        model = board_after(20)
    told = "arnings off after an error: battery low of Yarrow, battery low of Sorrel"
    assert told in text_of(shown_of(model), 100, 24)
    first, *rest = (line.plain for line in Lines(model).news())
    assert told in first
    assert not any(told in line for line in rest)
    console = Console(width=100, file=io.StringIO(), color_system=None)
    print_summary(model, console)
    assert told in console.file.getvalue()
