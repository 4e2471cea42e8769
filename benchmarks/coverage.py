"""How often the published intervals hold the truth, in simulated sessions of known truth.

``python -m benchmarks.coverage`` prints every table; ``--quick`` a short run of them.  Seeds
stand on the command line; its default seeds were not used while methods were chosen.
"""

from __future__ import annotations

import argparse
import math
import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np

from analysis.processes import pool_of_processes
from analysis.statistics.agreement import Tolerance
from analysis.statistics.batch import BATCHES
from analysis.statistics.delay import EARLIEST_S, LATEST_S, LEAST_RANGE_BPM, delay_of
from analysis.statistics.dependence import dependence_of, first_order
from analysis.statistics.effective import lagged_correlation
from analysis.statistics.efforts import Kind, find_efforts, responses
from analysis.statistics.estimate import t_quantile
from analysis.statistics.replicates import Group, limits_varying
from analysis.statistics.shift import jackknife_half, lowest_place
from analysis.statistics.summary import agreement_of
from benchmarks import coverage_second
from benchmarks.known_truth import NO_VALUE, Errors, Failures, Intervals, ar1

TOLERANCE = Tolerance(5, 10)
SCENARIOS = (
    Errors(30, 0.90, 1, 4),
    Errors(30, 0.90, 2, 8),
    Errors(30, 0.95, 2, 8),
    Errors(30, 0.95, 0, 6, gaps=True),
    Errors(30, 0.98, 1, 8),
    Errors(60, 0.98, 3, 6),
    Errors(30, 0.97, 1, 3, white=2),
    Errors(30, 0.95, 1, 5, smooth_s=15),
    Errors(30, 0.95, 1, 3, tail=1.7),
)
FAILURES = (Failures(1), Failures(2), Failures(4))
DRIFTS = (Errors(30, 0.99, 1, 6), Errors(30, 0.995, 1, 6), Errors(30, 0.999, 1, 6))
STATISTICS = (
    "bias", "sd", "loa_low", "loa_high", "mae", "mape", "rmse", "within", "pearson_r",
    "concordance",
)  # fmt: skip
COLUMNS = (*STATISTICS, "order 1", "naive bias")
GOALS = dict.fromkeys(("bias", "loa_low", "loa_high", "mae", "within"), 0.93)
GOALS |= {"pearson_r": 0.93, "concordance": 0.92}


def _random(scenario: Errors | Failures | Intervals, seed: int) -> np.random.Generator:
    """Each row of a table has sessions of its own."""
    return np.random.default_rng([seed, zlib.crc32(repr(scenario).encode())])


def agreement_run(scenario: Errors, seed: int) -> dict[str, bool | None]:
    """Whether each interval of one simulated session holds the truth; ``None``: none given."""
    truth = scenario.truth(TOLERANCE.bpm, TOLERANCE.percent)
    ref, test = scenario.draw(_random(scenario, seed))
    result = agreement_of(ref, test, TOLERANCE)
    held: dict[str, bool | None] = {}
    # Of r and concordance, the truth over this course of heart rate.
    spread = float(np.var(ref[(ref != NO_VALUE) & (test != NO_VALUE)] / 1000))
    truth["pearson_r"] = math.sqrt(spread / (spread + truth["sd"] ** 2))
    square = truth["sd"] ** 2 + truth["bias"] ** 2
    truth["concordance"] = 2 * spread / (2 * spread + square)
    for name in STATISTICS:
        interval = getattr(result, name).interval
        held[name] = interval and interval[0] <= truth[name] <= interval[1]
    off = abs(result.bias.value - scenario.bias)
    held["naive bias"] = off <= 1.96 * result.sd.value / math.sqrt(result.pairs)
    held["order 1"] = off <= _half_by_order_one(ref, test, result.sd.value)
    return held


def _half_by_order_one(ref: np.ndarray, test: np.ndarray, sd: float) -> float:
    """Half the interval of the bias if only the correlation of adjacent seconds were used."""
    present = (ref != NO_VALUE) & (test != NO_VALUE)
    raw = float(lagged_correlation((test - ref) / 1000, present, 1)[1])
    phi = min(raw + (1 + 4 * raw) / len(ref), 0.9999)
    count = max(first_order(phi, len(ref)).count_for_mean(present), 1.5)
    return t_quantile(count - 1) * sd / math.sqrt(count)


def failures_run(scenario: Failures, seed: int) -> tuple[int, dict[str, bool | None]]:
    """How often the sensor failed, and whether each interval holds the truth."""
    ref, test, count = scenario.draw(_random(scenario, seed))
    result = agreement_of(ref, test, TOLERANCE)
    held: dict[str, bool | None] = {}
    for name, truth in scenario.truth.items():
        interval = getattr(result, name).interval
        held[name] = interval and interval[0] <= truth <= interval[1]
    return count, held


def delay_run(scenario: Intervals, seed: int) -> tuple[float, bool] | None:
    """Error of the delay in s and whether its interval holds the truth; ``None``: refused."""
    ref, test, true, _ = scenario.draw(_random(scenario, seed))
    delay, _ = delay_of(ref, test)
    if delay.value is None or delay.interval is None:
        return None
    return delay.value - true, delay.interval[0] <= true <= delay.interval[1]


def least_variance_run(scenario: Intervals, seed: int) -> tuple[float, bool] | None:
    """The same by the shift of least variance, which was used before; for comparison."""
    ref, test, true, _ = scenario.draw(_random(scenario, seed))
    shifts = np.arange(EARLIEST_S, LATEST_S + 1)
    core = np.arange(LATEST_S, len(ref) + EARLIEST_S)
    difference = (test[core] - ref[core - shifts[:, None]]) / 1000
    low, high = np.percentile(ref[core] / 1000, [5, 95])
    member = np.arange(len(core)) * BATCHES // len(core)
    places = []
    for left_out in range(-1, BATCHES):
        place = lowest_place(difference[:, member != left_out].var(axis=1))
        if place is None or high - low < LEAST_RANGE_BPM:
            return None
        places.append(place + EARLIEST_S)
    half = jackknife_half(tuple(places[1:])) or math.inf
    return places[0] - true, abs(places[0] - true) <= half


def effort_run(scenario: Intervals, seed: int) -> tuple[int, int, Counter[tuple[str, str]]]:
    """Planned efforts, efforts found without a plan, and (planned, found) answers."""
    ref, test, _, planned = scenario.draw(_random(scenario, seed))
    efforts = find_efforts(ref)
    answers = responses(efforts, ref, test)
    found = [
        (effort, response.answer.value)
        for effort, response in zip(efforts, answers, strict=True)
        if effort.kind is Kind.EFFORT
    ]
    confusion: Counter[tuple[str, str]] = Counter()
    for plan in planned:
        match = [pair for pair in found if plan.onset_s < pair[0].peak_s <= plan.off_s + 15]
        confusion[plan.answer, match[0][1] if len(match) == 1 else "not found"] += 1
        found = [pair for pair in found if pair not in match[:1]]
    return len(planned), len(found), confusion


def sessions_run(count: int, seed: int) -> tuple[bool, bool]:
    """Limits over several sessions: whether ours, and pooling all seconds, hold the upper limit.

    Sessions of 15 min, error AR(1) φ .95 with SD 4, session means with SD 1.5.
    """
    source = np.random.default_rng([seed, count])
    present = np.ones(900, dtype=bool)
    groups, pooled = [], []
    for _ in range(count):
        difference = source.normal(0, 1.5) + ar1(source, 900, 0.95, 4.0)
        dependence = dependence_of(difference, present) or first_order(0.0, 900)
        groups.append(
            Group(
                float(difference.mean()),
                float(difference.var(ddof=1)),
                dependence.count_for_mean(present),
                dependence.count_for_variance(present) - 1,
            )
        )
        pooled.append(difference)
    truth = 1.959964 * math.hypot(4.0, 1.5)
    low, high = limits_varying(groups).high.interval or (math.nan, math.nan)
    every = np.concatenate(pooled)
    upper = every.mean() + 1.96 * every.std(ddof=1)
    half = 1.96 * math.sqrt(3 / len(every)) * every.std(ddof=1)
    return low <= truth <= high, abs(upper - truth) <= half


def main() -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=70_000, help="seed of the first session")
    parser.add_argument("--runs", type=int, default=400, help="simulated sessions per row")
    parser.add_argument("--quick", action="store_true", help="100 sessions per row")
    parser.add_argument(
        "--part", choices=PARTS, action="append", help="of the tables, in their order (all)"
    )
    parser.add_argument("--workers", type=int, default=2, help="processes")
    arguments = parser.parse_args()
    runs = 100 if arguments.quick else arguments.runs
    seeds = range(arguments.seed, arguments.seed + runs)
    print(f"{runs} sessions per row, seeds from {arguments.seed}; a share near .95 is known to "
          f"± {1.96 * math.sqrt(0.95 * 0.05 / runs):.3f}")  # fmt: skip
    with pool_of_processes(arguments.workers) as pool:

        def each(run: Callable[[int], Any]) -> Iterable[Any]:
            return pool.map(run, seeds, chunksize=max(1, runs // 20))

        for part in PARTS:
            if part not in (arguments.part or PARTS):
                continue
            if part in _FIRST:
                _FIRST[part](each)
            elif part == "second":
                coverage_second.print_rows(pool, runs, arguments.seed)
            else:
                coverage_second.print_rest(pool, seeds)
    return 0


def _print_agreement(each: Callable[[Callable[[int], Any]], Iterable[Any]]) -> None:
    print("\nCoverage of the 95 % intervals of one session (* below its goal at 30 min)")
    print(f"{'':52}" + "".join(f"{name:>12}" for name in COLUMNS))
    goals = {name: f"≥ {goal:.2f}" for name, goal in GOALS.items()}
    print(f"{'goal at 30 min':52}" + "".join(f"{goals.get(n, ''):>11} " for n in COLUMNS).rstrip())
    for scenario in SCENARIOS:
        counts = {name: Counter[bool | None]() for name in COLUMNS}
        for held in each(partial(agreement_run, scenario)):
            for name, value in held.items():
                counts[name][value] += 1
        cells = []
        for name, count in counts.items():
            given = count[True] + count[False]
            share = count[True] / given if given else math.nan
            star = "*" if round(share, 3) < GOALS.get(name, 0) else " "
            none = f"({count[None]})" if count[None] else ""
            cells.append(f"{none}{share:.3f}{star}".rjust(12))
        print((f"{scenario.name:52}" + "".join(cells)).rstrip())
    print("In brackets: sessions for which no interval was given.  Of the bias, for comparison:")
    print("naive: SD/√n of all pairs; order 1: an AR(1) of adjacent seconds whatever the data ask.")


def _print_failures(each: Callable[[Callable[[int], Any]], Iterable[Any]]) -> None:
    columns = Failures.STATISTICS
    print("\nRare long failures, and drifts as slow as the session (no goals are set here)")
    print(f"{'':52}{'sessions':>10}{'none given':>12}" + "".join(f"{n:>10}" for n in columns))
    for scenario in FAILURES:
        results = list(each(partial(failures_run, scenario)))
        _print_shares(f"{scenario.name}: it failed", [h for n, h in results if n], columns)
        _print_shares("    it did not fail", [h for n, h in results if not n], columns)
    for drift in DRIFTS:
        _print_shares(drift.name, list(each(partial(agreement_run, drift))), columns)
    print("Of the sessions in which an interval was given; none given: share without one of bias.")


def _print_shares(
    name: str, results: Sequence[Mapping[str, bool | None]], columns: Sequence[str]
) -> None:
    if not results:
        return
    cells = []
    for column in columns:
        given = [held[column] for held in results if held[column] is not None]
        cells.append(f"{np.mean(given):>10.3f}" if given else f"{'–':>10}")
    none = np.mean([held["bias"] is None for held in results])
    print(f"{name:52}{len(results):>10}{none:>12.3f}" + "".join(cells))


def _print_delay(each: Callable[[Callable[[int], Any]], Iterable[Any]]) -> None:
    print("\nDelay of one sensor (true delays 1–6 s)")
    print(f"{'':56}{'mean error':>12}{'SD s':>8}{'within 0.5 s':>14}{'coverage':>10}{'refused':>9}")
    for name, scenario in (
        ("45 min intervals, 2 bpm white noise", Intervals(45, 2.0)),
        ("15 min intervals, 2 bpm white noise", Intervals(15, 2.0)),
        ("45 min intervals, 2 bpm, φ .9", Intervals(45, 2.0, 0.9)),
        ("45 min intervals, 5 bpm white noise", Intervals(45, 5.0)),
        ("45 min intervals, failing efforts", Intervals(45, 2.0, failing=True)),
        ("45 min steady, 2 bpm white noise", Intervals(45, 2.0, steady=True)),
    ):
        for way, run in (("clipped", delay_run), ("least variance", least_variance_run)):
            results = list(each(partial(run, scenario)))
            given = [result for result in results if result is not None]
            row = f"{name + ', ' + way:56}"
            refused = f"{1 - len(given) / len(results):>9.3f}"
            if not given:
                print(f"{row}{'–':>12}{'–':>8}{'–':>14}{'–':>10}{refused}")
                continue
            errors = np.array([error for error, _ in given])
            print(
                f"{row}{errors.mean():>+12.3f}{errors.std():>8.3f}"
                f"{np.mean(np.abs(errors) <= 0.5):>14.3f}"
                f"{np.mean([held for _, held in given]):>10.3f}{refused}"
            )


def _print_efforts(each: Callable[[Callable[[int], Any]], Iterable[Any]]) -> None:
    print("\nEfforts (45 min of intervals; late 15–22 s, blunted to .42–.62, or missed)")
    for name, scenario in (
        ("2 bpm white noise", Intervals(45, 2.0, failing=True)),
        ("2 bpm, φ .9", Intervals(45, 2.0, 0.9, failing=True)),
        ("steady session", Intervals(45, 2.0, steady=True)),
    ):
        planned = extra = 0
        confusion: Counter[tuple[str, str]] = Counter()
        for count, unplanned, answers in each(partial(effort_run, scenario)):
            planned, extra = planned + count, extra + unplanned
            confusion += answers
        right = sum(n for (plan, found), n in confusion.items() if plan == found)
        lost = sum(n for (_, found), n in confusion.items() if found == "not found")
        share = f"found and classed right {right / planned:.3f}, " if planned else ""
        print(f"{name}: {planned} efforts, {share}{lost} not found, {extra} found that were none")
        for kind in ("followed", "late", "blunted", "missed"):
            row = {found: n for (plan, found), n in confusion.items() if plan == kind}
            total = sum(row.values())
            if total:
                cells = ", ".join(f"{found} {n / total:.3f}" for found, n in sorted(row.items()))
                print(f"    {kind:10} → {cells}")


def _print_sessions(each: Callable[[Callable[[int], Any]], Iterable[Any]]) -> None:
    print("\nUpper limit of agreement over several sessions of 15 min (φ .95)")
    for count in (3, 5, 9):
        results = list(each(partial(sessions_run, count)))
        ours, pooled = np.mean(results, axis=0)
        print(f"    {count} sessions: coverage {ours:.3f}; with all seconds pooled {pooled:.3f}")


_FIRST: dict[str, Callable[[Callable[[Callable[[int], Any]], Iterable[Any]]], None]] = {
    "agreement": _print_agreement,
    "failures": _print_failures,
    "delay": _print_delay,
    "efforts": _print_efforts,
    "sessions": _print_sessions,
}
PARTS = (*_FIRST, "second", "rest")


if __name__ == "__main__":
    raise SystemExit(main())
