"""From a capture to its numbers and its report, and our intervals against resampled ones.

Run ``python -m benchmarks.bench_analysis``.  A session of 60 min with a reference and three test
sensors is simulated and taken from its file to all numbers, and to the page with its figures.
Then the statistics of agreement with their intervals are computed for each sensor by
``analysis.statistics.summary`` and, in the same run, by block resampling with ``arch`` (all
statistics in one resampling) and with ``scipy.stats.bootstrap`` (a call for each statistic, as its
interface asks).  What counts is the ratio.  How well the intervals hold is another question,
answered by ``benchmarks.coverage``.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.session import read_session
from analysis.session.cache import CACHE_FOLDER_VARIABLE
from analysis.session.pipeline import Session, session_of
from analysis.statistics.agreement import Tolerance
from analysis.statistics.pairing import pairs_of
from analysis.statistics.summary import agreement_of
from live.cli.report import write_report
from live.simulated import simulate
from live.simulated.script import script_for
from replay.capture import COMMIT_EVERY_EVENTS, Capture, CaptureWriter
from replay.plan import Plan, PlannedSensor

SECONDS: Final = 3600
RESAMPLES: Final = 1000
BLOCK_S: Final = 60
"""Longer than wrist sensors' errors remember themselves."""

Floats = npt.NDArray[np.float64]

PLAN: Final = Plan(
    wearer="W1",
    activity="rowing ergometer",
    sensors=tuple(
        PlannedSensor(
            label=label, role="test" if kind != "strap" else "reference",
            source="simulated", kind=kind,
        )
        for label, kind in (
            ("Yarrow", "strap"), ("Sorrel", "wrist-slow"), ("Tansy", "wrist"), ("Bracken", "arm"),
        )
    ),
    invented=True,
)  # fmt: skip


def write_session(path: Path, seconds: int = SECONDS) -> int:
    """Write the simulated session; returns its number of events."""
    writer = CaptureWriter(path, PLAN, started_utc_ns=1_772_604_900 * 10**9, software="benchmark")
    count = 0
    script = script_for(PLAN.activity).lasting(seconds)
    for count, event in enumerate(simulate(PLAN, seconds, script), 1):
        writer.append(event)
        if count % COMMIT_EVERY_EVENTS == 0:
            writer.commit()
    writer.close(t_ns=seconds * 10**9, reason="end of the script")
    return count


def session_at(path: Path) -> Session:
    """From the file to all numbers, and its arrays."""
    with Capture.open(path) as capture:
        return session_of(capture)


def events_at(path: Path) -> int:
    """The events of the file read and checked, and nothing made of them: what cannot be saved."""
    with Capture.open(path) as capture:
        return sum(1 for _ in capture.events())


def without_cache(work: Callable[[], object]) -> Callable[[], None]:
    """The same work with a cache of records that is empty every time."""

    def run() -> None:
        with tempfile.TemporaryDirectory() as folder:
            os.environ[CACHE_FOLDER_VARIABLE] = folder
            work()

    return run


def seconds_of(work: Callable[[], object], times: int) -> list[float]:
    """Wall time of each of some runs."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return found


def agreement_values(reference: Floats, test: Floats, tolerance: Tolerance) -> Floats:
    """Bias, SD, both limits, MAE, MAPE, RMSE, share, r and CCC of pairs, float64[10]."""
    difference = test - reference
    size = np.abs(difference)
    bias, sd = difference.mean(), difference.std(ddof=1)
    allowed = np.maximum(tolerance.bpm, reference * tolerance.percent / 100)
    mean_x, mean_y = reference.mean(), test.mean()
    both = ((reference - mean_x) * (test - mean_y)).mean()
    var_x, var_y = reference.var(), test.var()
    return np.array(
        [
            bias, sd, bias - 1.96 * sd, bias + 1.96 * sd, size.mean(),
            100 * (size / reference).mean(), np.sqrt((difference**2).mean()),
            100 * (size <= allowed).mean(), both / np.sqrt(var_x * var_y),
            2 * both / (var_x + var_y + (mean_x - mean_y) ** 2),
        ]
    )  # fmt: skip


def by_arch(reference: Floats, test: Floats, tolerance: Tolerance) -> Floats:
    """95 % intervals by moving blocks, float64[2, 10]."""
    from arch.bootstrap import MovingBlockBootstrap  # noqa: PLC0415 - wanted for this alone

    resampling = MovingBlockBootstrap(BLOCK_S, reference, test, seed=1)
    ends: Floats = resampling.conf_int(
        lambda x, y: agreement_values(x, y, tolerance), reps=RESAMPLES, method="percentile"
    )
    return ends


def by_scipy(reference: Floats, test: Floats, tolerance: Tolerance) -> Floats:
    """95 % intervals by resampled blocks, float64[2, 10]."""
    count = len(reference) // BLOCK_S
    x = reference[: count * BLOCK_S].reshape(count, BLOCK_S)
    y = test[: count * BLOCK_S].reshape(count, BLOCK_S)
    ends = []
    for place in range(10):

        def one(chosen: npt.NDArray[np.int64], place: int = place) -> float:
            pairs = x[chosen].ravel(), y[chosen].ravel()
            return float(agreement_values(*pairs, tolerance)[place])

        found = stats.bootstrap(
            (np.arange(count),), one, n_resamples=RESAMPLES, vectorized=False,
            method="percentile", rng=np.random.default_rng(1),
        )  # fmt: skip
        ends.append(found.confidence_interval)
    return np.array(ends).T


def compare(session: Session) -> None:
    """Print the times of the three ways, and their ratios."""
    data = session.data
    tolerance = Tolerance(PLAN.tolerance_bpm, PLAN.tolerance_percent)
    ours, arch, scipy = [], [], []
    for test in data.tests:
        both = pairs_of(data.reference.grid, test.grid)
        x, y = data.reference.grid[both] / 1000, test.grid[both] / 1000
        # The best of some runs of each: what else the machine does is not compared.
        grids = data.reference.grid, test.grid
        ours.append(min(seconds_of(partial(agreement_of, *grids, tolerance), 9)))
        arch.append(min(seconds_of(partial(by_arch, x, y, tolerance), 3)))
        scipy.append(min(seconds_of(partial(by_scipy, x, y, tolerance), 3)))
    mine = statistics.mean(ours)
    print(
        f"\n10 statistics with intervals, {len(data.tests)} sensors, {data.seconds} pairs, "
        f"{RESAMPLES} resamples of {BLOCK_S} s blocks"
    )
    print(f"  {'way':<42}{'ms a sensor':>12}{'ratio':>8}")
    print(f"  {'analysis.statistics.summary (2 more statistics)':<42}{1e3 * mine:>12.1f}{1:>8}")
    for name, found in (("arch, one resampling for all", arch), ("scipy.stats.bootstrap", scipy)):
        theirs = statistics.mean(found)
        print(f"  {name:<42}{1e3 * theirs:>12.1f}{theirs / mine:>8.0f}")


def main() -> int:
    """Print all measures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5, help="runs of each measure (default 5)")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "session.sqlite"
        events = write_session(path)
        print(f"{SECONDS // 60} min, {len(PLAN.sensors)} sensors, {events} events")
        alone = seconds_of(lambda: events_at(path), arguments.runs)
        print(_line("the events read, nothing made of them", alone, alone))
        times = seconds_of(without_cache(lambda: session_at(path)), arguments.runs)
        print(_line("from file to finished numbers", times, alone))
        os.environ[CACHE_FOLDER_VARIABLE] = folder
        read_session(path)
        times = seconds_of(lambda: read_session(path), arguments.runs)
        print(_line("the same from the cache", times, alone))
        pages = iter(range(1000))
        times = seconds_of(
            without_cache(lambda: write_report(path, Path(folder) / f"{next(pages)}.html", None)),
            arguments.runs,
        )
        print(_line("from file to finished page", times, alone))
        times = seconds_of(
            without_cache(
                lambda: write_report(
                    path, Path(folder) / "all.html", Path(folder) / f"figures{next(pages)}"
                )
            ),
            arguments.runs,
        )
        print(_line("from file to page and 20 figure files", times, alone))
        compare(session_at(path))
    return 0


def _line(what: str, times: list[float], alone: list[float]) -> str:
    ratio = min(times) / min(alone)
    return (
        f"  {what:<42}{min(times):>8.2f} s best{statistics.median(times):>8.2f} s median"
        f"{ratio:>8.1f} x reading"
    )


if __name__ == "__main__":
    sys.exit(main())
