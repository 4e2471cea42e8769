"""Every threshold of the warning rules moved by half: which of them no test notices.

``python -m benchmarks.moved_thresholds`` makes each one half as large again, and takes a third away
from each, one at a time; then six at once, drawn with a seed.  Those tests of the board are put to
it that run a statement which reads the threshold (at most ``--longest`` s each).  It fails where a
threshold moves unnoticed without a reason in ``benchmarks/survivors.toml``.  Runs are kept as those
of :mod:`benchmarks.mutants` are; names or parts of them choose thresholds.
"""

from __future__ import annotations

import argparse
import ast
import random
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, Final

import numpy  # noqa: F401 - here, so that no fork has to
import pytest

from benchmarks.mutants import LONGEST_S, TIME
from benchmarks.mutation import forks
from benchmarks.mutation.faults import ROOT
from benchmarks.mutation.ledger import Run, Runs, Section, compared, digest, sections
from benchmarks.mutation.marks import Given, Marks

FACTOR: Final = 1.5
AT_ONCE: Final = 6
DRAWS: Final = 20
THRESHOLDS: Final = "analysis/board/rules/thresholds"


@dataclass(frozen=True)
class Moved:
    """The threshold ``field`` of ``limits``, an object that the rules share, at another value."""

    limits: Any
    field: str
    value: Any
    name: str

    def apply(self) -> None:
        """Move it, in this process, for every rule that is made from now on."""
        object.__setattr__(self.limits, self.field, self.value)


def every_move() -> list[Moved]:
    """Each threshold of the rules up and down, in their order."""
    from analysis.board.rules import thresholds  # noqa: PLC0415 - after the marks are set

    made = {name: getattr(thresholds, name) for name in thresholds.__all__ if name == name.upper()}
    return [move for name, limits in made.items() for move in _moves(name, limits)]


def _moves(name: str, limits: Any) -> Iterator[Moved]:  # noqa: ANN401 - any dataclass
    for one in fields(limits):
        value, told = getattr(limits, one.name), f"{name}.{one.name}"
        if is_dataclass(value):
            yield from _moves(told, value)
            continue
        for factor, sign in ((FACTOR, "x"), (1 / FACTOR, "/")):
            other = _times(value, factor)
            if other is not None and other != value:
                yield Moved(limits, one.name, other, f"{told} {sign} {FACTOR:g}")


def _times(value: Any, factor: float) -> Any:  # noqa: ANN401 - as the field is
    """The value so many times; of pairs their second numbers; None for what is no number."""
    if isinstance(value, bool):
        return None
    if isinstance(value, int):
        moved = round(value * factor)
        return moved if moved != value else value + (1 if factor > 1 else -1)
    if isinstance(value, float):
        return value * factor
    if isinstance(value, tuple) and all(isinstance(one, tuple) for one in value):
        return tuple((first, second * factor) for first, second in value)
    return None


def readers() -> dict[str, list[tuple[str, int]]]:
    """By the name of a field: the places in the board that read it, as path and line."""
    places = defaultdict(list)
    for path in _modules():
        for node in ast.walk(ast.parse((ROOT / path).read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute):
                places[node.attr].append((path, node.lineno))
    return places


def _modules() -> list[str]:
    found = sorted((ROOT / "analysis" / "board").rglob("*.py"))
    return [path.relative_to(ROOT).as_posix() for path in found]


def run(section: Section, parts: list[str], longest_s: float, runs: Runs) -> dict[str, Run | None]:
    """Move the thresholds whose names hold one of the parts, or all; the runs, by name."""
    marks = Marks([path for path in _modules() if not path.startswith(THRESHOLDS)])
    Given(marks.trees)
    module, tests = digest(_modules()), section.digest
    done: dict[str, Run | None] = {}

    def work(items: list[pytest.Item]) -> None:
        moves = every_move()
        draws = random.Random(1)
        faults = [(move.name, [move]) for move in moves]
        for k in range(DRAWS):
            several = draws.sample(moves, AT_ONCE)
            faults.append((f"six at once, {k + 1}", several))
        chosen = [
            (name, several)
            for name, several in faults
            if not parts or any(part in name for part in parts)
        ]
        done.update({name: runs.known(THRESHOLDS, name, module, tests) for name, _ in chosen})
        waiting = [(name, several) for name, several in chosen if done[name] is None]
        if not waiting:
            return
        by_name = {item.nodeid: item for item in items if section.holds(item.nodeid)}
        known = section.measurements(_modules(), longest_s)
        measured = known.of([*by_name.values()], marks.clear, marks.seen)
        failing = [f"{one.nodeid}: {one.error}" for one in measured if one.error]
        if failing:
            raise pytest.UsageError("tests fail on the code as it is: " + "\n".join(failing))
        order = forks.Order({one.nodeid: one for one in measured})
        places = readers()
        for name, several in waiting:
            lines = [place for move in several for place in places[move.field]]
            numbers = {marks.of(*place) for place in lines if place[0] in marks.by_line}
            wanted = order.wanted({number for number in numbers if number is not None})

            def noticed(
                several: list[Moved] = several, wanted: list[forks.Measured] = wanted
            ) -> str:
                for move in several:
                    move.apply()
                return forks.first_failure([by_name[one.nodeid] for one in wanted])

            by = forks.in_fork(noticed, forks.limit_of(wanted)) if wanted else ""
            done[name] = made = Run(
                THRESHOLDS, name, TIME if by is None else str(by), module, tests
            )
            runs.note(made)
            order.noted(made.by)
            if not made.by:
                print(f"  not noticed: {name}", flush=True)

    status = forks.with_tests(section.files, work)
    if status != 0:
        raise SystemExit("the tests of the board cannot be run")
    return done


def main() -> int:
    """Move, run, compare with what is explained."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("names", nargs="*", help="parts of names, as FROZEN. (default: all)")
    parser.add_argument("--longest", type=float, default=LONGEST_S, help="s that a test may take")
    parser.add_argument("--tests", nargs="+", help="instead of those of benchmarks/survivors.toml")
    arguments = parser.parse_args()
    (section,) = [one for one in sections() if one.path == THRESHOLDS]
    if arguments.tests:
        section = replace(section, tests=tuple(arguments.tests))
    done = run(section, arguments.names, arguments.longest, Runs(afresh=False))
    line, wrong = compared(section, done)
    print(line)
    if not arguments.names:
        print("\n".join(wrong))
    return 1 if wrong and not arguments.names else 0


if __name__ == "__main__":
    sys.exit(main())
