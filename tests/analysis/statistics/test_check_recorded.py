"""Heart rates of recorded beats and of real exercise against what others made of them.

Each test bears the name of its entry, as in ``test_check_limits.py``.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from analysis.statistics.pairing import grid_values
from tests.lacking import needs_file
from tests.standins.real_activities import FOLDER as REAL_ACTIVITIES
from tests.standins.real_activities import real_series

RR_FILE = Path(__file__).with_name("rr_pyhrv_long.txt")


def test_rr_pyhrv_long() -> None:
    """4,684 RR of a library: 78.0804 bpm from the mean RR, 78.0664 held on a grid of 1 s.

    The mean of the single beats' rates, 78.9900, is another number: short beats count more often.
    """
    lines = RR_FILE.read_text(encoding="utf-8").splitlines()
    rr = np.array([int(line) for line in lines if not line.startswith("#")])
    assert (len(rr), int(rr.sum())) == (4684, 3_599_365)
    assert 60_000 / rr.mean() == pytest.approx(78.0804392, abs=1e-7)
    assert (60_000 / rr).mean() == pytest.approx(78.9899573, abs=1e-7)
    assert rr.std(ddof=1) == pytest.approx(85.35721, abs=1e-5)
    assert math.sqrt(np.mean(np.diff(rr) ** 2)) == pytest.approx(60.52348, abs=1e-5)
    t_ns = (np.cumsum(rr) - rr) * 1_000_000  # each from its first beat, as long as it lasts
    grid = grid_values(t_ns, np.rint(60_000_000 / rr).astype(np.int32), 3600, 3 * 10**9)
    assert np.mean(grid[1:3599] / 1000) == pytest.approx(78.066389, abs=1e-4)
    steps = np.rint(rr * 1.024) / 1.024
    assert math.sqrt(np.mean(np.diff(steps) ** 2)) == pytest.approx(60.511683, abs=1e-5)


def test_rr_hrvanalysis_1000() -> None:
    """Mean RR 718.248 ms is 83.5366 bpm; the library's mean of single rates is 83.8473.

    Its 1,000 RR are under GPL-3 and not copied: the two conventions alone are checked.
    """
    assert pytest.approx(83.536606, abs=1e-6) == 60_000 / 718.248
    # To second order the mean of rates exceeds the rate of the mean by the squared variation.
    second_order = 83.536606 * (1 + (43.113074968427306 / 718.248) ** 2)
    assert second_order == pytest.approx(83.84733227281252, abs=0.02)


def test_ecg_systole_task1() -> None:
    """1,936 beats in 1,536.2 s: 75.58 bpm by time, near the 75.61 of the entry.

    The ECG is under GPL-3 and not copied, and nothing here detects beats: arithmetic alone.
    """
    assert pytest.approx(75.61, abs=0.05) == 60 * (1936 - 1) / 1536.2


@needs_file(REAL_ACTIVITIES, "python set_up.py test")
def test_exercise_hr_1hz() -> None:
    """Real 1 Hz heart rates: autocorrelation .99875 at 1 s and .814 at 60 s; .99354 at 1 s."""
    pytest.importorskip("fitdecode")
    for name, count, expected in (
        ("4078723797.fit", 8357, {1: 0.99875, 60: 0.814}),
        ("4801048867.fit", 5159, {1: 0.99354}),
    ):
        values = np.array([int(value) for value in real_series(name).values])
        away = values - values.mean()
        assert len(values) == count
        for lag, rho in expected.items():
            found = (away[lag:] @ away[:-lag]) / (away @ away)
            assert found == pytest.approx(rho, abs=2e-3)
