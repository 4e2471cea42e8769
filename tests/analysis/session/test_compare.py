"""Two captures of one session, one above the other: on one axis, and in words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from analysis.board.snapshot import WarningKind
from analysis.session.compare import Comparison, read_comparison
from replay import event as ev
from replay.capture import CaptureWriter
from replay.event import NS_PER_S, SESSION, Event, pack_int
from tests.standins.feeds import PLAN, beat

NOON = 1_772_604_900 * NS_PER_S


def written(path: Path, *, starts_s: float = 0, seconds: int = 200, ppm: float = 0) -> Path:
    """A capture whose clock runs so fast; Sorrel falls silent after 100 s, at 150 a battery is low
    for 10 s.
    """
    path.parent.mkdir(exist_ok=True)
    started = NOON + round(starts_s * NS_PER_S)
    events = [beat(k + 0.1, 1, 100) for k in range(seconds)]
    events += [beat(k + 0.2, 2, 101) for k in range(100)]
    events += [
        Event(
            k * NS_PER_S, SESSION, ev.ANCHOR, pack_int(started + round(k * 1e9 / (1 + ppm / 1e6)))
        )
        for k in range(0, seconds + 1, 20)
    ]
    events += [Event((150 + 10 * k) * NS_PER_S, 1, ev.BATTERY, bytes([5 + 60 * k])) for k in (0, 1)]
    writer = CaptureWriter(path, PLAN, started_utc_ns=started, software="test")
    for event in sorted(events, key=lambda event: event.t_ns):
        if event.t_ns <= seconds * NS_PER_S:
            writer.append(event)
    writer.close(t_ns=seconds * NS_PER_S, reason="stopped")
    return path


@pytest.fixture(name="later")
def later_fixture(tmp_path: Path) -> Comparison:
    """The second began 41 s later than the first, at another computer."""
    one = written(tmp_path / "one.sqlite")
    two = written(tmp_path / "two.sqlite", starts_s=41, ppm=50)
    return read_comparison(one, two)


def test_both_stand_on_one_axis(later: Comparison) -> None:
    """Where each ran, its values, and its warnings as they were raised in it."""
    first, second = later.sides
    assert (first.name, second.name) == ("one.sqlite", "two.sqlite")
    assert (first.from_s, first.to_s) == (0, 200)
    assert (second.from_s, second.to_s) == pytest.approx((41, 241), abs=0.05)
    assert first.board.grid(1)[5] == second.board.grid(1)[46] == 100_000
    told = [
        [(one.kind, one.since_s, one.start_s, one.end_s) for one in side.warnings]
        for side in later.sides
    ]
    assert [one for one in told[0] if one[0] is WarningKind.LOW_BATTERY] == [
        (WarningKind.LOW_BATTERY, 150, 150, 160)
    ]
    assert told[1] == [
        (kind, since_s + 41, start_s + 41, None if end_s is None else end_s + 41)
        for kind, since_s, start_s, end_s in told[0]
    ]
    assert WarningKind.SILENT in {one[0] for one in told[1] if one[3] is None}


def test_the_words_say_who_began_when_and_whose_clock_ran_fast(later: Comparison) -> None:
    """And for how long both ran, and that UTC is believed."""
    assert later.words() == (
        "By UTC, two.sqlite began 41.000 s after one.sqlite; both ran for 159 s; its clock ran "
        "50.0 ppm fast and is drawn at the other's pace. How well the two computers agreed on UTC "
        "is not known from the captures."
    )
    first, second = later.sides
    at_once = replace(later, sides=(first, replace(second, from_s=0.25)))
    assert "two.sqlite began 0.250 s after one.sqlite" in at_once.words()
    slower = replace(later, alignment=replace(later.alignment, drift_ppm=-50.0))
    assert "its clock ran 50.0 ppm slow and" in slower.words()
    even = replace(later, alignment=replace(later.alignment, drift_ppm=0.0))
    assert "its clock ran 0.0 ppm fast and" in even.words()


def test_the_order_is_that_in_which_they_were_named(tmp_path: Path) -> None:
    """Also where the second began first; too short a time tells no pace."""
    one = written(tmp_path / "one.sqlite", starts_s=41, seconds=60)
    found = read_comparison(one, written(tmp_path / "two.sqlite", seconds=90))
    assert [side.name for side in found.sides] == ["one.sqlite", "two.sqlite"]
    assert found.words().startswith(
        "By UTC, two.sqlite began 41.000 s before one.sqlite; both ran for 49 s; too short to "
        "compare the clocks' pace."
    )


def test_files_of_one_name_are_told_apart_by_their_folders(tmp_path: Path) -> None:
    """And two that began together are said to have."""
    one = written(tmp_path / "a" / "c.sqlite", seconds=60)
    two = written(tmp_path / "b" / "c.sqlite", seconds=60)
    assert (
        read_comparison(one, two)
        .words()
        .startswith(f"By UTC, {two} began at the same time as {one}; both ran for 60 s")
    )
