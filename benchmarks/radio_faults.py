"""What Bluetooth faults cost: notifications lost and doubled, and the time until it goes on.

    python -m benchmarks.radio_faults --runs 10 --seeds 30 --markdown docs/reliability.md

Runs sessions in real time over a played BlueZ (``benchmarks/radio_sim``), provokes each fault
``--runs`` times and storms of faults with ``--seeds`` seeds for each of ``--sizes`` sensors, and
measures how late stamps are beside the smallest possible client.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import logging
import multiprocessing
import random
import sys
from collections.abc import Iterable
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.radio_sim.lateness import lateness
from benchmarks.radio_sim.provoked import SINGLE, Outcome, dropper, one_by_one, storm

FIGURES_BELOW = "<!-- figures: what follows is written by the command -->"
_DROPPER = "drops"
_SESSIONS = 3
"""Each run of all single faults is split into so many sessions, to be run side by side."""


@dataclass(frozen=True)
class Job:
    """One session: single ``faults``, or a storm or a sensor that drops beside ``count`` others."""

    kind: str
    seed: int
    count: int = 0
    faults: tuple[str, ...] = ()


def carry_out(job: Job) -> list[Outcome] | tuple[int, int, int]:
    """One session, in a process of its own."""
    logging.disable(logging.CRITICAL)
    if job.faults:
        return asyncio.run(one_by_one(job.seed, list(job.faults)))
    if job.kind == _DROPPER:
        return (job.count, *asyncio.run(dropper(job.seed, job.count)))
    return [asyncio.run(storm(job.seed, job.count))]


def jobs(runs: int, seeds: int, sizes: Iterable[int]) -> list[Job]:
    """All sessions, the longest first."""
    found = [Job("storm", seed, size) for size in sizes for seed in range(1, seeds + 1)]
    for run in range(1, runs + 1):
        faults = list(SINGLE)
        random.Random(run).shuffle(faults)
        found += [
            Job("single", 100 * run + part, faults=tuple(faults[part::_SESSIONS]))
            for part in range(_SESSIONS)
        ]
    drops = [Job(_DROPPER, 1, others) for others in (0, 3)] if runs else []
    return drops + found


def main(arguments: list[str] | None = None) -> int:
    """Run the benchmark from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--runs", type=int, default=10, help="of each fault (default %(default)s)")
    parser.add_argument("--seeds", type=int, default=30, help="of storms (default %(default)s)")
    parser.add_argument("--sizes", type=int, nargs="*", default=[8, 24, 50], help="sensors")
    parser.add_argument("--lateness", type=float, default=30.0, help="seconds of each condition")
    parser.add_argument("--workers", type=int, default=4, help="processes (default %(default)s)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument(
        "--markdown", type=Path, help="also put the tables below the mark in this file"
    )
    options = parser.parse_args(arguments)
    late = lateness(options.lateness) if options.lateness > 0 else {}
    outcomes: list[Outcome] = []
    drops: list[tuple[int, int, int]] = []
    problems: list[str] = []
    todo = jobs(options.runs, options.seeds, options.sizes)
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(options.workers, mp_context=context, max_tasks_per_child=1) as pool:
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
    if options.json:
        print(json.dumps(figures(outcomes), indent=2))
    else:
        print(as_markdown(outcomes, sorted(drops), late, problems))
    if options.markdown is not None:
        _write(options.markdown, as_markdown(outcomes, sorted(drops), late, problems))
    return 1 if problems else 0


def figures(outcomes: list[Outcome]) -> list[dict[str, object]]:
    """One row for each fault: runs, notifications and recovery."""
    rows: list[dict[str, object]] = []
    by_fault: dict[str, list[Outcome]] = {}
    order = {fault: place for place, fault in enumerate(SINGLE)}
    for outcome in sorted(outcomes, key=lambda o: (order.get(o.fault, 99), len(o.fault), o.fault)):
        by_fault.setdefault(outcome.fault, []).append(outcome)
    for fault, runs in by_fault.items():
        back = [s for run in runs for s in run.recovery_s]
        rows.append(
            {
                "fault": fault,
                "runs": len(runs),
                "sent": sum(run.sent for run in runs),
                "lost": sum(run.lost for run in runs),
                "lost_at_once": sum(run.lost_at_once for run in runs),
                "doubled": sum(run.doubled for run in runs),
                "recovery_median_s": round(float(np.median(back)), 1) if back else None,
                "recovery_worst_s": round(max(back), 1) if back else None,
            }
        )
    return rows


def as_markdown(
    outcomes: list[Outcome],
    drops: list[tuple[int, int, int]],
    late: dict[str, dict[str, np.ndarray]],
    problems: list[str],
) -> str:
    """The tables of docs/reliability.md."""
    lines = [
        "## Faults",
        "",
        "| fault | runs | sent over standing links | lost | lost within 2 s of being back "
        "| doubled | recovery, median | recovery, worst |",
        "|---|---:|---:|---:|---:|---:|---:|---:|",
    ]
    for row in figures(outcomes):
        median, worst = row["recovery_median_s"], row["recovery_worst_s"]
        lines.append(
            f"| {row['fault']} | {row['runs']} | {row['sent']} | {row['lost']} "
            f"| {row['lost_at_once']} | {row['doubled']} | {median} s | {worst} s |"
        )
    if drops:
        lines += ["", "## A sensor that breaks its link every 8 s", ""]
    for others, arrived, seconds in drops:
        beside = f"beside {others} that are away" if others else "alone"
        lines.append(f"- {beside}: {arrived} notifications in {seconds} s, of one a second")
    if late:
        lines += [
            "",
            "## Lateness of stamps",
            "",
            "| condition | stamped by | notifications | median | p99 | worst |",
            "|---|---|---:|---:|---:|---:|",
        ]
    for condition, by_whom in late.items():
        for whom, ms in by_whom.items():
            lines.append(
                f"| {condition} | {whom} | {len(ms)} | {np.median(ms):.1f} ms "
                f"| {np.percentile(ms, 99):.1f} ms | {ms.max():.1f} ms |"
            )
    lines += ["", *(f"- did not come back: {problem}" for problem in problems)]
    return "\n".join(lines).rstrip() + "\n"


def _write(path: Path, text: str) -> None:
    head = f"# Reliability over Bluetooth\n\n{FIGURES_BELOW}"
    if path.exists():
        kept, mark, _ = path.read_text(encoding="utf-8").partition(FIGURES_BELOW)
        if not mark:
            raise SystemExit(f"{path}: the line '{FIGURES_BELOW}' is missing; nothing written")
        head = kept + mark
    path.write_text(f"{head}\n\n{text}", encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
