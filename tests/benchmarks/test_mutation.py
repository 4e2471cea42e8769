"""Small faults: which there are, that they stay in their forks, what is said of survivors."""

from __future__ import annotations

import ast
import gc
import itertools
import os
import threading

import pytest

from benchmarks.mutation import forks
from benchmarks.mutation.faults import drawn, faults_of
from benchmarks.mutation.forks import Measured, Order, in_fork, replace_code
from benchmarks.mutation.ledger import Run, Section, compared
from benchmarks.mutation.marks import Marks

SOURCE = '''
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import os

@dataclass(frozen=True)
class Counter:
    kept: tuple[int, ...] = (1, 2)

    def count(self, n: int = 3) -> int:
        """Up."""
        if n > 4 and not self.kept:
            n += 1
        return -n

def both(a, b):
    return dict(zip(a, b, strict=True))
'''


@pytest.fixture(name="module")
def module_fixture(tmp_path):
    """A module with each kind of fault."""
    path = tmp_path / "counter.py"
    path.write_text(SOURCE, encoding="utf-8")
    faults_of.cache_clear()
    return path


def _texts(path) -> list[str]:
    return [fault.name for fault in faults_of(str(path))]


def test_each_fault_has_a_name_and_is_one_change(module) -> None:
    """Comparison, sign, count, condition, constant and result; never a type, a decorator or an
    import for the type checker.
    """
    names = _texts(module)
    assert len(names) == len(set(names))
    assert "Counter.count: n > 4: Gt becomes GtE" in names
    assert "Counter.count: n += 1: Add becomes Sub" in names
    assert "Counter.count: -n: USub is dropped" in names
    assert "Counter.count: return -n: nothing is returned" in names
    assert "Counter: 3: becomes 4" not in names
    assert not [name for name in names if "TYPE_CHECKING" in name]
    assert not [name for name in names if name.startswith(("module", "both: True"))]
    plain = ast.unparse(ast.parse(SOURCE))
    for fault in faults_of(str(module)):
        faulty = ast.unparse(fault.tree())
        lines = zip(plain.splitlines(), faulty.splitlines(), strict=True)
        assert len([1 for a, b in lines if a != b]) == 1, fault


def test_names_and_draws_outlive_other_edits(module) -> None:
    """What is added elsewhere neither renames a fault nor changes their order in a draw."""
    before, order = _texts(module), [f.name for f in drawn(str(module), 4, 1)]
    module.write_text("def more(x):\n    return x * 2\n" + SOURCE, encoding="utf-8")
    faults_of.cache_clear()
    assert set(before) < set(_texts(module))
    first = sorted(faults_of(str(module)), key=lambda fault: fault.drawn_by(1))
    kept = [fault.name for fault in first if fault.name in before][:4]
    assert set(kept) == set(order)


@pytest.mark.parametrize("aside", [False, True])
def test_a_fault_stands_in_its_fork_alone(module, aside: bool) -> None:
    """The function is faulty there, and as it was here; also where all that was read was set aside
    from the search for cycles, as the suite does.
    """
    code = compile(SOURCE, str(module), "exec")
    namespace: dict = {"__name__": __name__}
    exec(code, namespace)  # noqa: S102 - the module above
    fault = next(f for f in faults_of(str(module)) if f.name.endswith("USub is dropped"))

    def work() -> int:
        gc.unfreeze()
        if aside:
            gc.freeze()
        assert replace_code(str(module), fault.tree())
        return namespace["Counter"]().count(3)

    assert in_fork(work, 20) == 3
    assert namespace["Counter"]().count(3) == -3


def test_a_fork_is_stopped_and_its_failure_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """What never ends is stopped by what it takes of the processor, or by the clock where it only
    waits; errors are passed on.
    """
    assert in_fork(os.getpid, 20) != os.getpid()
    assert in_fork(lambda: sum(1 for _ in itertools.count()), 0.05) is None
    with pytest.raises(RuntimeError, match="ZeroDivisionError"):
        in_fork(lambda: 1 // 0, 20)
    monkeypatch.setattr(forks, "WAITING_S", 0.1)
    assert in_fork(threading.Event().wait, 0) is None


def test_marks_tell_which_statements_run(module) -> None:
    """A statement inside of a condition that was not met was not run."""
    marks = Marks([str(module)])
    namespace: dict = {"__name__": __name__}
    exec(compile(marks.trees[str(module)], str(module), "exec"), namespace)  # noqa: S102
    marks.clear()
    namespace["Counter"]().count(3)
    lines = SOURCE.splitlines()
    ran = {
        lines[line - 1].strip(): bool(marks.seen[number])
        for line, number in marks.by_line[str(module)].items()
    }
    assert ran["return -n"]
    assert not ran["n += 1"]


def test_cheap_tests_come_first_and_those_that_notice() -> None:
    """What is named is first of all; a test that runs nothing of it is not asked."""
    seen = frozenset({1})
    order = Order(
        {name: Measured(name, cpu_s, ran) for name, cpu_s, ran in (
            ("a", 0.5, seen), ("b", 0.2, seen), ("c", 0.3, seen), ("d", 0.1, frozenset())
        )}
    )  # fmt: skip
    assert [one.nodeid for one in order.wanted({1})] == ["b", "c", "a"]
    for _ in range(3):
        order.noted("a")
    assert [one.nodeid for one in order.wanted({1})] == ["a", "b", "c"]
    order.first = frozenset({"c"})
    assert [one.nodeid for one in order.wanted({1})] == ["c", "a", "b"]


def test_survivors_must_be_explained_and_no_others() -> None:
    """One without a reason, one that is noticed by now, one that is no fault any more."""

    def run(name: str, by: str) -> Run:
        return Run("m.py", name, by, "", "")

    section = Section("m.py", ("t.py",), {"same": "why", "noticed": "why", "gone": "why"})
    done = {name: run(name, by) for name, by in (("same", ""), ("noticed", "t"), ("open", ""))}
    line, wrong = compared(section, done)
    assert line == "m.py: 1 of 3 noticed, 1 explained, 1 open"
    assert len(wrong) == 3
    assert 'fault = "open"' in wrong[0]
    assert "noticed by t" in wrong[1]
    assert "not drawn" in wrong[2]
