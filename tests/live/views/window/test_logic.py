"""The window's parts that know nothing of Qt: time span, gaps, counts, words, figures, faults."""

from __future__ import annotations

import logging

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.board import Board
from analysis.board.snapshot import Agreement
from live.views.window.parts.accessibility import accessible_text
from live.views.window.parts.counts import FAR_BPM, LOW_BPM, PairCounts, coarser
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.number_format import clock, duration, signed, tick_step, value_rows
from live.views.window.parts.span import Follow, TimeSpan
from live.views.window.parts.timeline import GapRuns
from live.views.window.parts.words import (
    agreement_row,
    agreement_rows,
    whole_words,
)
from tests.standins.feeds import PLAN

GRIDS = st.lists(st.one_of(st.just(-1), st.integers(25_000, 240_000)), max_size=60)


def test_following_keeps_the_newest_second_in_view_with_room_for_labels():
    """While following, now lies left of the edge by the room that the labels need."""
    span = TimeSpan(Follow.FIVE, room=0.2)
    start, end = span.at(1000.0)
    assert (start, end) == (700.0, pytest.approx(1075.0))


def test_a_young_session_starts_at_the_left_edge():
    """Until the first window is full the picture stands still."""
    span = TimeSpan(Follow.FIVE, room=0.2)
    assert span.at(10.0) == span.at(200.0) == (0.0, pytest.approx(375.0))


def test_following_all_shows_the_session_from_its_start():
    """All of it means from second 0 to now."""
    start, end = TimeSpan(Follow.ALL, room=0.0).at(5000.0)
    assert (start, end) == (0.0, 5000.0)


def test_a_moved_picture_stays_and_comes_back():
    """After panning, time passing moves nothing; back to now follows what was followed before."""
    span = TimeSpan(Follow.MINUTE, room=0.0)
    span.pan(-0.5, 600.0)
    assert span.follow is None
    assert span.at(600.0) == span.at(700.0) == (510.0, 570.0)
    span.back_to_now()
    assert span.at(700.0) == (640.0, 700.0)


def test_zooming_keeps_the_middle_and_has_limits():
    """Closer and wider keep the middle second; no closer than five seconds."""
    span = TimeSpan(Follow.MINUTE, room=0.0)
    span.set_free(540.0, 600.0)
    span.zoom(0.5, 600.0)
    assert span.at(600.0) == (555.0, 585.0)
    for _ in range(20):
        span.zoom(0.5, 600.0)
    start, end = span.at(600.0)
    assert end - start == pytest.approx(5.0)


@pytest.mark.parametrize("now_s", [14.0, 600.0])
def test_a_picture_that_runs_along_is_zoomed_about_now(now_s):
    """Where the lines end they still end, of a young session too; all of one keeps its middle."""
    span = TimeSpan(Follow.FIVE, room=0.1)
    start, end = span.at(now_s)
    place = (now_s - start) / (end - start)
    span.zoom(0.5, now_s)
    closer_start, closer_end = span.at(now_s)
    assert closer_end - closer_start == pytest.approx((end - start) / 2)
    assert (now_s - closer_start) / (closer_end - closer_start) == pytest.approx(place)
    span = TimeSpan(Follow.ALL, room=0.1)
    start, end = span.at(now_s)
    span.zoom(0.5, now_s)
    assert sum(span.at(now_s)) == pytest.approx(start + end)


@given(GRIDS, st.integers(1, 9))
def test_gap_runs_grow_to_what_a_whole_look_gives(grid, step):
    """Taken bit by bit, the gaps equal the runs of empty seconds of the whole grid."""
    values = np.array(grid, dtype=np.int32)
    runs = GapRuns()
    for end in [*range(0, len(values), step), len(values)]:
        runs.catch_up(values[:end])
    covered = [s for a, b in zip(runs.starts, runs.ends, strict=True) for s in range(a, b)]
    assert covered == [i for i, value in enumerate(grid) if value < 0]
    assert all(b < a for b, a in zip(runs.ends, runs.starts[1:], strict=False))


def test_gaps_closer_than_a_pixel_are_drawn_as_one():
    """The number of strips is bounded by the screen, and no gap is left out."""
    runs = GapRuns()
    runs.catch_up(np.array([-1, 5, -1, 5, 5, 5, -1], dtype=np.int32))
    assert runs.between(0, 7) == [(0, 1), (2, 3), (6, 7)]
    assert runs.between(0, 7, 2.0) == [(0, 3), (6, 7)]
    assert runs.between(1.5, 4) == [(2, 3)]


@given(GRIDS, GRIDS, st.integers(1, 9))
def test_counts_grow_to_what_a_whole_look_gives(ref, test, step):
    """Taken second by second, both planes hold each pair once."""
    n = min(len(ref), len(test))
    a, b = np.array(ref[:n], dtype=np.int32), np.array(test[:n], dtype=np.int32)
    counts = PairCounts()
    for end in [*range(0, n, step), n]:
        counts.catch_up(a[:end], b[:end])
    pairs = [(x, y) for x, y in zip(ref, test, strict=False) if x >= 0 and y >= 0]
    assert counts.pairs == counts.plane.sum() == counts.turned.sum() == len(pairs)
    for x, y in pairs:
        assert counts.plane[(x + 500) // 1000 - LOW_BPM, (y + 500) // 1000 - LOW_BPM] > 0
    far = [(y - x + 500) // 1000 for x, y in pairs]
    assert counts.beyond == sum(not -FAR_BPM <= d < FAR_BPM for d in far)
    for size in (2, 3, 8):
        assert coarser(counts.plane, size, size).sum() == len(pairs)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0, "0:00"), (59.9, "0:59"), (600, "10:00"), (3725, "1:02:05"), (-5, "−0:05")],
)
def test_times_are_written_as_clocks_write_them(seconds, text):
    """Minutes and seconds below an hour, hours from then on."""
    assert clock(seconds) == text


@pytest.mark.parametrize(
    ("seconds", "text"), [(14, "14 s"), (120, "2 min"), (185, "3 min 5 s"), (7800, "2 h 10 min")]
)
def test_lengths_of_time_are_written_with_their_units(seconds, text):
    """Each number has its unit."""
    assert duration(seconds) == text


@given(st.floats(1, 200_000), st.integers(2, 20))
def test_time_ticks_are_round_and_few(span, most):
    """Never more ticks than there is room for, at whole seconds."""
    step = tick_step(span, most)
    assert span / step <= most + 0.5
    assert step in (1, 2, 5, 10, 15, 30) or step % 60 == 0


@given(st.integers(-60, 200), st.integers(1, 200), st.integers(2, 12))
def test_value_ticks_are_inside_round_and_few(low, length, most):
    """Rows lie inside the axis and never crowd it."""
    rows = value_rows(low, low + length, most)
    assert len(rows) <= most + 1
    assert all(low <= row <= low + length for row in rows)


def test_a_difference_of_nothing_has_no_sign():
    """+0 and −0 are both 0; other differences show their sign."""
    assert [signed(v) for v in (0.2, -0.2, 4.0, -11.4)] == ["0", "0", "+4", "−11"]


def test_an_r_that_is_not_to_be_trusted_stands_in_brackets():
    """Brackets, not only a paler grey, mark a doubtful r; without pairs nothing is claimed."""
    shaky = Agreement(60, -1.25, 2.0, 97.6, -0.31, "The reference ranged over 9 bpm; r says little")
    assert agreement_row(shaky) == ("−1.2", "2.0", "98 %", "(−0.31)", "60")
    assert agreement_row(Agreement(0, None, None, None, None)) == ("–", "–", "–", "–", "0")


def test_the_whole_session_stands_below_what_leaves_the_references_faults_out():
    """One row more, read aloud and told in the tip, and only where something is left out."""
    whole, kept = Agreement(90, 9.0, 9.5, 60.0, 0.5), Agreement(60, 1.0, 1.5, 99.0, 0.9)
    plan = PLAN
    bare = Board(plan).snapshot().sensors[1]
    status = bare._replace(windows={"1 min": whole, "session": whole})
    assert agreement_rows(status) == [("1 min", whole), ("session", whole)]
    assert whole_words(status) == ""
    status = status._replace(without_exclusions={"1 min": kept, "session": kept})
    assert agreement_rows(status) == [("1 min", kept), ("session", kept), ("whole", whole)]
    assert "1 min MAE 9.5, bias +9.0" in whole_words(status)
    assert "session: bias bpm +1.0, MAE bpm 1.5" in accessible_text(status)
    assert "whole: bias bpm +9.0, MAE bpm 9.5" in accessible_text(status)


def test_errors_in_drawing_are_counted_and_logged_once_per_kind(caplog):
    """An error ends the guarded piece alone; each is counted, its trace is logged once."""
    faults = DrawingFaults()
    with caplog.at_level(logging.ERROR):
        for _ in range(5):
            with faults.guard("plane"):
                raise ZeroDivisionError("nothing to divide")
    assert faults.count == 5
    assert "plane" in faults.last
    assert len(caplog.records) == 1
