"""Acknowledging a warning: what it changes on the board, and that a replay shows the same."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.board import Board
from analysis.board.snapshot import Severity, WarningKind
from live.cli.json_facts import board_facts
from live.protocol.feed import Tick
from live.protocol.view_model import ViewModel
from replay.capture import Capture
from replay.event import ACKNOWLEDGED, NS_PER_S, Event
from tests.standins.feeds import PLAN, ScriptedFeed, two_sensors, written

SILENT_FROM_S, SECONDS = 60, 120
"""The test sensor says nothing in the second half, so that a warning stands at the end."""


def half_silent():
    return [
        event
        for event in two_sensors(SECONDS)
        if event.sensor != 2 or event.t_ns < SILENT_FROM_S * NS_PER_S
    ]


def known(second, sensor=2, kind=WarningKind.SILENT):
    return Event(round(second * NS_PER_S), sensor, ACKNOWLEDGED, kind.value.encode())


def board_of(events, until_s=SECONDS):
    board = Board(PLAN)
    for event in sorted(events, key=lambda event: event.t_ns):
        board.feed(event)
    board.advance(until_s * NS_PER_S)
    return board


def test_an_acknowledged_warning_stays_and_says_when():
    """It stands as before, with the moment at which it was acknowledged."""
    plain = board_of(half_silent())
    (before,) = plain.snapshot().open_warnings
    board = board_of([*half_silent(), known(90.25)])
    (after,) = board.snapshot().open_warnings
    assert before.kind is WarningKind.SILENT
    assert (before.calls, after.calls) == (True, False)
    assert after == replace(before, acknowledged_s=90.25)


def test_nothing_but_the_warning_changes():
    """An acknowledgement is no notification: the sensors' own facts stay as they were."""
    plain = board_of(half_silent()).snapshot()
    marked = board_of([*half_silent(), known(90.25)]).snapshot()
    assert marked.sensors == plain.sensors


@pytest.mark.parametrize(
    "event",
    [
        known(90, sensor=1),
        known(90, kind=WarningKind.FROZEN),
        known(30),
        known(90, sensor=77),
        Event(90 * NS_PER_S, 2, ACKNOWLEDGED, b"\xff\xfe"),
    ],
    ids=["another sensor", "another kind", "before it stood", "no such sensor", "not text"],
)
def test_only_what_stands_is_acknowledged(event):
    """Of another sensor, of another kind, or before the warning stood: nothing happens."""
    board = board_of([*half_silent(), event])
    assert [w.acknowledged_s for w in board.warnings] == [None]


def test_the_first_acknowledgement_counts():
    """A second one does not move the moment of the first."""
    board = board_of([*half_silent(), known(90), known(100)])
    assert [w.acknowledged_s for w in board.warnings] == [90.0]


def test_a_warning_that_comes_again_calls_again():
    """Acknowledged is this warning, not its kind: after it cleared, a new one calls."""
    events = [e for e in two_sensors(240) if e.sensor != 2 or not 60 <= e.t_ns // NS_PER_S < 90]
    events = [e for e in events if e.sensor != 2 or e.t_ns // NS_PER_S < 180]
    board = board_of([*events, known(80)], until_s=240)
    first, second = [w for w in board.warnings if w.kind is WarningKind.SILENT]
    assert (first.acknowledged_s, first.end_s is not None) == (80.0, True)
    assert (second.acknowledged_s, second.calls) == (None, True)


def test_a_replay_shows_the_acknowledgement(tmp_path):
    """What comes from the file gives the same warnings, and the facts name the second."""
    events = sorted([*half_silent(), known(90.25)], key=lambda event: event.t_ns)
    live = board_of(events)
    with Capture.open(written(tmp_path / "a.sqlite", events, end_s=SECONDS)) as capture:
        replayed = board_of(capture.events())
    assert replayed.warnings == live.warnings
    (fact,) = board_facts(replayed)["warnings"]
    assert fact["acknowledged_s"] == 90.25


def test_acknowledging_keeps_the_order_of_severities():
    """The graver warning stands first, acknowledged or not."""
    events = [e for e in two_sensors(SECONDS) if e.t_ns < SILENT_FROM_S * NS_PER_S]
    graver = board_of(events).snapshot().open_warnings[0]
    assert graver.severity is Severity.REFERENCE_FAULT
    after = board_of([*events, known(90, graver.sensor, graver.kind)]).snapshot().open_warnings
    assert after[0] == replace(graver, acknowledged_s=90.0)
    assert [w.severity for w in after] == sorted((w.severity for w in after), reverse=True)


def test_a_view_names_what_it_saw():
    """The command goes out once for each warning that still calls, by its sensor and kind."""
    feed = ScriptedFeed(
        [[*half_silent(), Tick(SECONDS * NS_PER_S)], [known(121), Tick(122 * NS_PER_S)]]
    )
    model = ViewModel(feed)
    model.pump()
    assert model.acknowledge(model.board.warnings) == [1]
    assert feed.sent == [("acknowledge", {"sensor": 2, "kind": "silent"})]
    model.pump()
    assert model.acknowledge(model.board.warnings) == []
