"""Order, repetitions, spacing and pauses of imported rows."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.files import RawSeries, Row, settle

NEEDS = ("fitdecode", "gpxpy")  # imported by what is called

S = 10**9


def settled(*rows):
    return settle(Path("tansy.csv"), "", RawSeries("CSV", [Row(t, v) for t, v in rows]))


def test_rows_out_of_order_are_sorted_and_counted():
    """Order of time is restored; rows that stood behind a later one are counted."""
    series = settled((1 * S, "100"), (4 * S, "103"), (2 * S, "101"), (3 * S, "102"))
    assert series.values == ("100", "101", "102", "103")
    assert series.counts.sentences() == ["2 rows out of order: sorted by time."]


def test_repeated_rows_are_dropped_and_counted():
    """The same time and value again is one reading, wherever it stands."""
    series = settled((1 * S, "100"), (1 * S, "100"), (2 * S, "101"), (1 * S, "100"))
    assert series.values == ("100", "101")
    assert series.counts.duplicated == 2


def test_contradicting_rows_are_both_kept_and_counted():
    """Which of two values at one time is right, nobody can tell: both stay, in the file's order."""
    series = settled((1 * S, "100"), (1 * S, "180"), (1 * S, "100"))
    assert series.values == ("100", "180")
    assert (series.counts.conflicting, series.counts.duplicated) == (1, 1)


@pytest.mark.parametrize(
    ("every", "hold_s"), [(1, 3.0), (2, 3.0), (5, 6.0), (10, 12.0), (15, 18.0), (30, 20.0)]
)
def test_the_hold_follows_the_spacing(every, hold_s):
    """A value stands a fifth longer than the file's spacing, at least 3 s and at most 20 s."""
    series = settled(*((second * S, str(100 + second % 7)) for second in range(0, 900, every)))
    assert (series.spacing_s, series.hold_s) == (every, hold_s)
    stated = [s for s in series.sentences() if "held for up to" in s]
    assert bool(stated) == (hold_s != 3.0)


def test_changing_spacing_is_covered():
    """Devices that write when something changes have spacings of 1 to 9 s: nearly all are held."""
    times, second = [], 0
    for step in range(300):
        times.append(second)
        second += (1, 2, 5, 7, 9)[step % 5]
    series = settled(*((time * S, "120") for time in times))
    assert (series.spacing_s, series.hold_s, series.pauses) == (9, 11, 0)


def test_pauses_are_counted_and_do_not_widen_the_hold():
    """Stopping the device twice is two pauses, not a spacing."""
    seconds = [*range(100), *range(400, 500), *range(1100, 1200)]
    series = settled(*((second * S, "120") for second in seconds))
    assert (series.hold_s, series.pauses, series.paused_s) == (3.0, 2, 902)
    assert "2 pauses without a reading, 902 s in all." in series.sentences()


def test_times_that_no_clock_shows_are_none():
    """A time beyond what 64 bits hold comfortably is no time."""
    assert settled((2**63, "100"), (S, "100")).counts.no_time == 1


@given(
    st.lists(
        st.tuples(
            st.one_of(st.none(), st.integers(0, 50)), st.one_of(st.none(), st.sampled_from("abc "))
        )
    )
)
def test_every_row_is_accounted_for(rows):
    """Readings and drops together are the rows; times never decrease."""
    series = settled(*rows)
    counts = series.counts
    assert counts.rows == len(rows)
    dropped = counts.no_time + counts.no_heart_rate + counts.duplicated
    assert dropped + len(series.values) == len(rows)
    assert list(series.times_ns) == sorted(series.times_ns)
    assert len(set(zip(series.times_ns, series.values, strict=True))) == len(series.values)
