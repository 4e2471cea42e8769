"""One hostile session in every medium: each shows its texts as they are, and obeys none of them."""

from __future__ import annotations

import io
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from PySide6.QtCore import QAbstractListModel, QModelIndex, Qt
from PySide6.QtWidgets import QAbstractItemView, QLabel, QWidget

import live
from live import __main__ as entry
from live.protocol.file_feed import FileFeed
from live.views.terminal.app import TerminalView, run_terminal
from live.views.terminal.console import PlainConsole
from live.views.terminal.screen import screen
from live.views.window.parts.keys import Action
from live.views.window.parts.plain_text import MarkupLabel
from replay.capture import Capture, CaptureWriter
from replay.capture.notes import EXCLUSION, MARKER
from replay.event import ADVICE, FIRMWARE, MODEL, NS_PER_S, Event
from replay.event import MARKER as MARKER_EVENT
from replay.plan import Plan, PlannedSensor, parse_plan
from replay.text import is_printable
from tests.standins.feeds import two_sensors
from tests.standins.replayed import replayed, settle

LEFT, RIGHT = "Sorrel [left]", "Sorrel [right]"
MARKUP = "<img src='file:///seen.png'><b>bold</b> [/x] :heart: $a_b$ {{7*7}} & <script>"
STEERING = "\x1b[2J\x1b]0;title\x07\x9b31m\u202eback\u2066\u200b"
FOUND = "<img src='file:///seen.png'> x & y"
"""The activity, which stands at the top of every page."""
LENGTH_S = 240
WINDOW = Path(live.__file__).parent / "views" / "window"


@pytest.fixture
def hostile(tmp_path) -> Path:
    """A capture with hostile texts wherever it can hold a text; the file's name is one too."""
    plan = Plan(
        wearer="W1",
        activity=FOUND,
        sensors=(
            PlannedSensor(label=f"Yarrow {MARKUP}", role="reference", placement="chest", name="Y"),
            PlannedSensor(label=LEFT, role="test", placement="[/left] wrist", name="S"),
            PlannedSensor(label=RIGHT, role="test", placement="<i>right</i> wrist", name="T"),
        ),
        details={"skin tone": MARKUP},
    )
    outside = (MARKUP + STEERING).encode("utf-8", "replace")
    events = list(two_sensors(LENGTH_S))
    events += [Event(e.t_ns + 1, 3, e.channel, e.payload) for e in events if e.sensor == 2]
    for sensor in (1, 2, 3):
        events += [
            Event(1, sensor, FIRMWARE, outside),
            Event(2, sensor, MODEL, outside),
            Event(200 * NS_PER_S, sensor, ADVICE, outside),
        ]
    events.append(Event(40 * NS_PER_S, 0, MARKER_EVENT, outside))
    path = tmp_path / "[red]x\x1b[31m &amp;.sqlite"
    writer = CaptureWriter(path, plan, started_utc_ns=10**18, software=MARKUP + STEERING)
    for event in sorted(events, key=lambda event: event.t_ns):
        writer.append(event)
    writer.close(t_ns=LENGTH_S * NS_PER_S, reason=MARKUP + STEERING)
    with Capture.open(path) as capture:
        capture.add_note(
            EXCLUSION, from_ns=60 * NS_PER_S, to_ns=70 * NS_PER_S, sensor=0,
            reason=MARKUP + STEERING,
        )  # fmt: skip
        capture.add_note(MARKER, t_ns=90 * NS_PER_S, text=MARKUP + STEERING)
    return path


def assert_plain(text: str) -> None:
    """No line of it holds a sign that steers or hides."""
    assert [line for line in text.split("\n") if not is_printable(line)] == []


def test_the_terminal_view(hostile):
    """Screen, lines and summary name both sensors in full and hold no escape of theirs."""
    plain = io.StringIO()
    console = PlainConsole(file=plain, width=220, color_system=None)
    feed = FileFeed(hostile, None)
    assert run_terminal(feed, console=console, sleep=lambda _: None) == 0
    view = TerminalView(feed, leave_at_end=False)
    while view.in_a_hurry:
        view.pump()
    console.print(screen(view.shown(), 220, 60))
    feed.close()
    text = plain.getvalue()
    assert_plain(text)
    for words in (LEFT, RIGHT, FOUND, "[/x] :heart:", "[red]x"):
        assert words in text


def test_markup_is_no_style(hostile):
    """On a real terminal's console the escapes are rich's own: colours, no clearing, no title."""
    plain = io.StringIO()
    console = PlainConsole(file=plain, width=220, force_terminal=True)
    console.print(f"{LEFT} {MARKUP}{STEERING}")
    assert re.findall(r"\x1b(?!\[[0-9;]*m)", plain.getvalue()) == []
    assert f"{LEFT} {MARKUP}" in plain.getvalue()


@pytest.mark.parametrize("command", ["analyse", "check", "report"])
def test_the_tables(hostile, capsys, tmp_path, command):
    """Tables and sentences for people."""
    out = ["--out", str(tmp_path / "page.html"), "--no-figures"] if command == "report" else []
    assert entry.main([command, str(hostile), *out]) == 0
    text = capsys.readouterr().out
    assert_plain(text)
    assert LEFT in text
    assert RIGHT in text


def test_json(hostile, capsys):
    """Scripts are told the same labels as people; what cannot be printed is escaped, not lost."""
    assert entry.main(["analyse", str(hostile), "--json"]) == 0
    text = capsys.readouterr().out
    assert_plain(text)
    facts = json.loads(text)
    assert [sensor["label"] for sensor in facts["sensors"]] == [LEFT, RIGHT]
    assert Path(facts["file"]).name == hostile.name


def test_an_error(tmp_path, capsys):
    """The sentence about a file names it printably."""
    path = tmp_path / "[x]\x1b[31mno.sqlite"
    path.write_bytes(b"no capture")
    assert entry.main(["analyse", str(path)]) == 2
    said = capsys.readouterr().err
    assert_plain(said)
    assert "[x]\ufffd[31mno.sqlite" in said


class _Elements(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag, _attrs):
        self.tags.add(tag)

    def handle_data(self, data):
        self.text += data


def test_page_and_figures(hostile, tmp_path):
    """Page and SVG show markup and formulas as text, and load nothing."""
    out, figures = tmp_path / "page.html", tmp_path / "figures"
    assert entry.main(["report", str(hostile), "--out", str(out), "--figures", str(figures)]) == 0
    page = out.read_text(encoding="utf-8")
    assert_plain(page)
    read = _Elements(page)
    assert {"img", "script", "b"} & read.tags == set()
    for words in (LEFT, RIGHT, FOUND, "$a_b$", "{{7*7}}"):
        assert words in read.text
    drawn = [path.read_text(encoding="utf-8") for path in figures.rglob("*.svg")]
    assert drawn
    for svg in drawn:
        assert_plain(svg)
        assert {"img", "image", "script", "b"} & _Elements(svg).tags == set()
    assert any(LEFT in _Elements(svg).text for svg in drawn)


def items_of(part: QWidget, role: Qt.ItemDataRole) -> list[str]:
    """What the items of a list or a table say."""
    model = part.model() if isinstance(part, QAbstractItemView) else None
    if model is None:
        return []
    columns = range(1 if isinstance(model, QAbstractListModel) else model.columnCount())
    rows = range(model.rowCount(QModelIndex()))
    return [str(model.index(r, c).data(role) or "") for r in rows for c in columns]


def texts_of(root: QWidget) -> list[str]:
    """Every text that a window shows in labels, buttons, titles, lists and tables."""
    found = []
    for part in [root, *root.findChildren(QWidget)]:
        found += [part.windowTitle(), part.accessibleName(), part.accessibleDescription()]
        for name in ("text", "placeholderText", "title"):
            method = getattr(part, name, None)
            if callable(method) and isinstance(text := method(), str):
                found.append(text)
        found += items_of(part, Qt.ItemDataRole.DisplayRole)
    return found


def tips_of(root: QWidget) -> list[str]:
    """Every tool tip of widgets and of items."""
    found = []
    for part in [root, *root.findChildren(QWidget)]:
        found += [part.toolTip(), *items_of(part, Qt.ItemDataRole.ToolTipRole)]
    return found


def test_the_window(hostile):
    """No label takes a text for markup, no tip holds an element, and nothing steers or hides."""
    with replayed(hostile, at_s=210.0) as window:
        for page in (Action.NOTIFICATIONS, Action.NUMBERS, Action.NOTES):
            window.do(page)
            settle(window)
        labels = window.findChildren(QLabel)
        markup = [label for label in labels if isinstance(label, MarkupLabel)]
        plain = [label for label in labels if label not in markup]
        assert {label.textFormat() for label in plain} == {Qt.TextFormat.PlainText}
        for label in markup:
            assert {"img", "script"} & _Elements(label.text()).tags == set()
        for tip in tips_of(window):
            assert_plain(tip)
            assert _Elements(tip).tags <= {"p"}
        texts = texts_of(window)
        for text in texts:
            assert_plain(text)
        assert any(FOUND in text for text in texts)


def test_every_label_of_the_window_is_made_plain():
    """No module of the window makes a label, or a tip, past the one that makes them plain."""
    for path in WINDOW.rglob("*.py"):
        if path.name == "plain_text.py":
            continue
        text = path.read_text(encoding="utf-8")
        assert re.findall(r"\bQLabel\b(?!#| \{)", text) == [], path
        assert re.findall(r"setToolTip\((?!tip\(|told\))", text) == [], path
        assert re.findall(r"RichText|AutoText|MarkdownText|setHtml|QMessageBox", text) == [], path


def test_a_plan_with_two_labels_that_look_alike_is_refused():
    """Labels are compared as they are shown."""
    from replay.errors import PlanError

    row = '[[sensor]]\nlabel = "{}"\nrole = "{}"\nname = "{}"\n'
    text = '[session]\nwearer = "W1"\nactivity = "rowing"\n'
    text += row.format("Sorrel\\u202e", "reference", "a")
    text += row.format("Sorrel\\u2066", "test", "b")
    with pytest.raises(PlanError, match="unique"):
        parse_plan(text)
