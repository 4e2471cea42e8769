"""One hostile session in every medium: each shows its texts as they are, and obeys none of them."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import pytest

import live
from live import __main__ as entry
from live.protocol.file_feed import FileFeed
from live.views.terminal.app import TerminalView, run_terminal
from live.views.terminal.console import PlainConsole
from live.views.terminal.screen import screen
from replay.plan import parse_plan
from tests.standins.hostile import (
    FOUND,
    LEFT,
    MARKUP,
    RIGHT,
    STEERING,
    Elements,
    assert_plain,
    hostile_capture,
)
from tests.standins.small_pictures import one_figure, without_pixels

WINDOW = Path(live.__file__).parent / "views" / "window"


@pytest.fixture
def hostile(tmp_path) -> Path:
    return hostile_capture(tmp_path)


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


def assert_names_both(text):
    """What is printed for people is plain, and has both sensors by their names."""
    assert_plain(text)
    assert LEFT in text
    assert RIGHT in text


@pytest.mark.parametrize("command", ["analyse", "check"])
def test_the_tables(hostile, capsys, command):
    """Tables and sentences for people; those of the report are looked at with its page."""
    assert entry.main([command, str(hostile)]) == 0
    assert_names_both(capsys.readouterr().out)


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


def test_page_and_figures(hostile, capsys, tmp_path):
    """Page and SVG show markup and formulas as text, and load nothing; what is said is plain."""
    out, figures = tmp_path / "page.html", tmp_path / "figures"
    with without_pixels(), one_figure():  # the files have all of them
        asked = ["--out", str(out), "--figures", str(figures)]
        assert entry.main(["report", str(hostile), *asked]) == 0
    assert_names_both(capsys.readouterr().out)
    page = out.read_text(encoding="utf-8")
    assert_plain(page)
    read = Elements(page)
    assert {"img", "script", "b"} & read.tags == set()
    assert [load for load in read.loads if not load.startswith(("#", "data:"))] == []
    for words in (LEFT, RIGHT, FOUND, "$a_b$", "{{7*7}}"):
        assert words in read.text
    drawn = [path.read_text(encoding="utf-8") for path in figures.rglob("*.svg")]
    assert drawn
    for svg in drawn:
        assert_plain(svg)
        assert {"img", "image", "script", "b"} & Elements(svg).tags == set()
    assert any(LEFT in Elements(svg).text for svg in drawn)


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
