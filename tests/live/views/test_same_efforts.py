"""One capture with a dry strap: live, in a replay and in the analysis it is the same effort."""

from __future__ import annotations

import json

import pytest

from analysis.board import Board
from analysis.session import read_session
from analysis.statistics.efforts import Kind
from live.__main__ import main
from live.protocol.feed import Ended, Tick
from live.protocol.file_feed import FileFeed
from live.views.shared.far import effort_words
from live.views.terminal.app import TerminalView
from live.views.terminal.console import PlainConsole
from live.views.terminal.screen import screen
from live.views.window.app import window_on
from live.views.window.parts.application import open_application
from live.views.window.parts.theme import LIGHT
from replay.capture import Capture
from replay.demo_files import demo_captures
from tests.standins.feeds import ScriptedFeed
from tests.standins.windows import picture, shown

DRY_STRAP = demo_captures()[0]
ANSWERS = ("followed", "late", "blunted", "missed")


@pytest.fixture(name="capture", scope="module")
def capture_fixture():
    """Plan, events and length of the capture."""
    with Capture.open(DRY_STRAP) as capture:
        return capture.plan, list(capture.events()), capture.duration_ns


def test_live_window_replay_and_analysis_tell_the_same_effort(capture):
    """At the peak of each effort behind the dry strap both headers say its number."""
    plan, events, _ = capture
    peaks = [one.peak_s for one in read_session(DRY_STRAP).efforts if one.kind is Kind.EFFORT]
    board, told = Board(plan), {}
    board.on_second = lambda second: told.setdefault(second, effort_words(board.effort))
    for event in events:
        board.feed(event)
    compared = 0
    open_application()
    feed = FileFeed(DRY_STRAP, speed=None)
    feed.pause()
    window = window_on(feed, LIGHT)
    window.show()
    window.review.settle()
    try:
        for number, peak_s in enumerate(peaks, 1):
            if peak_s < board.left_out.nonzero()[0][-1]:
                continue  # the board does not know of the dry strap yet
            feed.seek(peak_s * 1_000_000_000)
            while window.frame():
                pass
            picture(window)
            words = window.header.effort.text()
            assert words.startswith(f"effort {number} ")
            live = told[window.model.snapshot().second]
            assert live.startswith(f"effort {number} ")
            compared += 1
    finally:
        window.leave()
    assert compared >= 2


def test_live_window_terminal_and_analysis_count_the_same_answers(capture, capsys):
    """Followed, late, blunted and missed of each sensor at the end."""
    plan, events, duration_ns = capture
    messages = [*events, Tick(duration_ns), Ended(duration_ns, "stopped")]
    expected = {}
    for sensor in read_session(DRY_STRAP).sensors:
        tally = sensor.efforts
        counts = (tally.followed, tally.late, tally.blunted, tally.missed)
        expected[sensor.facts.label] = tuple(one.count for one in counts)
    with shown(messages, plan=plan) as (window, _):
        for card in window.workbench.cards.cards:
            said = card.accessibleDescription()
            label = said.partition(",")[0]
            if label in expected:
                named = dict(
                    zip(("followed", "late", "blunted", "missed"), expected[label], strict=True)
                )
                words = ", ".join(f"{count} {word}" for word, count in named.items() if count)
                assert f"efforts: {words}" in said
    view = TerminalView(ScriptedFeed([messages], plan=plan), leave_at_end=True)
    view.pump()
    console = PlainConsole(width=120)
    with console.capture() as printed:
        console.print(screen(view.shown(), 120, 50))
    for label, counts in expected.items():
        lines = [one for one in printed.get().splitlines() if label in one]
        assert any("/".join(map(str, counts)) in line for line in lines), lines
    assert main(["replay", str(DRY_STRAP), "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    for sensor in facts["sensors"]:
        if sensor["label"] in expected:
            efforts = sensor["efforts"]
            assert tuple(efforts[answer] for answer in ANSWERS) == expected[sensor["label"]]
