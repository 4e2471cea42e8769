"""What is drawn of a series, at every magnification."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from live.views.window.parts.columns import Columns, Drawn, power_for
from live.views.window.parts.timeline import DifferenceSeries, ReadingSeries

S = 1_000_000_000
GAP = 3 * S


def series(t_s, bpm) -> ReadingSeries:
    made = ReadingSeries(GAP)
    made.catch_up(
        (np.asarray(t_s, dtype=float) * S).astype(np.int64),
        (np.asarray(bpm) * 1000).astype(np.int32),
    )
    return made


def crossings(drawn: Drawn) -> list[tuple[float, float]]:
    """Start and end time of every piece of line."""
    x, _, joined = drawn.line()
    return [(float(x[i]), float(x[i + 1])) for i in np.flatnonzero(joined[:-1])]


def test_a_short_stretch_is_drawn_reading_by_reading():
    """With room for them, the points drawn are the readings themselves."""
    drawn = series([0.5, 1.5, 2.5], [100, 101, 102]).drawn(0, 60, 600)
    assert not drawn.by_column
    assert drawn.t_s.tolist() == [0.5, 1.5, 2.5]
    assert drawn.low.tolist() == [100, 101, 102]


def test_one_reading_beyond_each_edge_is_kept():
    """A line runs out of the picture instead of ending at the last reading inside."""
    drawn = series(np.arange(100), np.full(100, 90)).drawn(20.5, 30.5, 600)
    assert (drawn.t_s[0], drawn.t_s[-1]) == (20, 31)


@given(
    st.lists(st.integers(1, 20_000), min_size=1, max_size=300),
    st.integers(1, 50),
    st.integers(1, 5),
)
def test_no_line_crosses_a_gap(spacing_ms, columns, cuts):
    """At any magnification, however the readings came in, no piece of line spans a gap."""
    t_ns = np.cumsum(np.array(spacing_ms, dtype=np.int64) * 1_000_000)
    mbpm = np.full(len(t_ns), 120_000, dtype=np.int32)
    made = ReadingSeries(GAP)
    for part in range(1, cuts + 1):
        made.catch_up(t_ns[: part * len(t_ns) // cuts], mbpm[: part * len(t_ns) // cuts])
        made.drawn(0, float(t_ns[-1]) / S, columns)
    made.catch_up(t_ns, mbpm)
    drawn = made.drawn(0, float(t_ns[-1]) / S, columns)
    gaps = [(a / S, b / S) for a, b in pairwise(t_ns.tolist()) if b - a > GAP]
    width = 2.0 ** power_for(float(t_ns[-1]) / S, columns) if drawn.by_column else 0.0
    for left, right in crossings(drawn):
        if left == right:
            continue  # the upright of one column
        # A column stands for its whole width: a gap between the columns' own readings must break.
        between = [(a, b) for a, b in gaps if left - width / 2 <= a and b <= right + width / 2]
        spanned = [(a, b) for a, b in between if a // max(width, 1e-9) < b // max(width, 1e-9)]
        assert spanned == []


@given(st.lists(st.integers(200, 4000), min_size=1, max_size=400), st.integers(1, 60))
def test_the_newest_reading_is_the_last_point_drawn(spacing_ms, columns):
    """No magnification holds back the newest second."""
    t_ns = np.cumsum(np.array(spacing_ms, dtype=np.int64) * 1_000_000)
    mbpm = (100_000 + 1000 * (np.arange(len(t_ns)) % 50)).astype(np.int32)
    made = ReadingSeries(GAP)
    made.catch_up(t_ns, mbpm)
    drawn = made.drawn(0, float(t_ns[-1]) / S + 1, columns)
    assert drawn.t_s[-1] == float(t_ns[-1]) / S
    assert drawn.low[-1] <= mbpm[-1] / 1000 <= drawn.high[-1]


@given(st.lists(st.integers(0, 500), min_size=1, max_size=60), st.integers(0, 5))
def test_columns_hold_the_extremes_however_they_were_filled(values, power):
    """Filled second by second with looks in between, a level equals one reduced at once."""
    slowly, at_once = Columns(), Columns()
    for second, value in enumerate(values):
        one = np.array([value], dtype=np.float32)
        slowly.merge(np.array([second]), one, one, np.array([value % 7 == 0]))
        slowly.level(power)
    all_of = np.array(values, dtype=np.float32)
    at_once.merge(np.arange(len(values)), all_of, all_of, all_of % 7 == 0)
    width = 1 << power
    one, other = (made.level(power).drawn(0, len(values), width, 0.5) for made in (slowly, at_once))
    assert one.low.tolist() == other.low.tolist()
    assert one.high.tolist() == other.high.tolist()
    assert one.joined.tolist() == other.joined.tolist()
    assert one.low.tolist() == [min(values[i : i + width]) for i in range(0, len(values), width)]
    assert one.high.tolist() == [max(values[i : i + width]) for i in range(0, len(values), width)]


def test_one_odd_reading_stays_visible_and_blanks_nothing():
    """A single reading of 240 in hours of 120 is in the picture, and so are its neighbours."""
    bpm = np.full(28_800, 120)
    bpm[14_000] = 240
    drawn = series(np.arange(28_800), bpm).drawn(0, 28_800, 800)
    assert drawn.by_column
    assert drawn.high.max() == 240
    assert drawn.low.max() == 120
    assert np.isfinite(drawn.low).all()
    assert len(drawn.t_s) >= 28_800 / 64


def test_empty_columns_do_not_blank_their_neighbours():
    """A gap of a minute in hours costs the columns of that minute and no others."""
    t_s = np.concatenate([np.arange(10_000), np.arange(10_060, 28_800)])
    drawn = series(t_s, np.full(len(t_s), 120)).drawn(0, 28_800, 800)
    width = 2.0 ** power_for(28_800, 800)
    whole = 28_800 / width
    assert whole - 60 / width - 2 <= len(drawn.t_s) <= whole + 1


def test_a_slow_sensor_within_its_age_limit_is_joined():
    """Readings nine seconds apart are one line for a sensor that may hold for ten."""
    made = ReadingSeries(10 * S)
    t_ns = np.arange(0, 7200, 9, dtype=np.int64) * S
    made.catch_up(t_ns, np.full(len(t_ns), 100_000, dtype=np.int32))
    assert made.drawn(0, 7200, 100).joined[:-1].all()
    assert made.drawn(0, 600, 600).joined[:-1].all()


def test_differences_stand_at_their_grid_seconds_and_break_without_a_pair():
    """A second where either sensor has no value is not drawn, and not bridged."""
    ref = np.array([100, 101, -1, 103, 104], dtype=np.int32) * 1000
    test = np.array([101, 101, 105, 101, -1], dtype=np.int32) * 1000
    made = DifferenceSeries()
    for end in range(6):
        made.catch_up(np.maximum(ref, -1)[:end], np.maximum(test, -1)[:end])
    drawn = made.drawn(0, 10, 500)
    assert drawn.t_s.tolist() == [0, 1, 3]
    assert drawn.low.tolist() == [1, 0, -2]
    assert drawn.joined.tolist() == [True, False, False]


def test_differences_of_a_long_session_end_at_the_last_pair():
    """In a long view the last column stands at the last grid second, not behind it."""
    n = 20_001
    ref = np.full(n, 120_000, dtype=np.int32)
    made = DifferenceSeries()
    made.catch_up(ref, ref + 2000)
    drawn = made.drawn(0, n, 300)
    assert drawn.by_column
    assert drawn.t_s[-1] <= n - 1
    assert drawn.t_s[-1] > n - 1 - 2.0 ** power_for(n, 300)
