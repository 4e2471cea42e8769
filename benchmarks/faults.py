"""How well the warnings find faults, and how seldom they cry wolf.

    python -m benchmarks.faults --seed 5000 --hours 100
    python -m benchmarks.faults --generator second --seed 5000 --hours 20 --alarms

Simulates sessions with labelled faults, and clean ones; feeds them to the board; prints per fault
and rule the share found, the time to find, false alarms per hour by intensity, and confusions.
Two generators draw the sessions; they share no code: ``first`` (``benchmarks/fault_sim``: wearers,
workouts, quirks of real payloads) and ``second`` (``benchmarks/field_sim``: hearts and sensors
fitted to what was measured in the field).  ``--rr FILE`` (RR in ms, one a line) adds the warnings
on a real heart's intervals.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any

from analysis.processes import pool_of_processes
from benchmarks.fault_sim import faults as first_faults
from benchmarks.fault_sim.recorded import recorded_session
from benchmarks.fault_sim.session import draw_session as draw_first
from benchmarks.field_sim import labels as second_labels
from benchmarks.field_sim.session import draw_session as draw_second
from benchmarks.scoring.report import as_markdown, figures, recorded_figures, recorded_markdown
from benchmarks.scoring.score import Judgements, Score, Session, score, warnings_of
from replay.errors import SidebeatError

FIGURES_BELOW = "<!-- figures: what follows is written by the command -->"


@dataclass(frozen=True, slots=True)
class Generator:
    """``clean_every``: so often a session is without faults.  ``defined_in``: its labels."""

    draw: Callable[[int, bool], Session]
    judgements: Judgements
    clean_every: int
    defined_in: str


GENERATORS = {
    "first": Generator(
        lambda seed, faulty: draw_first(seed, with_faults=faulty),
        first_faults.JUDGEMENTS,
        3,
        "benchmarks/fault_sim/faults.py",
    ),
    "second": Generator(
        lambda seed, faulty: draw_second(seed, with_faults=faulty),
        second_labels.JUDGEMENTS,
        2,
        "benchmarks/field_sim/labels.py",
    ),
}


def one_session(generator: str, number: int, seed: int) -> Score:
    """The score of one drawn session; every second or third one is clean."""
    made = GENERATORS[generator]
    session = made.draw(seed, number % made.clean_every != made.clean_every - 1)
    return score(session, warnings_of(session), made.judgements)


def main(arguments: list[str] | None = None) -> int:
    """Run the benchmark from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument(
        "--generator", choices=(*GENERATORS, "both"), default="both",
        help="of sessions (default %(default)s)",
    )  # fmt: skip
    parser.add_argument("--seed", type=int, default=1, help="seed of the first session")
    parser.add_argument("--sessions", type=int, default=150, help="how many (default %(default)s)")
    parser.add_argument("--hours", type=float, help="of each generator, in place of --sessions")
    parser.add_argument("--workers", type=int, default=2, help="processes (default %(default)s)")
    parser.add_argument("--rr", type=Path, action="append", default=[], help="RR in ms, one a line")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument(
        "--markdown", type=Path, help="also put the tables below the mark in this file"
    )
    parser.add_argument("--alarms", action="store_true", help="list false alarms and misses")
    options = parser.parse_args(arguments)
    if options.seed < 0 or options.sessions < 0 or options.workers < 1:
        parser.error("--seed and --sessions must not be negative, --workers at least 1")
    if options.hours is not None and not 0 < options.hours < 10_000:
        parser.error("--hours must lie between 0 and 10000")
    try:
        return _run_and_print(options)
    except SidebeatError as error:
        print(f"benchmarks.faults: {error}", file=sys.stderr)
        return 2


def _run_and_print(options: argparse.Namespace) -> int:
    names = list(GENERATORS) if options.generator == "both" else [options.generator]
    recorded = [_recorded(path) for path in options.rr]
    amount = f"--sessions {options.sessions}"
    if options.hours is not None:
        amount = f"--hours {options.hours:g}"
    asked = f"--generator {options.generator} --seed {options.seed} {amount}"
    asked += " --rr FILE" * len(options.rr)
    values: dict[str, Any] = {}
    parts = [f'Made by `make faults ARGS="{asked}"`.\n']
    for name in names:
        total = _run(name, options)
        values[name] = figures(total, GENERATORS[name].judgements)
        parts.append(f"## The {name} generator\n")
        parts.append(as_markdown(values[name], GENERATORS[name].defined_in))
        if options.alarms:
            _print_alarms(name, total)
    if recorded:
        values["recorded"] = recorded
        parts.append(recorded_markdown(recorded))
    text = "\n".join(parts)
    print(json.dumps(values, ensure_ascii=False, indent=2) if options.json else text)
    if options.markdown is not None:
        _put_below_the_mark(options.markdown, text)
    return 0


def _print_alarms(name: str, total: Score) -> None:
    for alarm in [*total.clean_alarms, *total.alarms]:
        print(name, alarm, file=sys.stderr)
    missed = Counter(one.kind for one in total.outcomes if one.found_s is None)
    print(name, "never found:", dict(missed), file=sys.stderr)


def _put_below_the_mark(path: Path, text: str) -> None:
    """What is written by hand above the mark is kept."""
    head = f"# Warnings: what they find\n\n{FIGURES_BELOW}"
    if path.exists():
        kept, mark, _ = path.read_text(encoding="utf-8").partition(FIGURES_BELOW)
        if not mark:
            raise SidebeatError(f"{path}: the line '{FIGURES_BELOW}' is missing; nothing written")
        head = kept + mark
    path.write_text(f"{head}\n\n{text}", encoding="utf-8")


def _recorded(path: Path) -> dict[str, Any]:
    session = recorded_session(path)
    alarms = score(session, warnings_of(session), first_faults.JUDGEMENTS).clean_alarms
    return recorded_figures(path.name, session.duration_s / 3600, alarms)


def _run(name: str, options: argparse.Namespace) -> Score:
    total = Score()
    with pool_of_processes(options.workers, _be_nice) as pool:
        for done, one in enumerate(_scores(pool, name, options), 1):
            total.add(one)
            if sys.stderr.isatty() or done % 50 == 0:
                hours = total.clean_h + total.faulty_h
                print(f"\r{name}: {done} sessions, {hours:.1f} h", end="", file=sys.stderr)
    print(file=sys.stderr)
    return total


def _scores(pool: ProcessPoolExecutor, name: str, options: argparse.Namespace) -> Iterator[Score]:
    """Scores in the order of the seeds, until there are enough sessions or hours.

    How many processes there are changes nothing: what was begun too many is not looked at.
    """
    waiting: list[Future[Score]] = []
    numbers = count() if options.hours is not None else iter(range(options.sessions))
    hours = 0.0
    while options.hours is None or hours < options.hours:
        while len(waiting) < 3 * options.workers and (number := next(numbers, None)) is not None:
            waiting.append(pool.submit(one_session, name, number, options.seed + number))
        if not waiting:
            return
        one = waiting.pop(0).result()
        hours += one.clean_h + one.faulty_h
        yield one
    for future in waiting:
        future.cancel()


def _be_nice() -> None:
    """Let the rest of the machine go first; a system without niceness does without."""
    if hasattr(os, "nice"):
        os.nice(10)


if __name__ == "__main__":
    raise SystemExit(main())
