"""Modules that are imported from another text than the file's: with marks, or with a fault.

A mark tells that a statement of a function was run, so that a fault in it is put to those tests
alone that come by.
"""

from __future__ import annotations

import ast
import builtins
import sys
from collections.abc import Iterator
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from types import CodeType, ModuleType

from benchmarks.mutation.faults import FUNCTIONS, ROOT

SEEN = "__sidebeat_seen__"
ROOM = 100_000


class Marks:
    """The statements of some modules, numbered; and which of them were run since :meth:`clear`."""

    def __init__(self, paths: list[str]) -> None:
        self.by_line: dict[str, dict[int, int]] = {}
        """By path and line: the number of the statement that the line belongs to."""
        self._count = 0
        self.seen = bytearray(ROOM)
        setattr(builtins, SEEN, self.seen)
        self.trees = {path: self._marked(path) for path in paths}

    def clear(self) -> None:
        """Nothing was run."""
        self.seen[:] = bytes(ROOM)

    def of(self, path: str, line: int) -> int | None:
        """The number of the statement of this line; None outside of functions."""
        return self.by_line[path].get(line)

    def all_of(self, path: str) -> set[int]:
        """The numbers of all statements of a module."""
        return set(self.by_line[path].values())

    def _marked(self, path: str) -> ast.Module:
        tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
        lines = self.by_line[path] = {}
        for function in [node for node in ast.walk(tree) if isinstance(node, FUNCTIONS)]:
            for statements in list(_bodies(function)):
                marked: list[ast.stmt] = []
                for statement in statements:
                    if _is_text(statement):
                        marked.append(statement)
                        continue
                    end = statement.end_lineno or statement.lineno
                    number, self._count = self._count, self._count + 1
                    # Inner statements come later in the walk, and take their lines for themselves.
                    lines.update(dict.fromkeys(range(statement.lineno, end + 1), number))
                    marked += [ast.copy_location(_mark(number), statement), statement]
                statements[:] = marked
        return ast.fix_missing_locations(tree)


def _bodies(function: ast.AST) -> Iterator[list[ast.stmt]]:
    """The lists of statements of a function, outer ones first, without those of inner functions."""
    waiting: list[ast.AST] = [function]
    while waiting:
        node = waiting.pop(0)
        for name in ("body", "orelse", "finalbody"):
            statements = getattr(node, name, None)
            if isinstance(statements, list) and not isinstance(node, ast.ClassDef):
                yield statements
        inner = [*ast.iter_child_nodes(node)]
        waiting += [one for one in inner if not isinstance(one, FUNCTIONS)]


def _is_text(statement: ast.stmt) -> bool:
    return isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)


def _mark(number: int) -> ast.stmt:
    return ast.parse(f"{SEEN}[{number}] = 1").body[0]


class Given(MetaPathFinder):
    """Imports some modules of the tree from other texts."""

    def __init__(self, trees: dict[str, ast.Module]) -> None:
        self._codes = {
            path.removesuffix(".py").replace("/", "."): compile(tree, str(ROOT / path), "exec")
            for path, tree in trees.items()
        }
        sys.meta_path.insert(0, self)

    def find_spec(
        self,
        fullname: str,
        path: object,
        target: ModuleType | None = None,  # noqa: ARG002 - as the importer calls it
    ) -> ModuleSpec | None:
        """The module's place, with a loader that has its text already."""
        code = self._codes.get(fullname)
        spec = None if code is None else PathFinder.find_spec(fullname, path)  # type: ignore[arg-type]
        if code is not None and spec is not None and spec.origin is not None:
            spec.loader = _Loader(fullname, spec.origin, code)
        return spec


class _Loader(SourceFileLoader):
    def __init__(self, name: str, path: str, code: CodeType) -> None:
        super().__init__(name, path)
        self._code = code

    def get_code(self, fullname: str) -> CodeType:  # noqa: ARG002 - as the importer calls it
        return self._code
