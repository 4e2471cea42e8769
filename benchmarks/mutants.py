"""Small faults, put into the code one at a time: how many of them do its tests notice.

``python -m benchmarks.mutants`` (``make mutants``) draws seeded faults of each module that has a
section in ``benchmarks/survivors.toml`` (another comparison or operator, a constant moved, a
condition turned round, a returned value withheld), puts each to the module's own tests, and fails
on a survivor that the file does not explain, on one that it explains and a test notices, and on one
that is no fault of the module any more.  Paths or parts of them choose modules, and also those that
are not held to it so far (``held = false``).

Each fault stands in a fork of a process that has the tests collected; the tree is never touched.
Only tests that run the faulty statement are put to it, those that are cheap or have noticed others
first.  Runs are kept in ``build/``: what is stopped goes on where it was, and after a change of the
tests only survivors are run again (``--afresh`` forgets).
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
from dataclasses import dataclass
from multiprocessing.connection import Connection

import numpy  # noqa: F401 - here, so that no fork has to
import pytest
import scipy.optimize
import scipy.signal
import scipy.stats  # noqa: F401

from benchmarks.mutation import forks
from benchmarks.mutation.faults import Fault, drawn, faults_of
from benchmarks.mutation.ledger import Run, Runs, Section, compared, digest, sections
from benchmarks.mutation.marks import Given, Marks

COUNT = 20
LONGEST_S = 1.2
TIME = "too long"
IMPORT = "to be imported anew"
FORK = multiprocessing.get_context("fork")


@dataclass(frozen=True)
class Draw:
    """What of a module is run: these faults, by tests of at most so long.

    ``module``, ``tests``: digests of what they were when it began.
    """

    section: Section
    faults: list[Fault]
    longest_s: float
    module: str
    tests: str


def _run_inside(draw: Draw, runs: Runs, pipe: Connection) -> None:
    """Collect the module's tests, measure them, and put to them each fault inside of a function.

    ``pipe`` is told the status of pytest, the order of the tests, the faults that need the module
    imported anew, and the numbers of its statements.
    """
    path = draw.section.path
    marks = Marks([path])
    Given(marks.trees)
    anew: list[Fault] = []
    order = forks.Order({})

    def work(items: list[pytest.Item]) -> None:
        mine = [item for item in items if draw.section.holds(item.nodeid)]
        known = draw.section.measurements([path], draw.longest_s)
        measured = known.of(mine, marks.clear, marks.seen)
        failing = [f"{one.nodeid}: {one.error}" for one in measured if one.error]
        if failing:
            raise pytest.UsageError("tests fail on the code as it is: " + "\n".join(failing))
        order.measured = {one.nodeid: one for one in measured}
        order.first = draw.section.first(order.measured)
        by_name = {item.nodeid: item for item in mine}
        for fault in draw.faults:
            number = marks.of(path, fault.line) if fault.inside else None
            if number is None:
                anew.append(fault)
                continue
            tests = order.wanted({number})

            def noticed(fault: Fault = fault, tests: list[forks.Measured] = tests) -> str:
                if not forks.replace_code(path, fault.tree()):
                    return IMPORT
                return "by " + forks.first_failure([by_name[one.nodeid] for one in tests])

            by = forks.in_fork(noticed, forks.limit_of(tests)) if tests else "by "
            if by == IMPORT:
                anew.append(fault)
            else:
                order.noted(_noted(fault, by, draw, runs))

    status = forks.with_tests(draw.section.files, work)
    pipe.send((status, order, anew, marks.all_of(path)))


def _noted(fault: Fault, by: object, draw: Draw, runs: Runs) -> str:
    """Keep and tell the outcome of a fault's run; the test that noticed it, if one did."""
    name = TIME if by is None else str(by).removeprefix("by ")
    runs.note(Run(fault.path, fault.name, name, draw.module, draw.tests))
    if not name:
        print(f"  {fault.path}:{fault.line}: not noticed: {fault.name}", flush=True)
    return name


def _run_anew(fault: Fault, order: forks.Order, ran: set[int]) -> object:
    """Put a fault to the tests in a fork that imports the faulty module."""
    # What stands at the top of a module is also seen by tests that run none of its statements.
    tests = order.wanted(ran)
    tests += [one for one in order.wanted(None) if one not in tests]

    def noticed() -> str:
        Given({fault.path: fault.tree()})
        found = ["by collection"]

        def work(items: list[pytest.Item]) -> None:
            by_name = {item.nodeid: item for item in items}
            wanted = [by_name[one.nodeid] for one in tests if one.nodeid in by_name]
            found[0] = "by " + forks.first_failure(wanted)
            if len(wanted) < len(tests) and found[0] == "by ":
                found[0] = "by collection"

        files = list(dict.fromkeys(one.nodeid.partition("::")[0] for one in tests))
        forks.with_tests(files, work)
        return found[0]

    return forks.in_fork(noticed, forks.limit_of(tests) + 20)


def count(section: Section, arguments: argparse.Namespace, runs: Runs) -> list[str]:
    """Run what is not known yet of a module; what is wrong with its section, in lines."""
    chosen = drawn(section.path, arguments.count, arguments.seed)
    if arguments.holding:
        chosen = [one for one in faults_of(section.path) if arguments.holding in one.name]
    module, tests = digest([section.path]), section.digest

    def known(fault: Fault) -> Run | None:
        return runs.known(section.path, fault.name, module, tests)

    waiting = [fault for fault in chosen if known(fault) is None]
    if waiting:
        forks.flush()
        _run(Draw(section, waiting, arguments.longest, module, tests), runs)
    line, wrong = compared(section, {fault.name: known(fault) for fault in chosen})
    print(line, flush=True)
    return wrong


def _run(draw: Draw, runs: Runs) -> None:
    here, there = FORK.Pipe()
    child = FORK.Process(target=_run_inside, args=(draw, runs, there))
    child.start()
    there.close()
    try:
        status, order, anew, ran = here.recv()
    except EOFError:
        status = -1
    child.join()
    if status != 0:
        raise SystemExit(f"{draw.section.path}: its tests cannot be run")
    runs.read()
    for fault in anew:
        _noted(fault, _run_anew(fault, order, ran), draw, runs)


def main() -> int:
    """Draw, run, compare with what is explained."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("modules", nargs="*", help="parts of paths (default: what is held)")
    parser.add_argument("--count", type=int, default=COUNT, help="faults of each module")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--longest", type=float, default=LONGEST_S, help="s that a test may take")
    parser.add_argument("--holding", help="all faults whose names hold this, instead of a draw")
    parser.add_argument("--afresh", action="store_true", help="forget earlier runs")
    arguments = parser.parse_args()
    chosen = [
        section
        for section in sections()
        if section.path.endswith(".py")
        and (
            any(part in section.path for part in arguments.modules)
            if arguments.modules
            else section.is_held
        )
    ]
    if not chosen:
        parser.error("no section of benchmarks/survivors.toml has such a path")
    runs = Runs(afresh=arguments.afresh)
    wrong = [line for section in chosen for line in count(section, arguments, runs)]
    print("\n".join(wrong))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
