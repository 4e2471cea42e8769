"""What the claims of a study are worth, in simulated studies of known truth.

``python -m benchmarks.coverage_study`` prints every table; ``--quick`` a short run of them.  Its
default seeds were not used while methods were chosen.
"""

from __future__ import annotations

import argparse
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import scipy

from analysis.processes import pool_of_processes, usable_cores
from analysis.study.comparison import Kind
from analysis.study.row import SensorRow, SessionRow
from analysis.study.selection import select
from analysis.study.statistic import MAE
from analysis.study.study import compare, study_of
from analysis.study.thresholds import PEOPLE
from analysis.study.variant import variants_of
from benchmarks.study_truth import GOOD, Drawn, Seconds, Shape, session

SHAPES = (
    Shape(1, 2), Shape(1, 3), Shape(1, 5), Shape(1, 8), Shape(1, 12), Shape(2, 2), Shape(2, 3),
    Shape(2, 6), Shape(4, 3), Shape(6, 1), Shape(6, 2), Shape(8, 1), Shape(8, 3),
)  # fmt: skip
STATISTICS = (
    "bias_bpm", "loa_low", "loa_high", "mae_bpm", "within_tolerance_percent", "pearson_r",
)  # fmt: skip
SECONDS = Seconds()
EQUAL = Drawn()
FAILING = Drawn(fails=0.15)


def _random(row: object, seed: int, run: int) -> np.random.Generator:
    return np.random.default_rng([seed, run, zlib.crc32(repr(row).encode())])


def _held(rows: Sequence[SessionRow], truth: dict[str, float]) -> dict[str, bool | None]:
    """Whether each interval of the one sensor holds the truth; ``None``: none was given."""
    (activity,) = study_of(rows).activities
    every = activity.sensors[0].every
    found = {**every.means, "loa_low": every.loa_low, "loa_high": every.loa_high}
    intervals = {name: found[name].interval for name in truth}
    return {name: ends and ends[0] <= truth[name] <= ends[1] for name, ends in intervals.items()}


def coverage_run(shape: Shape, seed: int, run: int) -> dict[str, bool | None]:
    """First generator: one study of one sensor that does not fail."""
    random = _random(shape, seed, run)
    effects = EQUAL.wearer_effects(shape, random)
    sensors = EQUAL.rows(shape, effects, random)
    rows = [session(n, shape.owners[n], (one,)) for n, one in enumerate(sensors)]
    about_people = shape.wearers >= PEOPLE
    return _held(rows, EQUAL.truth(None if about_people else effects))


def seconds_run(count: int, seed: int, run: int) -> dict[str, bool | None]:
    """Second generator: ``count`` sessions, and what pooling all seconds would give."""
    random = _random(("seconds", count), seed, run)
    errors = SECONDS.errors(count, random)
    rows = [session(n, 0, (one,)) for n, one in enumerate(SECONDS.rows(errors))]
    held = _held(rows, SECONDS.truth)
    half = 1.96 * errors.std(ddof=1) / np.sqrt(errors.size)
    held["naive bias"] = bool(abs(errors.mean() - SECONDS.level) <= half)
    size = np.abs(errors)
    half = 1.96 * size.std(ddof=1) / np.sqrt(size.size)
    held["naive MAE"] = bool(abs(size.mean() - SECONDS.truth["mae_bpm"]) <= half)
    return held


def failures_run(row: tuple[float, int], seed: int, run: int) -> dict[str, bool | None]:
    """Clopper–Pearson of the failures, and what a t interval of the mean with them would give."""
    rate, count = row
    random = _random(row, seed, run)
    sensor = Drawn(fails=rate, people=0.0)
    shape = Shape(1, count)
    drawn = sensor.rows(shape, np.zeros(1), random)
    rows = [session(n, 0, (one,)) for n, one in enumerate(drawn)]
    result = study_of(rows).activities[0].sensors[0]
    low, high = result.failures.interval or (0.0, 1.0)
    truth = (1 - rate) * sensor.mae + rate * sensor.failed
    maes = np.array([one.mae_bpm for one in drawn])
    by_t = scipy.stats.ttest_1samp(maes, truth).pvalue >= 0.05 if count > 1 else None
    steady = result.steady.means["mae_bpm"].interval
    return {
        "rate of failures": low <= rate <= high,
        "MAE without them": steady and steady[0] <= sensor.mae <= steady[1],
        "t on all, not given": bool(by_t),
        "no failure was seen": result.failures.count == 0,
    }


def _sensors(
    labels: Sequence[tuple[str, Drawn]], shape: Shape, random: np.random.Generator
) -> list[SessionRow]:
    """Sensors worn together; how hard a session is, is the same for all of them."""
    hard = np.exp(random.normal(0, 0.3, shape.sessions))
    of_sensor: list[list[SensorRow]] = []
    # Of these wearers sensors are equal if each of them suits all alike; of people, on average.
    shared = labels[0][1].wearer_effects(shape, random)
    for label, sensor in labels:
        own = shape.wearers >= PEOPLE
        effects = sensor.wearer_effects(shape, random) if own else shared
        of_sensor.append(sensor.rows(shape, effects, random, label))
    rows = []
    for n in range(shape.sessions):
        own = [one[n] for one in of_sensor]
        harder = tuple(_harder(one, float(hard[n])) for one in own)
        rows.append(session(n, int(shape.owners[n]), harder))
    return rows


def _harder(one: SensorRow, factor: float) -> SensorRow:
    return replace(one, mae_bpm=(one.mae_bpm or 0.0) * factor)


def claims_run(
    row: tuple[str, tuple[tuple[str, Drawn], ...], Shape], seed: int, run: int
) -> dict[str, bool | None]:
    """Whether any claim is made of these sensors, and by whom it would be made otherwise."""
    _, labels, shape = row
    random = _random(row, seed, run)
    rows = _sensors(labels, shape, random)

    chosen = select(rows)
    (counted,) = chosen.counted.values()
    found = compare(variants_of("made", counted), MAE)
    names = [label for label, _ in labels]
    maes = np.array([[one.mae_bpm for one in row.sensors] for row in rows], dtype=float)
    unadjusted = any(
        scipy.stats.ttest_rel(maes[:, a], maes[:, b]).pvalue < 0.05
        for a in range(len(names)) for b in range(a)
    )  # fmt: skip
    # As many seconds as if each were independent, with the spread of errors of their MAE.
    error = 0.75 * np.sqrt((maes**2).mean(axis=0) / (len(maes) * GOOD.pairs))
    means = maes.mean(axis=0)
    naive = any(
        abs(means[a] - means[b]) > 1.96 * np.hypot(error[a], error[b])
        for a in range(len(names)) for b in range(a)
    )  # fmt: skip
    return {
        "claimed": any(one.differs for one in found),
        "t, unadjusted": bool(unadjusted),
        "all seconds pooled": naive,
    }


def firmware_run(row: tuple[Shape, float], seed: int, run: int) -> dict[str, bool | None]:
    """Two firmwares on different sessions, the second with its MAE times a factor."""
    shape, factor = row
    random = _random(row, seed, run)
    rows = []
    effects = EQUAL.wearer_effects(shape, random)
    for half, firmware in enumerate(("1.0", "2.0")):
        drawn = EQUAL.rows(shape, effects, random)
        for n, one in enumerate(drawn):
            mae = (one.mae_bpm or 0.0) * (factor if half else 1.0)
            own = replace(one, firmware=firmware, mae_bpm=mae)
            rows.append(session(half * shape.sessions + n, int(shape.owners[n]), (own,)))
    (counted,) = select(rows).counted.values()
    return {"claimed": any(one.differs for one in compare(variants_of("made", counted), MAE))}


def control_run(shape: Shape, seed: int, run: int) -> dict[str, float | None]:
    """Two equal firmwares on different sessions beside a control: half widths, and coverage of 0.

    How hard a session is, is the same for the sensor and the control.
    """
    random = _random(("control", shape), seed, run)
    effects = EQUAL.wearer_effects(shape, random)
    hard = np.exp(random.normal(0, 0.4, 2 * shape.sessions))
    rows = []
    for half, firmware in enumerate(("1.0", "2.0")):
        drawn = EQUAL.rows(shape, effects, random)
        control = EQUAL.rows(shape, effects, random, "C")
        for n, pair in enumerate(zip(drawn, control, strict=True)):
            number = half * shape.sessions + n
            own, beside = (_harder(one, float(hard[number])) for one in pair)
            rows.append(
                session(number, int(shape.owners[n]), (replace(own, firmware=firmware), beside))
            )
    (activity,) = study_of(rows, control="C").activities
    found = next(one for one in activity.comparisons if one.kind is Kind.FIRMWARE)
    plain, relative = found.steady_difference.interval, found.relative and found.relative.interval
    if plain is None or relative is None:
        return {"half width, bpm": None, "relative, bpm": None, "holds": None}
    return {
        "half width, bpm": (plain[1] - plain[0]) / 2,
        "relative, bpm": (relative[1] - relative[0]) / 2,
        "holds": relative[0] <= 0 <= relative[1],
    }


def steady_against_failing(count: int, seed: int, run: int) -> dict[str, bool | None]:
    """A steady sensor against one of equal mean MAE that is better and fails in 15 %."""
    random = _random(("steady", count), seed, run)
    shape = Shape(1, count)
    failing = Drawn(mae=1.0, people=0.0, fails=0.15, failed=11.0)
    steady = Drawn(mae=2.5, people=0.0)
    none = np.zeros(1)
    first, second = (one.rows(shape, none, random, name) for one, name in
                     ((steady, "A"), (failing, "B")))  # fmt: skip
    rows = [session(n, 0, pair) for n, pair in enumerate(zip(first, second, strict=True))]

    (counted,) = select(rows).counted.values()
    (found,) = compare(variants_of("made", counted), MAE)
    maes = np.array([[a.mae_bpm, b.mae_bpm] for a, b in zip(first, second, strict=True)])
    failed = any(one.count for one in found.failures)
    return {
        "t on all: means differ": bool(scipy.stats.ttest_rel(maes[:, 0], maes[:, 1]).pvalue < 0.05),
        "interval with failures": failed and found.difference.interval is not None,
        "closer where neither lost": found.differs and found.closer == "B",
        "the other way round": found.differs and found.closer == "A",
    }


Held = Mapping[str, "float | None"]
Run = Callable[..., Held]


@dataclass(frozen=True)
class Goal:
    """What the shares of these columns are to be at least or at most, and from which row on."""

    columns: Sequence[str]
    least: float = 0.0
    most: float = 1.0
    without_rows: Sequence[str] = ()

    def missed(self, name: str, columns: Sequence[str], held: Sequence[Held]) -> Iterator[str]:
        """Cells of a row that lie beyond the goal by more than chance explains, in words: those of
        which the whole exact 95 % interval (Clopper–Pearson) does.
        """
        for column in columns:
            given = [one[column] for one in held if one[column] is not None]
            if column not in self.columns or name in self.without_rows or not given:
                continue
            found = scipy.stats.binomtest(int(sum(given)), len(given)).proportion_ci(0.95, "exact")
            if found.high < self.least or found.low > self.most:
                yield f"{name}, {column}"

    def words(self, missed: Sequence[str]) -> str:
        """What became of it."""
        which = f"at least {self.least:g}" if self.least else f"at most {self.most:g}"
        head = f"Goal: {which} ({', '.join(self.columns)})"
        if self.without_rows:
            head += f", without {', '.join(self.without_rows)}"
        told = f"missed by more than chance: {'; '.join(missed)}" if missed else (
            "nothing misses it by more than chance"
        )  # fmt: skip
        return f"{head}: {told}."


@dataclass(frozen=True)
class Table:
    """One table: what is run, for which rows, how often, and its goal."""

    title: str
    run: Run
    rows: Sequence[tuple[str, object]]
    runs: int
    goal: Goal | None = None

    def show(self, pool: ProcessPoolExecutor, seed: int) -> None:
        """Print the share of the runs in which each thing holds, and whether that is the goal."""
        print(f"\n{self.title}  ({self.runs:,} studies a row)")
        missed: list[str] = []
        for place, (name, row) in enumerate(self.rows):
            run = partial(self.run, row, seed)
            results = list(pool.map(run, range(self.runs), chunksize=max(self.runs // 40, 1)))
            columns = list(results[0])
            widths = [max(len(column), _LEAST) + 2 for column in columns]
            if not place:
                print(" " * _NAME + _line(columns, widths))
            cells = [_cell([one[column] for one in results]) for column in columns]
            print(f"{name:<{_NAME}}" + _line(cells, widths), flush=True)
            if self.goal is not None:
                missed += self.goal.missed(name, columns, results)
        if self.goal is not None:
            print(self.goal.words(missed), flush=True)


_NAME, _LEAST = 34, 13


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    return "".join(f"{cell:>{width}}" for cell, width in zip(cells, widths, strict=True))


def _cell(held: Sequence[float | None]) -> str:
    given = [one for one in held if one is not None]
    share = f"{np.mean(given):.3f}" if given else "–"
    missing = 1 - len(given) / len(held)
    return f"({missing:.3f}) {share}" if 0 < missing < 1 else share


def _equals(number: int, sensor: Drawn) -> tuple[tuple[str, Drawn], ...]:
    return tuple((chr(ord("A") + n), sensor) for n in range(number))


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=2_000, help="of coverage (default 2000)")
    parser.add_argument("--claims", type=int, default=5_000, help="of claims (default 5000)")
    parser.add_argument("--seed", type=int, default=90_000)
    parser.add_argument("--quick", action="store_true", help="40 and 100 studies a row")
    parser.add_argument("--jobs", type=int, default=None, help="processes (default: one a core)")
    parser.add_argument(
        "--only", default="", metavar="WORDS", help="only the tables with these words in the title"
    )
    options = parser.parse_args()
    runs, claims = (40, 100) if options.quick else (options.runs, options.claims)
    print(f"A share near .95 is known to ± {1.96 * (0.95 * 0.05 / runs) ** 0.5:.3f} with {runs:,}")
    print("studies a row.  In brackets: share of the studies for which no interval was given.")
    with pool_of_processes(options.jobs or usable_cores()) as pool:
        for one in (one for one in _tables(runs, claims) if options.only in one.title):
            one.show(pool, options.seed)


def _tables(runs: int, claims: int) -> list[Table]:
    rates = [(rate, count) for rate in (0.05, 0.15, 0.3) for count in (3, 5, 8, 12)]
    firmware = (Shape(1, 6), Shape(1, 12), Shape(2, 6), Shape(6, 1))
    stronger = [
        (by, shape) for by in (0.25, 0.5, 1.0) for shape in (Shape(1, 6), Shape(1, 12), Shape(8, 1))
    ]
    return [
        Table(
            "Coverage of 95 % intervals, first generator (six wearers and more: of people)",
            coverage_run, [(str(shape), shape) for shape in SHAPES], runs,
            Goal(STATISTICS, least=0.93, without_rows=("1 wearer × 2",)),
        ),
        Table(
            "The same, second generator (one wearer), beside all seconds pooled",
            seconds_run, [(f"{count} sessions", count) for count in (2, 3, 5, 8, 12)], runs,
            Goal(STATISTICS[:-1], least=0.93, without_rows=("2 sessions",)),
        ),
        Table(
            "A sensor that fails", failures_run,
            [(f"in {row[0]:.0%} of sessions, {row[1]} of them", row) for row in rates], runs,
            Goal(("rate of failures",), least=0.95),
        ),
        Table(
            "Any claim about equal sensors (type I error, family-wise)", claims_run,
            [(f"{number} {what}, {shape}", (what, _equals(number, sensor), shape))
             for number, what, sensor, shape in _TYPE_ONE], claims,
            Goal(("claimed",), most=0.055),
        ),
        Table(
            "Any claim about equal firmwares on different sessions", firmware_run,
            [(f"{shape} each", (shape, 1.0)) for shape in firmware], claims,
            Goal(("claimed",), most=0.055),
        ),
        Table(
            "Equal firmwares on different sessions beside a control worn in all of them",
            control_run, [(f"{shape} each", shape) for shape in firmware[:2]], runs,
        ),
        Table(
            "A steady sensor against one of equal mean that fails in 15 %",
            steady_against_failing,
            [(f"{count} sessions", count) for count in (6, 8, 12, 24, 48, 96)], runs,
        ),
        Table(
            "Power: one sensor's MAE is larger than the other's 2.5 bpm", claims_run,
            [(f"by {by:.0%}, {shape}", ("power", _two(by), shape)) for by, shape in stronger], runs,
        ),
    ]  # fmt: skip


def _two(by: float) -> tuple[tuple[str, Drawn], ...]:
    return (("A", EQUAL), ("B", Drawn(EQUAL.mae * (1 + by))))


_TYPE_ONE = (
    (2, "sensors", EQUAL, Shape(1, 6)), (2, "sensors", EQUAL, Shape(1, 12)),
    (3, "sensors", EQUAL, Shape(1, 8)), (5, "sensors", EQUAL, Shape(1, 8)),
    (5, "sensors", EQUAL, Shape(1, 12)), (3, "sensors", EQUAL, Shape(2, 4)),
    (3, "sensors", EQUAL, Shape(6, 2)), (5, "sensors", EQUAL, Shape(8, 1)),
    (2, "that fail", FAILING, Shape(1, 8)), (5, "that fail", FAILING, Shape(1, 12)),
    (5, "of heavy tails", Drawn(spread=0.8), Shape(1, 8)),
)  # fmt: skip

if __name__ == "__main__":
    main()
