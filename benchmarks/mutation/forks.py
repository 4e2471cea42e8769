"""Tests run many times over: collected once, and each run is a fork of the process that has them.

A fault is put into the fork alone, so that the tree and the next run never see it.  Needs POSIX.
"""

from __future__ import annotations

import ast
import gc
import os
import pickle
import resource
import select
import signal
import sys
import time
import traceback
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import accumulate
from pathlib import Path
from types import CodeType, FunctionType

import pytest
from _pytest.runner import runtestprotocol
from _pytest.warnings import catch_warnings_for_item

from benchmarks.mutation.faults import ROOT

BASE_S = 4.0
FACTOR = 4.0
"""A run may take so many times what it took without a fault, and a little; then it is stopped, and
the fault counts as noticed."""
ALL_S = 3.0
"""All tests that are put to one fault take no more, in s of CPU without it."""
WAITING_S = 120.0
"""So much longer, by the clock on the wall, may a run last that only waits."""
MOST_BYTES = 12 << 30
OPTIONS = ("-qq", "-p", "no:cacheprovider", "-p", "no:randomly")


@dataclass(frozen=True)
class Measured:
    """What a test took without a fault, in s of CPU, and the numbers of the statements it ran."""

    nodeid: str
    cpu_s: float
    ran: frozenset[int]
    error: str = ""


class Collected:
    """A plugin of pytest that hands the collected tests to ``work`` instead of running them."""

    def __init__(self, work: Callable[[list[pytest.Item]], None]) -> None:
        self._work = work

    def pytest_collection(self) -> None:
        """Let hypothesis report a failure without looking for a smaller one first."""
        from hypothesis import Phase, settings  # noqa: PLC0415 - not wanted where nothing is run

        phases = (Phase.explicit, Phase.generate)
        settings.register_profile(
            "faults", settings.default, phases=phases, report_multiple_bugs=False
        )
        settings.load_profile("faults")

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Take the place of the loop."""
        if session.testsfailed:
            raise session.Interrupted("the tests cannot be collected")
        self._work(session.items)
        return True


def with_tests(tests: list[str], work: Callable[[list[pytest.Item]], None]) -> int:
    """Collect tests in this process and do the work with them; the status of pytest."""
    os.chdir(ROOT)
    return int(pytest.main([*OPTIONS, *tests], plugins=[Collected(work)]))


def in_fork(work: Callable[[], object], limit_s: float | None = None) -> object:
    """What ``work`` returns in a fork of this process; None where it was stopped.

    ``limit_s``: of CPU, so that a busy machine stops nothing; what only waits is stopped too.
    Raises ``RuntimeError`` where the work itself fails.
    """
    reading, writing = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of threads that a fork leaves behind: those of numpy
        child = os.fork()
    if child == 0:
        os.close(reading)
        _alone(limit_s)
        try:
            done = True, work()
        except BaseException:
            done = False, traceback.format_exc()
        with os.fdopen(writing, "wb") as pipe:
            pickle.dump(done, pipe)
            pipe.flush()
            os._exit(0)
    os.close(writing)
    if limit_s is not None and not select.select([reading], [], [], limit_s + WAITING_S)[0]:
        os.kill(child, signal.SIGKILL)
    with os.fdopen(reading, "rb") as pipe:
        told = pipe.read()
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        return None
    is_whole, result = pickle.loads(told)  # noqa: S301 - from our own fork
    if not is_whole:
        raise RuntimeError(result)
    return result


def _alone(limit_s: float | None) -> None:
    """Bound what the fork may take, and silence it."""
    if limit_s is not None:
        # To the moment; and in whole seconds, for faults that set this aside and for processes that
        # a test begins.
        signal.signal(signal.SIGPROF, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_PROF, limit_s)
        seconds = int(limit_s) + 1
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
        with Path(os.devnull).open("w", encoding="utf-8") as nowhere:
            os.dup2(nowhere.fileno(), 1)
            os.dup2(nowhere.fileno(), 2)


def _run(item: pytest.Item, following: pytest.Item | None) -> list[pytest.TestReport]:
    """One test, with the warnings that it asks to be let pass."""
    with catch_warnings_for_item(item.config, item.ihook, when="runtest", item=item):
        return runtestprotocol(item, log=False, nextitem=following)


def first_failure(items: list[pytest.Item]) -> str:
    """Run tests until one fails: its name and its last line, or nothing."""
    for item, following in zip(items, [*items[1:], None], strict=True):
        for report in _run(item, following):
            if report.failed:
                return item.nodeid
    return ""


class Measurements:
    """What tests took, kept in a file for as long as nothing changes that they were measured by.

    ``basis``: a digest of what was marked, and of what a test's file (its argument) stands on.
    """

    def __init__(self, path: Path, basis: Callable[[str], str], longest_s: float) -> None:
        self._path = path
        self._basis = basis
        self._longest_s = longest_s
        self._known: dict[str, tuple[str, Measured | None]] = {}
        if path.exists():
            self._known = pickle.loads(path.read_bytes())  # noqa: S301 - our own file

    def of(
        self, items: list[pytest.Item], clear: Callable[[], None], seen: bytearray
    ) -> list[Measured]:
        """Each test run by itself, in a fork of its own; those that take longer are left out."""
        found = []
        for item in items:
            basis = f"{self._basis(item.nodeid.partition('::')[0])} {self._longest_s}"
            was, measured = self._known.get(item.nodeid, ("", None))
            if was != basis:
                measured = _measured(item, clear, seen, self._longest_s)
                self._known[item.nodeid] = basis, measured
            if measured is not None:
                found.append(measured)
        self._path.write_bytes(pickle.dumps(self._known))
        return found


def _measured(
    item: pytest.Item, clear: Callable[[], None], seen: bytearray, longest_s: float
) -> Measured | None:
    def run() -> Measured:
        clear()
        begun = time.process_time()
        failed = [report.longreprtext for report in _run(item, None) if report.failed]
        ran = frozenset(number for number, flag in enumerate(seen) if flag)
        return Measured(item.nodeid, time.process_time() - begun, ran, "\n".join(failed))

    found = in_fork(run, longest_s)
    return found if isinstance(found, Measured) and found.cpu_s <= longest_s else None


@dataclass
class Order:
    """Which tests are put to a fault: cheap ones before others, and those that noticed others;
    before all of them, those that are named in ``first``.
    """

    measured: dict[str, Measured]
    first: frozenset[str] = frozenset()
    noticed: dict[str, int] = field(default_factory=dict)

    def wanted(self, statements: set[int] | None) -> list[Measured]:
        """The tests that run one of the statements; None: those that run any; for some seconds."""
        found = [
            one for one in self.measured.values() if statements is None or one.ran & statements
        ]
        found.sort(
            key=lambda one: (
                one.nodeid not in self.first,
                one.cpu_s / (1 + self.noticed.get(one.nodeid, 0)),
            )
        )
        so_far = accumulate(one.cpu_s for one in found)
        return [one for one, cpu_s in zip(found, so_far, strict=True) if cpu_s <= ALL_S]

    def noted(self, nodeid: str) -> None:
        """A test has noticed a fault."""
        self.noticed[nodeid] = self.noticed.get(nodeid, 0) + 1


def limit_of(tests: list[Measured]) -> float:
    """What a run of these may take, in s of CPU."""
    return BASE_S + FACTOR * sum(one.cpu_s for one in tests)


def replace_code(path: str, tree: ast.Module) -> bool:
    """Give the functions of a module, wherever they are, the code of another text of it.

    False where no function of that name is there, or one that holds other variables of its
    surroundings: then the module has to be imported anew.
    """
    filename = str(ROOT / path)
    live: dict[tuple[str, int], list[FunctionType]] = {}
    for found in _objects():
        if isinstance(found, FunctionType) and found.__code__.co_filename == filename:
            key = found.__code__.co_qualname, found.__code__.co_firstlineno
            live.setdefault(key, []).append(found)
    waiting: list[CodeType] = [compile(tree, filename, "exec")]
    while waiting:
        code = waiting.pop()
        waiting += [one for one in code.co_consts if isinstance(one, CodeType)]
        for function in live.get((code.co_qualname, code.co_firstlineno), ()):
            if len(function.__code__.co_freevars) != len(code.co_freevars):
                return False
            function.__code__ = code
    return True


def _objects() -> list[object]:
    """All that the collector knows of, with what is set aside for good as well: it lists that only
    while it is not set aside, and the suite does so with all that it has read.
    """
    if not gc.get_freeze_count():
        return gc.get_objects()
    gc.unfreeze()
    found = gc.get_objects()
    gc.freeze()
    return found


def flush() -> None:
    """Write out what is waiting, before a fork would write it twice."""
    sys.stdout.flush()
    sys.stderr.flush()
