"""Which small faults a module can be given, each under a name that other edits do not change."""

from __future__ import annotations

import ast
import hashlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import islice
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SHOWN = 80
"""Characters of the faulty expression that a name holds."""

COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
    ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.Pow: ast.Mult,
}  # fmt: skip
FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)


@dataclass(frozen=True)
class Fault:
    """``path``: the module, from the root of the tree.  ``name``: function, expression and change.

    ``place``, ``change``: the node's number in a walk through the module, and the number of its
    change.  ``line``: where it stands today.  ``inside``: in the body of a function, so that the
    function's code is all that it changes.
    """

    path: str
    name: str
    line: int
    place: int
    change: int
    inside: bool

    def tree(self) -> ast.Module:
        """The whole faulty module."""
        tree = _parsed(self.path)
        node = next(islice(ast.walk(tree), self.place, None))
        next(islice(_changes(node), self.change, None))
        return ast.fix_missing_locations(tree)

    def drawn_by(self, seed: int) -> bytes:
        """What it is sorted by for a draw: the same whatever else is in the module."""
        return hashlib.sha256(f"{seed} {self.path} {self.name}".encode()).digest()


def _parsed(path: str) -> ast.Module:
    return ast.parse((ROOT / path).read_text(encoding="utf-8"))


@cache
def faults_of(path: str) -> tuple[Fault, ...]:
    """Every fault that a module is given, in order of line."""
    tree = _parsed(path)
    skipped = {id(node) for node in _never_run(tree)}
    scopes = dict(_scopes(tree))
    names: Counter[str] = Counter()
    found = []
    for place, node in enumerate(list(ast.walk(tree))):
        if id(node) in skipped:
            continue
        text = ast.unparse(node).partition("\n")[0][:SHOWN]
        scope, inside = scopes.get(id(node), ("", False))
        for change, what in enumerate(_changes(node)):
            name = f"{scope or 'module'}: {text}: {what}"
            names[name] += 1
            told = name if names[name] == 1 else f"{name} ({names[name]})"
            found.append(Fault(path, told, getattr(node, "lineno", 0), place, change, inside))
    return tuple(sorted(found, key=lambda one: one.line))


def drawn(path: str, count: int, seed: int) -> list[Fault]:
    """So many of a module's faults, or all, in order of line."""
    chosen = sorted(faults_of(path), key=lambda one: one.drawn_by(seed))[:count]
    return sorted(chosen, key=lambda one: (one.line, one.name))


def _never_run(tree: ast.AST) -> Iterator[ast.AST]:
    """Nodes of annotations and decorators, what ``strict`` of ``zip`` is told, and imports that
    only a type checker makes.
    """
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            yield from ast.walk(node)
        for name in ("annotation", "returns"):
            found = getattr(node, name, None)
            if found is not None:
                yield from ast.walk(found)
        for decorator in getattr(node, "decorator_list", ()):
            yield from ast.walk(decorator)
        if isinstance(node, ast.keyword) and node.arg == "strict":
            yield from ast.walk(node)


def _scopes(
    node: ast.AST, name: str = "", inside: bool = False
) -> Iterator[tuple[int, tuple[str, bool]]]:
    """For each node the name of its function or class, and whether it is in a function's body."""
    yield id(node), (name, inside)
    body = {id(one) for one in node.body} if isinstance(node, FUNCTIONS) else set()
    if isinstance(node, ast.ClassDef | FUNCTIONS[0] | FUNCTIONS[1]):
        name = f"{name}.{node.name}" if name else node.name
    for child in ast.iter_child_nodes(node):
        yield from _scopes(child, name, inside or id(child) in body)


def _changes(node: ast.AST) -> Iterator[str]:
    """Change the node, tell how, and put it back when asked for the next change."""
    if isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARISONS:
        old = node.ops[0]
        node.ops[0] = COMPARISONS[type(old)]()
        yield f"{type(old).__name__} becomes {type(node.ops[0]).__name__}"
        node.ops[0] = old
    elif isinstance(node, ast.BinOp | ast.AugAssign) and type(node.op) in OPERATORS:
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
        kept, unary = node.operand, node.op
        if isinstance(unary, ast.Not):
            node.operand = ast.UnaryOp(ast.Not(), kept)
        else:
            node.op = ast.UAdd()
        yield f"{type(unary).__name__} is dropped"
        node.op, node.operand = unary, kept
    elif isinstance(node, ast.Constant) and type(node.value) in (bool, int, float):
        yield from _other_value(node)
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


def _other_value(node: ast.Constant) -> Iterator[str]:
    old = node.value
    if isinstance(old, bool):
        node.value = not old
    else:
        node.value = old + 1 if isinstance(old, int) else old * 1.5 + 0.1
    yield f"becomes {node.value}"
    node.value = old
