"""Which test modules cannot run on this machine, and the one line that says why.

A module needs what it imports, and what the modules of this tree that it imports need at their
top.  Where a package of an extra, or a library that the window's package stands on, is not there,
the module is skipped by name instead of failing to be read, so that the base installation can run
its own tests.  Where ``CI`` is set nothing is skipped for this: there, something that is missing is
a fault.
"""

from __future__ import annotations

import ast
import importlib.metadata
import importlib.util
import os
import re
import sys
import tomllib
from functools import cache
from pathlib import Path

import pytest

from live import preflight

ROOT = Path(__file__).resolve().parent.parent
OWN = ("live", "analysis", "replay", "tests", "benchmarks")


def lacking(path: Path) -> str:
    """One line saying what the test module at ``path`` lacks here, else empty."""
    needed = _needs(path)
    missing = sorted(name for name in needed if not _found(name))
    if missing:
        return f"needs {', '.join(missing)}: {preflight.install_line('window,test')}"
    if "PySide6" in needed and (
        libraries := preflight.missing_libraries(preflight.WINDOW_LIBRARIES)
    ):
        return f"needs {', '.join(libraries)}: {preflight.apt_line(libraries)}"
    return ""


class SkippedModule(pytest.Module):
    """A test module that is not read, with the reason why."""

    reason = ""

    def collect(self) -> list[pytest.Item]:
        """Skip all of the module's tests."""
        pytest.skip(self.reason, allow_module_level=True)


def needs_file(path: Path, fetched_by: str) -> pytest.MarkDecorator:
    """Skip where a file or folder is not here.  In CI nothing is skipped for this either: the tests
    fail there on the file that they do not find.
    """
    return pytest.mark.skipif(
        not path.exists() and not os.environ.get("CI"),
        reason=f"{path.name} is not here; `{fetched_by}` fetches it",
    )


def module_or_skip(path: Path, parent: pytest.Collector) -> pytest.Module | None:
    """The module to collect in place of ``path``; ``None`` leaves it to pytest."""
    if os.environ.get("CI") or all_is_here() or not (reason := lacking(path)):
        return None
    module: SkippedModule = SkippedModule.from_parent(parent, path=path)
    module.reason = reason
    return module


@cache
def all_is_here() -> bool:
    """Whether everything is installed that the tests of the whole program may ask for.

    Then no module lacks anything, and none has to be parsed to know it: for each process that
    runs tests that is a sixth of the time in which it finds them.
    """
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    needed = list(extras["dependencies"])
    for extra in ("all", "test"):
        needed += _asked_for(extra, extras["optional-dependencies"])
    return all(map(_installed, needed)) and not preflight.missing_libraries(
        preflight.WINDOW_LIBRARIES
    )


def _asked_for(extra: str, extras: dict[str, list[str]]) -> list[str]:
    """The requirements of an extra, those of the extras that it names among them."""
    asked: list[str] = []
    for requirement in extras[extra]:
        named = re.fullmatch(r"sidebeat\[([\w-]+)\]", requirement)
        asked += _asked_for(named[1], extras) if named else [requirement]
    return asked


def _installed(requirement: str) -> bool:
    """Whether a requirement is here, in whichever version; one of another system need not be."""
    needed, _, where = requirement.partition(";")
    if "win32" in where and sys.platform != "win32":
        return True
    name = re.match(r"[\w.-]+", needed)
    assert name is not None, requirement
    try:
        importlib.metadata.distribution(name[0])
    except importlib.metadata.PackageNotFoundError:
        return False
    return True


@cache
def _found(package: str) -> bool:
    return importlib.util.find_spec(package) is not None


@cache
def _needs(path: Path) -> frozenset[str]:
    """Top-level names from outside the standard library that importing ``path`` imports."""
    needed: set[str] = set()
    waiting, seen = {str(path)}, set[str]()
    while waiting:
        seen |= waiting
        direct = [_directly(place) for place in waiting]
        needed = needed.union(*(outside for outside, _ in direct))
        waiting = set().union(*(inside for _, inside in direct)) - seen
    return frozenset(needed - set(sys.stdlib_module_names))


@cache
def _directly(path: str) -> tuple[frozenset[str], frozenset[str]]:
    """What a module itself imports: top-level names from outside, files of this tree.

    Asked once for each file, as hundreds of test modules import the same ones.
    """
    dotted = _imported(Path(path))
    outside = {name.split(".")[0] for name in dotted if name.split(".")[0] not in OWN}
    inside = {place for name in dotted if name.split(".")[0] in OWN for place in _files(name)}
    return frozenset(outside), frozenset(inside)


def _imported(path: Path) -> frozenset[str]:
    """Dotted names that the module imports at its top, and those that its ``NEEDS`` lists.

    What functions import is their affair; a test module whose tests call such a function says so:
    ``NEEDS = ("matplotlib",)``.
    """
    found: set[str] = set()
    waiting: list[ast.stmt] = list(ast.parse(path.read_text(encoding="utf-8")).body)
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.With):
            waiting += node.body
        elif isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "NEEDS":
            found |= set(ast.literal_eval(node.value))
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return frozenset(found)


@cache
def _files(dotted: str) -> list[str]:
    """The files of this tree that importing ``dotted`` reads: packages, then the module."""
    parts = dotted.split(".")
    places = [ROOT.joinpath(*parts[:depth], "__init__.py") for depth in range(1, len(parts) + 1)]
    places.append(ROOT.joinpath(*parts).with_suffix(".py"))
    return [str(place) for place in places if place.exists()]
