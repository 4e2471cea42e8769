"""Notifier in a view: the present and history, the view in front, replays, keys and marks."""

from __future__ import annotations

import sys
from dataclasses import replace

import pytest

from analysis.board.snapshot import WarningKind
from live.cli import replay as replay_command
from live.cli.main import command_parser
from live.cli.views import split_command
from live.notify.factory import notifier_of
from live.notify.notifier import Notifier, Pace
from live.notify.options import DEFAULT_OPTIONS, NotifyOptions
from live.notify.watcher import watch
from live.protocol.feed import RECORDING_BEGINS, CaptureStatus, Ended, Tick
from live.protocol.file_feed import FileFeed
from live.protocol.frames import REHEARSAL
from live.protocol.view_model import ViewModel
from live.views.terminal.app import TerminalView
from live.views.terminal.lines import Lines
from replay.attention import AttentionPlan
from replay.event import ACKNOWLEDGED, NS_PER_S, Event
from tests.standins.feeds import PLAN, ScriptedFeed, two_sensors, written

FRONT = CaptureStatus("p", 1, 1, 0.1, 1, in_front=True)
BEHIND = replace(FRONT, in_front=False)


class Noted:
    """A means that notes its calls."""

    def __init__(self, fails=False):
        self.calls = []
        self.closed = False
        self._fails = fails

    def call(self, call):
        self.calls.append((call.reason.value, call.warning.kind, call.warning.sensor))
        if self._fails:
            raise RuntimeError("broken")

    def tend(self):
        pass

    def trouble(self):
        return ""

    def close(self):
        self.closed = True


class Clock:
    now = 0

    def __call__(self):
        return self.now


def silent_from(second, until_s):
    return [e for e in two_sensors(until_s) if e.sensor != 2 or e.t_ns < second * NS_PER_S]


def by_second(events, first, last):
    """One poll per second with its events and a tick."""
    return [
        [
            *(e for e in events if s * NS_PER_S <= e.t_ns < (s + 1) * NS_PER_S),
            Tick((s + 1) * NS_PER_S),
        ]
        for s in range(first, last)
    ]


def live_through(polls, *, only_in_front=False, noted=None, real_s=1.0):
    """Poll by poll, ``real_s`` of real time each; what was called by poll."""
    noted = noted or Noted()
    clock = Clock()
    notifier = Notifier([noted], only_in_front=only_in_front, clock=clock)
    model = ViewModel(ScriptedFeed(polls))
    found = []
    for _ in polls:
        clock.now += round(real_s * NS_PER_S)
        model.pump()
        before = len(noted.calls)
        notifier.look(model)
        found.append(noted.calls[before:])
    return found


def test_a_warning_is_called_when_it_happens():
    """In a live session the start is called within the second in which the warning is raised."""
    found = live_through(by_second(silent_from(20, 60), 0, 60))
    (at,) = [n for n, calls in enumerate(found) if calls]
    assert found[at] == [("start", WarningKind.SILENT, 2)]
    assert 20 <= at < 40


def test_who_attaches_late_hears_of_what_stands_once():
    """Half an hour at once is history; what stands when the present is reached calls once."""
    events = two_sensors(1800)
    events = [e for e in events if e.sensor != 2 or not 600 <= e.t_ns // NS_PER_S < 700]
    events = [e for e in events if e.sensor != 2 or e.t_ns < 1700 * NS_PER_S]
    slices = [events[i : i + 500] for i in range(0, len(events), 500)]
    present = by_second([], 1800, 1805)
    found = live_through([*slices, *present])
    assert [calls for calls in found if calls] == [[("start", WarningKind.SILENT, 2)]]
    assert any(found[len(slices) :])


def test_pace_forgives_a_frozen_view():
    """After 30 s in which nothing was taken, 30 s of session are the present; 60 are not."""
    pace = Pace()
    assert pace.is_present(NS_PER_S // 2, 10 * NS_PER_S)
    assert pace.is_present(30 * NS_PER_S, 40 * NS_PER_S)
    assert not pace.is_present(90 * NS_PER_S, 70 * NS_PER_S)
    assert pace.is_present(91 * NS_PER_S, 71 * NS_PER_S)


def test_the_view_behind_is_silent():
    """Without a word of the capture and behind another view nobody is called; once in front, what
    stands calls.
    """
    polls = by_second(silent_from(20, 60), 0, 60)
    assert not any(live_through(polls, only_in_front=True))
    polls[0].append(BEHIND)
    polls[50].append(FRONT)
    found = live_through(polls, only_in_front=True)
    assert [n for n, calls in enumerate(found) if calls] == [50]


def test_the_end_is_told_with_the_stream():
    """When the capture ends, so does what has called."""
    polls = by_second(silent_from(20, 60), 0, 60)
    polls.append([Ended(60 * NS_PER_S, "stopped")])
    found = live_through(polls)
    assert found[-1] == [("end", WarningKind.SILENT, 2)]


def test_a_means_that_fails_stops_nothing(caplog):
    """An error in a means is logged once, all means are closed, and the view goes on."""
    noted = Noted(fails=True)
    live_through(by_second(silent_from(20, 100), 0, 100), noted=noted)
    assert len(noted.calls) == 1
    assert noted.closed
    assert [r.message for r in caplog.records] == ["the notifier has failed and stops"]


@pytest.fixture
def capture(tmp_path):
    return written(tmp_path / "a.sqlite", silent_from(20, 60), end_s=60)


def test_a_replay_calls_nobody_unless_asked(capture):
    """Neither sounds nor a command in a replay by themselves; both if asked; a live view has its
    sounds by the plan and never a command.
    """
    with FileFeed(capture, None) as feed:
        assert notifier_of(feed, DEFAULT_OPTIONS) is None
        for options in (NotifyOptions(sounds=True), NotifyOptions(command=(sys.executable,))):
            notifier = notifier_of(feed, options)
            assert notifier is not None
            notifier.close()
    quiet = replace(PLAN, attention=AttentionPlan(sounds=False))
    assert notifier_of(ScriptedFeed([], plan=quiet), DEFAULT_OPTIONS) is None
    assert notifier_of(ScriptedFeed([]), NotifyOptions(sounds=False, command=("x",))) is None
    usual = notifier_of(ScriptedFeed([]), DEFAULT_OPTIONS)
    assert usual is not None
    usual.close()


def test_a_replay_runs_the_command_that_was_asked_for(capture, tmp_path, capsys):
    """``replay --on-warning`` runs it for each warning of the file, also at full speed."""
    out = tmp_path / "noted"
    script = tmp_path / "note.py"
    script.write_text(f"import os\nopen({str(out)!r}, 'a').write(os.environ['SIDEBEAT_KIND'])\n")
    line = [str(capture), "--json", "--on-warning", f"{sys.executable} {script}"]
    assert replay_command.run(command_parser("replay").parse_args(line)) == 0
    assert out.read_text() == "silent"
    assert '"kind": "silent"' in capsys.readouterr().out


def test_what_a_seek_passes_over_calls_nobody(tmp_path):
    """On the way to another moment warnings come and go in silence; there, what stands calls."""
    events = [e for e in two_sensors(300) if e.sensor != 2 or not 20 <= e.t_ns // NS_PER_S < 60]
    events = [e for e in events if e.sensor != 2 or e.t_ns < 200 * NS_PER_S]
    clock, noted = Clock(), Noted()
    path = written(tmp_path / "a.sqlite", events, end_s=300)
    with FileFeed(path, 1.0, clock=clock) as feed:
        model, notifier = ViewModel(feed), Notifier([noted], clock=clock)
        feed.seek(150 * NS_PER_S)
        for _ in range(4):
            model.pump()
            notifier.look(model)
        assert noted.calls == []
        for _ in range(100):
            clock.now += NS_PER_S
            model.pump()
            notifier.look(model)
    assert noted.calls == [("start", WarningKind.SILENT, 2)]


def test_the_terminal_acknowledges_by_key():
    """``v`` names the gravest warning that calls, ``V`` all; without one it says so."""
    events = [e for e in two_sensors(60) if e.t_ns < 30 * NS_PER_S]
    feed = ScriptedFeed([[*events, Tick(60 * NS_PER_S)]])
    view = TerminalView(feed, leave_at_end=False)
    view.press("v")
    assert view.shown().note == "no warning calls"
    view.pump()
    calling = view.model.snapshot().open_warnings
    assert len(calling) > 1
    view.press("v")
    assert [sent[1]["sensor"] for sent in feed.sent] == [calling[0].sensor]
    view.press("V")
    assert len(feed.sent) == 1 + len(calling)


def test_plain_lines_tell_of_an_acknowledgement():
    """Once, with the time, the sensor and the kind."""
    known = Event(round(50.4 * NS_PER_S), 2, ACKNOWLEDGED, b"silent")
    model = ViewModel(ScriptedFeed([[*silent_from(20, 50), known, Tick(55 * NS_PER_S)]]))
    model.pump()
    lines = Lines(model)
    told = [line.plain.strip() for line in lines.news()]
    assert "0:50  acknowledged: Sorrel: silent" in told
    assert list(lines.news()) == []


def test_a_command_line_is_split_without_a_shell():
    """Quotation marks hold words together, nothing is expanded; nothing to run is refused."""
    assert split_command("notify 'two words' $HOME *") == ("notify", "two words", "$HOME", "*")
    for wrong in ("", "  ", "''", "'open"):
        with pytest.raises(Exception, match=r"must begin with a program|cannot be read"):
            split_command(wrong)


def test_the_watcher_is_silent_in_a_rehearsal(tmp_path):
    """Before the recording nobody is called; then it attaches again, and calls."""
    out = tmp_path / "noted"
    script = f"import os; open({str(out)!r}, 'a').write(os.environ['SIDEBEAT_STARTED_UTC'] + ' ')"
    attention = AttentionPlan(command=(sys.executable, "-c", script))
    plan = replace(PLAN, attention=attention)

    def feed_of(title, started_s, reason):
        polls = [[], *by_second(silent_from(1, 3), 0, 60), [Ended(60 * NS_PER_S, reason)]]
        feed = ScriptedFeed(polls, plan=plan)
        feed.title, feed.started_utc_ns = title, started_s * NS_PER_S
        return feed

    feeds = [feed_of(REHEARSAL, 0, RECORDING_BEGINS), feed_of("x.sqlite", 60, "stopped")]
    clock = Clock()
    said = []

    def sleep(_):
        clock.now += NS_PER_S

    watch(iter(feeds).__next__, said.append, sleep=sleep, clock=clock)
    assert (set(out.read_text().split()), said) == ({"1970-01-01T00:01:00.000Z"}, [])
    assert all(feed.closed and ("watch", {}) in feed.sent for feed in feeds)
