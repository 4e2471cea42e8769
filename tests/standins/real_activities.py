"""Real activity files: 1 Hz heart rates of exercise, as devices and their services wrote them.

They are shipped with the wheel of ``sweat`` 0.25.0 (MIT licence, sweat/examples/data), which the
set-up lays aside.
"""

from __future__ import annotations

import os
import pickle
from functools import cache

import set_up
from replay.files import read_activity
from replay.files.series import FileSeries
from tests.standins.shared import made_once

FOLDER = set_up.REAL_FILES / "sweat" / "examples" / "data"


def real_series(name: str) -> FileSeries:
    """What is read of one of them, once for all processes of a run: to be looked at only."""
    return _read(name, os.getpid())


@cache
def _read(name: str, _process: int) -> FileSeries:
    """Each process by itself: a fork may have other code than the one that it was made of."""
    kept = made_once(f"real-activity-{name}", lambda: pickle.dumps(read_activity(FOLDER / name)))
    series = pickle.loads(kept)  # noqa: S301 - made above
    assert isinstance(series, FileSeries)
    return series
