"""Coverage and width of the intervals in the sessions of the second generator.

Width is told beside coverage, as a multiple of the ideal one (:mod:`benchmarks.second_truth`): an
interval that always holds the truth may be too wide to be of use.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from concurrent.futures import Executor
from functools import partial

import numpy as np

from analysis.statistics.agreement import Tolerance
from analysis.statistics.batch import BATCHES
from analysis.statistics.closer import compare_all
from analysis.statistics.correlation import MOST_IN_ONE, most_in_one
from analysis.statistics.efforts import Answer, Kind, find_efforts, responses
from analysis.statistics.error_variance import error_variances, in_step, still_follows_slope
from analysis.statistics.estimate import Interval, t_quantile
from analysis.statistics.summary import agreement_of
from benchmarks.second_truth import MISSING, SENSORS, Sensor, course, to_grids, truths

TOLERANCE = Tolerance(5, 10)
STATISTICS = ("bias", "loa_low", "loa_high", "mae", "mape", "within", "pearson_r", "concordance")
COLUMNS = (*STATISTICS, "r, jackknife", "CCC, jackknife", "closer")
WIDE = {"bias": 1.5, "mae": 1.5}

Outcome = tuple[bool, float] | None


def session_outcomes(sensor: Sensor, runs: int, seed: int) -> list[dict[str, Outcome]]:
    """For each simulated session: whether each interval holds, and its width over the ideal."""
    known = truths(sensor, seed, runs)
    own = zlib.crc32(sensor.name.encode())  # each row of the table has errors of its own
    outcomes = []
    for run in range(runs):
        fixed, truth, ideal = known[run % len(known)]
        source = np.random.default_rng([seed, run, own])
        ref, test = to_grids(fixed, sensor.show(source, fixed))
        found = agreement_of(ref, test, TOLERANCE)
        intervals = {name: getattr(found, name).interval for name in STATISTICS}
        there = test != MISSING
        for name, of in (("r, jackknife", "pearson_r"), ("CCC, jackknife", "concordance")):
            intervals[name] = jackknife(ref[there] / 1000, test[there] / 1000, of)
            truth, ideal = truth | {name: truth[of]}, ideal | {name: ideal[of]}
        _, twin = to_grids(fixed, sensor.show(source, fixed))
        kept = np.ones(len(ref), dtype=bool)
        pair = compare_all(ref, {2: test, 3: twin}, {2: kept, 3: kept})
        intervals["closer"] = pair[0].difference.interval if pair else None
        truth, ideal = truth | {"closer": 0.0}, ideal | {"closer": math.sqrt(2) * ideal["mae"]}
        outcomes.append({n: _outcome(intervals[n], truth[n], ideal[n]) for n in COLUMNS})
    return outcomes


def outcomes_of_row(place: int, runs: int, seed: int) -> list[dict[str, Outcome]]:
    """:func:`session_outcomes` of a row by its place: a sensor itself cannot go to a process."""
    return session_outcomes(SENSORS[place], runs, seed)


def _outcome(interval: Interval | None, truth: float, ideal: float) -> Outcome:
    if interval is None:
        return None
    low, high = interval
    return low <= truth <= high, (high - low) / ideal if ideal > 1e-9 else math.nan


def jackknife(x: np.ndarray, y: np.ndarray, of: str) -> Interval | None:
    """Delete-one-of-eight-batches jackknife of atanh r or CCC with t(7), for comparison."""
    if most_in_one(x) > MOST_IN_ONE:
        return None
    rows = np.array([x, y, x * x, y * y, x * y])
    parts = [part.sum(axis=1) for part in np.array_split(rows, BATCHES, axis=1)]
    counts = [part.shape[1] for part in np.array_split(rows, BATCHES, axis=1)]

    def value(total: np.ndarray, count: int) -> float:
        mean_x, mean_y, xx, yy, xy = total / count
        var_x, var_y, both = xx - mean_x**2, yy - mean_y**2, xy - mean_x * mean_y
        if of == "pearson_r":
            return math.atanh(both / math.sqrt(var_x * var_y))
        return math.atanh(2 * both / (var_x + var_y + (mean_x - mean_y) ** 2))

    total, count = np.sum(parts, axis=0), len(x)
    left_out = [value(total - part, count - n) for part, n in zip(parts, counts, strict=True)]
    half = t_quantile(BATCHES - 1) * math.sqrt((BATCHES - 1) * float(np.var(left_out)))
    middle = value(total, count)
    return math.tanh(middle - half), math.tanh(middle + half)


def family_outcome(seed: int) -> tuple[bool, bool]:
    """Five equal sensors: whether any two are told apart, with and without regard to the others."""
    source = np.random.default_rng([seed, 11])
    fixed = course(source, "intervals", 1800)
    grids = {n: to_grids(fixed, SENSORS[1].show(source, fixed))[1] for n in range(2, 7)}
    ref, _ = to_grids(fixed, fixed.bpm)
    kept = np.ones(1800, dtype=bool)
    together = compare_all(ref, grids, dict.fromkeys(grids, kept))
    alone = any(
        compare_all(ref, {n: grids[n], m: grids[m]}, {n: kept, m: kept})[0].is_clear
        for n in grids
        for m in grids
        if n < m
    )
    return any(one.is_clear for one in together), alone


def own_error_outcome(kind: str, seed: int) -> tuple[bool, bool | None, float | None]:
    """Whether a smoothing sensor was found, whether the reference's variance (0.08) is held by its
    interval, and the estimate; of ``kind`` "white" (late, not smoothing) or "smoothing".
    """
    source = np.random.default_rng([seed, 13])
    heart = course(source, "intervals", 1800).bpm
    series = [heart + source.normal(0, math.sqrt(0.08), 1800)]
    for width in (10, 14):
        delay = (width - 1) / 2
        if kind == "smoothing":
            padded = np.concatenate((np.full(width - 1, heart[0]), heart))
            shown = np.convolve(padded, np.full(width, 1 / width), "valid")
        else:
            shown = np.concatenate((np.full(round(delay), heart[0]), heart[: -round(delay)]))
        series.append(shown + source.normal(0, 1, 1800))
    everywhere = np.ones(1800, dtype=bool)
    moved, there = in_step(series, [everywhere] * 3, (0, 4.5, 6.5))
    if any(still_follows_slope(moved[0], test, there) for test in moved[1:]):
        return True, None, None
    first = error_variances(moved, there)[0]
    low, high = first.interval or (math.nan, math.nan)
    return False, low <= 0.08 <= high, first.variance


def efforts_found(kind: str, seed: int) -> tuple[int, int, int, float]:
    """Hard stretches of a course, efforts found on it, those of them that a perfect sensor is said
    to miss, and by how much its heart rises in a hard stretch, in bpm (median).
    """
    fixed = course(np.random.default_rng([seed, 17]), kind, 1800)
    grid, _ = to_grids(fixed, fixed.bpm)
    efforts = [one for one in find_efforts(grid) if one.kind is Kind.EFFORT]
    missed = [one.answer for one in responses(efforts, grid, grid)].count(Answer.MISSED)
    rises = [
        float(fixed.bpm[begin : end + 1].max() - fixed.bpm[max(begin - 5, 0) : begin + 5].min())
        for begin, end, _ in fixed.hard
    ]
    return len(fixed.hard), len(efforts), missed, float(np.median(rises)) if rises else math.nan


def print_rows(pool: Executor, runs: int, seed: int) -> None:
    """Print the table of the second generator's sensors."""
    print(
        "\nSecond generator: coverage, and width over the ideal width (* beyond 1.5; in brackets:"
    )
    print("share of the sessions without an interval). 30 min each; truth over each course")
    print(f"{'':26}" + "".join(f"{name:>20}" for name in COLUMNS))
    rows = pool.map(partial(outcomes_of_row, runs=runs, seed=seed), range(len(SENSORS)))
    for sensor, outcomes in zip(SENSORS, rows, strict=True):
        cells = [_cell([one[name] for one in outcomes], WIDE.get(name)) for name in COLUMNS]
        print(f"{sensor.name:26}{''.join(cells)}".rstrip(), flush=True)


def print_rest(pool: Executor, seeds: range) -> None:
    """Print what is asked of several of its sensors at once, and of its courses."""
    print("\nFive sensors of equal errors (armband, SD 5): any two told apart in this session")
    together, alone = np.mean(list(pool.map(family_outcome, seeds, chunksize=20)), axis=0)
    print(f"    all intervals together {together:.3f}; each pair on its own {alone:.3f}")
    print("\nOwn error of a reference of variance 0.08 beside two sensors 4.5 and 6.5 s late")
    for kind in ("white", "smoothing"):
        found = list(pool.map(partial(own_error_outcome, kind), seeds, chunksize=20))
        given = [(held, value) for smooths, held, value in found if not smooths]
        words = f"    {kind:10} smoothing named {np.mean([one[0] for one in found]):.3f}"
        if given:
            held, values = zip(*given, strict=True)
            words += f"; else coverage {np.mean(held):.3f}, median estimate {np.median(values):.2f}"
        print(words)
    print(
        "\nEfforts found on the reference alone, of which a perfect sensor misses, and the rise of"
    )
    print("the heart in one of those planned (means of 50 sessions)")
    for kind in ("intervals", "30/30", "15/15", "climb", "steady"):
        every = np.array([efforts_found(kind, one) for one in seeds[:50]])
        planned, found, missed, rise = every.mean(axis=0)
        words = f"    {kind:10} planned {planned:4.1f}, found {found:4.1f}, missed {missed:.1f}"
        print(words + ("" if math.isnan(rise) else f", rise {rise:.0f} bpm"))


def _cell(outcomes: Sequence[Outcome], most: float | None) -> str:
    given = [one for one in outcomes if one is not None]
    none = 1 - len(given) / len(outcomes)
    if not given:
        return f"{'–':>14}({none:.2f})"
    ratio = float(np.median([width for _, width in given]))
    star = "*" if most is not None and ratio > most else " "
    times = "" if math.isnan(ratio) else f"×{ratio:.2f}{star}"
    missing = f"({none:.2f})" if none else ""
    return f"{np.mean([held for held, _ in given]):>7.3f}{times:>7}{missing:>6}"
