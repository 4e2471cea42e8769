"""Small faults, put into the code one at a time: how many of them do its tests notice.

``python -m benchmarks.mutants analysis/statistics/closer.py --tests tests/analysis/statistics``
draws seeded mutants of the files that are named (another comparison or operator, a constant moved,
a condition turned round, a returned value withheld), runs the tests on each, and lists those that
no test notices.  The tree is never touched: each mutant stands in a copy.  For anything that has
tests, the rules of the board as well.
"""

from __future__ import annotations

import argparse
import ast
import multiprocessing
import os
import random
import shutil
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
COPIED = ("analysis", "replay", "live", "benchmarks", "tests", "recordings_demo")
FILES = ("pyproject.toml", "set_up.py")
LONGEST_S = 600
WARM = multiprocessing.get_context("forkserver")
"""Each run is a copy of a process that has the libraries, but nothing of the tree."""
WARM.set_forkserver_preload(["pytest", "numpy", "scipy.stats"])

COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
    ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.Pow: ast.Mult,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """``line`` and ``what``: where the fault is and which; ``place``, ``change``: the node's number
    in a walk through the module, and the number of its change.
    """

    path: Path
    line: int
    what: str
    place: int
    change: int

    def text(self) -> str:
        """The whole faulty module."""
        tree = ast.parse(self.path.read_text(encoding="utf-8"))
        node = next(islice(ast.walk(tree), self.place, None))
        changes = _changes(node)
        next(islice(changes, self.change, None))
        return ast.unparse(ast.fix_missing_locations(tree))


def mutants_of(path: Path) -> list[Mutant]:
    """Every mutant of a module, in order of line."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nothing_runs = {id(node) for node in _annotations(tree)}
    found = [
        Mutant(path, getattr(node, "lineno", 0), what, place, change)
        for place, node in enumerate(list(ast.walk(tree)))
        if id(node) not in nothing_runs
        for change, what in enumerate(_changes(node))
    ]
    return sorted(found, key=lambda one: one.line)


def _annotations(tree: ast.AST) -> Iterator[ast.AST]:
    """Every node of every annotation."""
    for node in ast.walk(tree):
        for name in ("annotation", "returns"):
            found = getattr(node, name, None)
            if found is not None:
                yield from ast.walk(found)


def _changes(node: ast.AST) -> Iterator[str]:
    """Change the node, tell how, and put it back when asked for the next change."""
    if isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARISONS:
        old = node.ops[0]
        node.ops[0] = COMPARISONS[type(old)]()
        yield f"{type(old).__name__} becomes {type(node.ops[0]).__name__}"
        node.ops[0] = old
    elif isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
        binary = node.op
        node.op = OPERATORS[type(binary)]()
        yield f"{type(binary).__name__} becomes {type(node.op).__name__}"
        node.op = binary
    elif isinstance(node, ast.BoolOp):
        both = node.op
        node.op = ast.Or() if isinstance(both, ast.And) else ast.And()
        yield f"{type(both).__name__} becomes {type(node.op).__name__}"
        node.op = both
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not | ast.Invert):
        kept = node.operand
        name = type(node.op).__name__
        node.op, node.operand = ast.UAdd(), kept
        if name == "Not":
            node.op, node.operand = ast.Not(), ast.UnaryOp(ast.Not(), kept)
        yield f"{name} is dropped"
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        number = node.value
        node.value = number + 1 if isinstance(number, int) else number * 1.5 + 0.1
        yield f"{number} becomes {node.value}"
        node.value = number
    elif isinstance(node, ast.If | ast.IfExp | ast.While):
        test = node.test
        node.test = ast.UnaryOp(ast.Not(), test)
        yield "the condition is turned round"
        node.test = test
    elif isinstance(node, ast.Return) and node.value is not None:
        value = node.value
        if not (isinstance(value, ast.Constant) and value.value is None):
            node.value = ast.Constant(None)
            yield "nothing is returned"
            node.value = value


def noticed(mutant: Mutant, copy: Path, tests: list[str]) -> bool:
    """Whether the tests fail on a mutant (or take ten minutes over it)."""
    target = copy / mutant.path
    original = target.read_text(encoding="utf-8")
    target.write_text(mutant.text(), encoding="utf-8")
    try:
        return not passes(copy, tests)
    finally:
        target.write_text(original, encoding="utf-8")


def passes(copy: Path, tests: list[str]) -> bool:
    """Whether the tests pass in the copy."""
    child = WARM.Process(target=run_tests, args=(copy, tests))
    child.start()
    child.join(LONGEST_S)
    if child.is_alive():
        child.kill()
        child.join()
        return False
    return child.exitcode == 0


def run_tests(copy: Path, tests: list[str]) -> None:
    """Run tests on a copy of the tree, in a process of their own; ends it with their status."""
    for name in list(sys.modules):
        if name.partition(".")[0] in COPIED:  # those of the tree itself
            del sys.modules[name]
    os.chdir(copy)
    sys.path.insert(0, str(copy))
    sys.dont_write_bytecode = True
    with Path(os.devnull).open("w", encoding="utf-8") as nowhere:
        os.dup2(nowhere.fileno(), 1)
        os.dup2(nowhere.fileno(), 2)
        os._exit(pytest.main(["-q", "-x", "-p", "no:cacheprovider", *tests]))


def main() -> int:
    """Draw, run, list the survivors."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("modules", nargs="+", type=Path, help="modules to put faults into")
    parser.add_argument("--tests", nargs="+", required=True, help="tests to run on each mutant")
    parser.add_argument("--count", type=int, default=30, help="mutants drawn in all (default 30)")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    every = [mutant for path in arguments.modules for mutant in mutants_of(path)]
    drawn = random.Random(arguments.seed).sample(every, min(arguments.count, len(every)))
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        for name in COPIED:
            shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
        for name in FILES:
            shutil.copy(ROOT / name, copy / name)
        if not passes(copy, arguments.tests):
            print("The tests fail on the code as it is.", file=sys.stderr)
            return 1
        survivors = []
        for mutant in drawn:
            if not noticed(mutant, copy, arguments.tests):
                survivors.append(mutant)
                print(f"{mutant.path}:{mutant.line}: not noticed: {mutant.what}", flush=True)
    print(f"{len(drawn) - len(survivors)} of {len(drawn)} mutants noticed ({len(every)} possible)")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
