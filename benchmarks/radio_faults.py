"""What Bluetooth faults cost: notifications lost and doubled, and the time until it goes on.

    python -m benchmarks.radio_faults --runs 10 --seeds 30 --markdown docs/reliability.md

Runs sessions in real time over a played BlueZ (``benchmarks/radio_sim``), provokes each fault
``--runs`` times and storms of faults with ``--seeds`` seeds for each of ``--sizes`` sensors, and
measures how late stamps are beside the smallest possible client.  ``--tables`` runs some of the
tables only; their rows replace those of the same name in the file.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import logging
import math
import random
import sys
from collections.abc import Iterable
from concurrent.futures import Future, as_completed
from dataclasses import dataclass
from pathlib import Path

from analysis.processes import pool_of_processes
from benchmarks.radio_sim import tables
from benchmarks.radio_sim.bench import HERE, Place
from benchmarks.radio_sim.lateness import lateness
from benchmarks.radio_sim.provoked import NOT_MOCKED, SINGLE, Outcome, dropper, one_by_one, storm
from tests.standins.mocked_bluez import mocking_python

TABLES = ["faults", "storms", "second", "drops", "lateness"]
LINKS = 7
"""What an adapter can hold, where there are several."""
_SESSIONS = 3
"""Each run of all single faults is split into so many sessions, to be run side by side."""


@dataclass(frozen=True)
class Job:
    """One session: single ``faults``, or a storm or a sensor that drops beside ``count`` others."""

    kind: str
    seed: int
    count: int = 0
    faults: tuple[str, ...] = ()
    place: Place = HERE


def carry_out(job: Job) -> list[Outcome] | tuple[int, int, int]:
    """One session, in a process of its own."""
    logging.disable(logging.CRITICAL)
    if job.faults:
        return asyncio.run(one_by_one(job.seed, list(job.faults), job.place))
    if job.kind == "drops":
        return (job.count, *asyncio.run(dropper(job.seed, job.count)))
    return [asyncio.run(storm(job.seed, job.count, job.place))]


def jobs(
    tables: Iterable[str], runs: int, seeds: int, sizes: Iterable[int], only: str = ""
) -> list[Job]:
    """All sessions of these tables, the longest first; ``only``: of faults whose name holds it."""
    tables, sizes = set(tables), list(sizes)
    found: list[Job] = []
    if "drops" in tables:
        found += [Job("drops", 1, others) for others in (0, 3)]
    if "faults" in tables:
        found += _single(runs, [f for f in SINGLE if only in f], HERE)
    if "second" in tables:
        found += _single(runs, [f for f in SINGLE if f not in NOT_MOCKED], Place(mocked=True))
        found += [Job("storm", n, 8, place=Place(mocked=True)) for n in range(1, seeds + 1)]
    if "storms" in tables:
        places = [(size, HERE) for size in sizes]
        # As a computer holds them: adapters hold five to seven links each.
        places += [(size, Place(math.ceil(size / LINKS), LINKS)) for size in sizes]
        found += [
            Job("storm", seed, size, place=place)
            for size, place in sorted(places, key=lambda one: -one[0])
            for seed in range(1, seeds + 1)
        ]
    return found


def _single(runs: int, faults: Iterable[str], place: Place) -> list[Job]:
    found = []
    for run in range(1, runs + 1):
        shuffled = list(faults)
        random.Random(run).shuffle(shuffled)
        found += [
            Job("single", 100 * run + part, faults=tuple(shuffled[part::_SESSIONS]), place=place)
            for part in range(min(_SESSIONS, len(shuffled)))
        ]
    return found


def main(arguments: list[str] | None = None) -> int:
    """Run the benchmark from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument(
        "--tables", nargs="*", choices=TABLES, default=TABLES, help="all, or some of them"
    )
    parser.add_argument(
        "--only", default="", metavar="WORDS", help="of the table faults those that hold these"
    )
    parser.add_argument("--runs", type=int, default=10, help="of each fault (default %(default)s)")
    parser.add_argument("--seeds", type=int, default=30, help="of storms (default %(default)s)")
    parser.add_argument("--sizes", type=int, nargs="*", default=[8, 24, 50], help="sensors")
    parser.add_argument("--lateness", type=float, default=30.0, help="seconds of each condition")
    parser.add_argument("--workers", type=int, default=4, help="processes (default %(default)s)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument(
        "--markdown",
        type=Path,
        help="also put the rows into the tables below the mark in this file",
    )
    options = parser.parse_args(arguments)
    if "second" in options.tables and not mocking_python():
        if options.tables != TABLES:
            parser.error("the second service needs the package python3-dbusmock")
        print("left out for want of python3-dbusmock: the second service", file=sys.stderr)
        options.tables = [table for table in TABLES if table != "second"]
    late = lateness(options.lateness) if "lateness" in options.tables else {}
    outcomes: list[Outcome] = []
    drops: list[tuple[int, int, int]] = []
    problems: list[str] = []
    todo = jobs(options.tables, options.runs, options.seeds, options.sizes, options.only)
    with pool_of_processes(options.workers, tasks_each=1) as pool:
        futures: dict[Future[list[Outcome] | tuple[int, int, int]], Job] = {
            pool.submit(carry_out, job): job for job in todo
        }
        for done, future in enumerate(as_completed(futures), 1):
            print(f"{done} of {len(todo)} sessions", file=sys.stderr)
            try:
                result = future.result()
            except Exception as error:
                problems.append(f"{futures[future]}: {error}")
                continue
            if isinstance(result, tuple):
                drops.append(result)
            else:
                outcomes += result
    problems += [f"{o.fault}: {o.problem}" for o in outcomes if o.problem]
    sections = tables.sections(outcomes, sorted(drops), late)
    if options.json:
        print(json.dumps(tables.figures(outcomes), indent=2))
    else:
        print(tables.as_markdown(sections))
    for problem in problems:
        print(f"did not come back: {problem}", file=sys.stderr)
    if options.markdown is not None and not problems:
        tables.write(options.markdown, sections)
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main())
