"""Real activity files: 1 Hz heart rates of exercise, as devices and their services wrote them.

The expected values of the FIT files and of 3173437224.tcx were computed with ``fitparse`` and
``ElementTree``, apart from this code.
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.alignment import ReadingSeries, align
from tests.lacking import needs_file
from tests.standins.real_activities import FOLDER, real_series

NEEDS = ("fitdecode", "gpxpy")  # imported by what is called

pytestmark = needs_file(FOLDER, "python set_up.py test")


def values_of(name):
    series = real_series(name)
    return series, np.array([int(value) for value in series.values])


def autocorrelation(values, lag):
    x = values - values.mean()
    return float((x[lag:] * x[:-lag]).sum() / (x * x).sum())


@pytest.mark.parametrize(
    ("name", "count", "limits", "moments"),
    [
        ("4078723797.fit", 8357, (94, 190), (164.71, 17.92, 0.99875)),
        ("4801048867.fit", 5159, (89, 160), (130.31, 10.29, 0.99354)),
    ],
)
def test_fit_files_give_the_known_series(name, count, limits, moments):
    """Number, mean, SD, range and autocorrelation are those computed with another parser."""
    series, values = values_of(name)
    assert (len(values), (values.min(), values.max())) == (count, limits)
    mean, sd, acf1 = moments
    assert values.mean() == pytest.approx(mean, abs=0.005)
    assert values.std(ddof=1) == pytest.approx(sd, abs=0.005)
    assert autocorrelation(values, 1) == pytest.approx(acf1, abs=1e-4)
    assert (series.spacing_s, series.hold_s, series.pauses) == (1.0, 3.0, 0)


def test_the_tcx_file_gives_the_known_series_and_pause():
    """Number and range are the known ones, and the pause has its known length."""
    series, values = values_of("3173437224.tcx")
    assert (len(values), values.min(), values.max()) == (3507, 45, 168)
    assert (series.pauses, series.paused_s) == (1, pytest.approx(398.719))


@pytest.mark.parametrize(
    ("fit", "others"),
    [
        ("4801048867.fit", ("activity_4801048867.tcx", "activity_4801048867.gpx")),
        ("2020-06-01-16-52-40.fit", ("activity_5039744860.tcx", "activity_5039744860.gpx")),
    ],
)
def test_one_activity_in_three_formats_is_one_series(fit, others):
    """A service's TCX and GPX of an activity hold the times and values of the device's FIT."""
    wanted, _ = values_of(fit)
    for name in others:
        series, _ = values_of(name)
        assert (series.times_ns, series.values) == (wanted.times_ns, wanted.values)


def test_laps_repeat_points_and_that_is_counted():
    """A TCX file repeats the point at which a lap ends; the repetition is dropped and counted."""
    series, _ = values_of("activity_4801048867.tcx")
    assert (series.counts.rows, series.counts.duplicated) == (5166, 7)


@pytest.mark.parametrize(("clock_s", "slip_s"), [(41.0, 0), (7200.0, -7200)])
def test_a_real_series_finds_its_own_place_again(clock_s, slip_s):
    """A thinned copy of a real activity whose clock is off is set back to the second."""
    series, values = values_of("4801048867.fit")
    times = np.array(series.times_ns)
    mbpm = (values * 1000).astype(np.int32)
    whole = ReadingSeries(times, mbpm, 3 * 10**9)
    moved = ReadingSeries(times[::7] + round(clock_s * 1e9), mbpm[::7], 9 * 10**9)
    found = align(whole, moved)
    assert found.offset_s == pytest.approx(-clock_s, abs=0.6)
    assert found.slip_s == slip_s
