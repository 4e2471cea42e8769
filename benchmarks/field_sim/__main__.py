"""Prints the generator's tables beside what was measured, or what one session draws.

python -m benchmarks.field_sim --tables
python -m benchmarks.field_sim --show 701 --course "easy run" --faults "relay, loose strap"
"""

from __future__ import annotations

import argparse
import sys

from benchmarks.field_sim.course import COURSES
from benchmarks.field_sim.labels import JUDGEMENTS
from benchmarks.field_sim.lasting import LASTING
from benchmarks.field_sim.passing import PASSING
from benchmarks.field_sim.session import draw_session
from benchmarks.field_sim.tables import text
from benchmarks.scoring.score import score, warnings_of


def main(arguments: list[str] | None = None) -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks.field_sim", description=__doc__.split("\n\n")[0]
    )
    parser.add_argument("--tables", action="store_true", help="print the tables (the default)")
    parser.add_argument("--seed", type=int, default=1, help="of the first wearer of the tables")
    parser.add_argument("--wearers", type=int, default=48, help="hearts in the first table")
    parser.add_argument("--sessions", type=int, default=12, help="per row of the other tables")
    parser.add_argument("--show", type=int, metavar="SEED", help="one session's labels, warnings")
    parser.add_argument("--clean", action="store_true", help="without faults")
    parser.add_argument("--faults", help="to put in, with commas between; drawn by default")
    parser.add_argument("--course", choices=tuple(COURSES), help="drawn by default")
    parser.add_argument(
        "--minutes", type=float, nargs=2, default=(25, 40), metavar=("LOW", "HIGH"),
        help="its length lies between (default 25 40)",
    )  # fmt: skip
    options = parser.parse_args(arguments)
    if options.seed < 0 or options.wearers < 1 or options.sessions < 2:
        parser.error("--seed must not be negative, --wearers at least 1, --sessions at least 2")
    if options.show is None:
        print(text(options.seed, options.wearers, options.sessions))
        return 0
    if options.show < 0 or not 5 <= options.minutes[0] <= options.minutes[1]:
        parser.error("--show must not be negative, --minutes two numbers from 5 upwards")
    kinds = None
    if options.faults is not None:
        kinds = tuple(kind.strip() for kind in options.faults.split(","))
        if unknown := set(kinds) - set(LASTING) - set(PASSING):
            print(f"no such fault: {', '.join(sorted(unknown))}", file=sys.stderr)
            return 2
    print(shown(options.show, clean=options.clean, kinds=kinds, course=options.course,
                minutes=tuple(options.minutes)))  # fmt: skip
    return 0


def shown(
    seed: int,
    *,
    clean: bool,
    kinds: tuple[str, ...] | None,
    course: str | None,
    minutes: tuple[float, float],
) -> str:
    """A session in words: its sensors, labels, warnings, and which of them nothing explains."""
    session = draw_session(seed, with_faults=not clean, kinds=kinds, course=course, minutes=minutes)
    warnings = warnings_of(session)
    scored = score(session, warnings, JUDGEMENTS)
    lines = [f"{session.course}, {session.duration_s:.0f} s"]
    lines += [
        f"sensor {number}: {sensor.label}, {sensor.role}, {sensor.placement}"
        for number, sensor in enumerate(session.plan.sensors, 1)
    ]
    lines += [
        f"{fault.began_s:7.1f} to {fault.end_s:7.1f}, known from {fault.start_s:7.1f}: "
        f"sensor {fault.sensor}, {fault.kind}"
        for fault in sorted(session.faults, key=lambda fault: fault.began_s)
    ]
    wrong = {(one.kind, one.sensor, one.start_s) for one in (*scored.alarms, *scored.clean_alarms)}
    lines += [
        f"{warning.start_s:5d} to {warning.end_s or '':>5}: sensor {warning.sensor}, "
        f"{warning.kind.value}: {warning.cause}"
        + (" — FALSE" if (warning.kind.value, warning.sensor, warning.start_s) in wrong else "")
        for warning in warnings
    ]
    lines += [f"{one.kind}: found after {one.found_s} s" for one in scored.outcomes]
    return "\n".join(lines)


if __name__ == "__main__":
    raise SystemExit(main())
