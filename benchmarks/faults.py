"""How well the warnings find faults, and how seldom they cry wolf.

    python -m benchmarks.faults --seed 5000 --sessions 300

Simulates sessions (drawn wearers, workouts, sensors, quirks of real payloads) with labelled
faults, and clean ones with hard intervals; feeds them to the board; prints per fault and rule the
share found, the time to find, false alarms per hour and confusions.  Every third session is
clean.  ``--rr FILE`` (RR in ms, one a line) adds the warnings on a real heart's intervals.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from benchmarks.fault_sim.recorded import recorded_session
from benchmarks.fault_sim.report import as_markdown, figures, recorded_figures
from benchmarks.fault_sim.score import Score, score, warnings_of
from benchmarks.fault_sim.session import draw_session
from replay.errors import SidebeatError

CLEAN_EVERY = 3
FIGURES_BELOW = "<!-- figures: what follows is written by the command -->"


def one_session(number: int, seed: int) -> Score:
    """The score of one drawn session; every third one is clean."""
    session = draw_session(seed, with_faults=number % CLEAN_EVERY != CLEAN_EVERY - 1)
    return score(session, warnings_of(session))


def main(arguments: list[str] | None = None) -> int:
    """Run the benchmark from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--seed", type=int, default=1, help="seed of the first session")
    parser.add_argument("--sessions", type=int, default=150, help="how many (default %(default)s)")
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
    try:
        return _run_and_print(options)
    except SidebeatError as error:
        print(f"benchmarks.faults: {error}", file=sys.stderr)
        return 2


def _run_and_print(options: argparse.Namespace) -> int:
    total, values = _run(options)
    asked = f"--seed {options.seed} --sessions {options.sessions}" + " --rr FILE" * len(options.rr)
    text = f'Made by `make faults ARGS="{asked}"`.\n\n{as_markdown(values)}'
    print(json.dumps(values, ensure_ascii=False, indent=2) if options.json else text)
    if options.markdown is not None:
        _put_below_the_mark(options.markdown, text)
    if options.alarms:
        for alarm in [*total.clean_alarms, *total.alarms]:
            print(alarm, file=sys.stderr)
        missed = Counter(one.kind for one in total.outcomes if one.found_s is None)
        print("never found:", dict(missed), file=sys.stderr)
    return 0


def _put_below_the_mark(path: Path, text: str) -> None:
    """What is written by hand above the mark is kept."""
    head = f"# Warnings: what they find\n\n{FIGURES_BELOW}"
    if path.exists():
        kept, mark, _ = path.read_text(encoding="utf-8").partition(FIGURES_BELOW)
        if not mark:
            raise SidebeatError(f"{path}: the line '{FIGURES_BELOW}' is missing; nothing written")
        head = kept + mark
    path.write_text(f"{head}\n\n{text}", encoding="utf-8")


def _run(options: argparse.Namespace) -> tuple[Score, dict[str, object]]:
    recorded = []
    for path in options.rr:
        session = recorded_session(path)
        alarms = score(session, warnings_of(session)).clean_alarms
        recorded.append(recorded_figures(path.name, session.duration_s / 3600, alarms))
    total = Score()
    numbers = range(options.sessions)
    seeds = [options.seed + number for number in numbers]
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(options.workers, mp_context=context) as pool:
        for done, one in enumerate(pool.map(one_session, numbers, seeds, chunksize=4), 1):
            total.add(one)
            if sys.stderr.isatty() or done % 50 == 0:
                print(f"\r{done} of {options.sessions} sessions", end="", file=sys.stderr)
    print(file=sys.stderr)
    values = figures(total)
    if recorded:
        values["recorded"] = recorded
    return total, values


if __name__ == "__main__":
    raise SystemExit(main())
