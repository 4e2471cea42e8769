"""The shape of the tree: which files are ours, how they are cut, what they may name."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import pytest

import analysis
import live
import replay
from live import preflight

ROOT = Path(__file__).resolve().parent.parent
MODULES = sorted(
    path
    for package in ("live", "analysis", "replay", "recordings_demo", "benchmarks")
    for path in (ROOT / package).rglob("*.py")
)


def _name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _with(words: str) -> list[Path]:
    """Our modules whose text has these words: the others need not be parsed to look for them."""
    return [path for path in MODULES if words in path.read_text(encoding="utf-8")]


@pytest.mark.parametrize("package", [live, analysis, replay], ids=lambda p: p.__name__)
def test_the_packages_that_are_tested_are_ours(package):
    """The generic package names resolve to this tree, not to a stranger of the same name."""
    assert Path(package.__file__).resolve().parent.parent == ROOT


def test_a_module_can_be_read_in_one_sitting():
    """No module is longer than 450 lines."""
    lines = {_name(path): len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    assert {name: count for name, count in lines.items() if count > 450} == {}


def _without_docstring(rules: str, paths: Iterable[Path]) -> list[str]:
    """What the linter finds without a docstring by these rules, whatever the settings excuse: file,
    line, and what stands there.  It reads the tree in a twentieth of the time of ``ast``.
    """
    pytest.importorskip("ruff")
    command = [sys.executable, "-m", "ruff", "check", "--isolated", "--no-cache", "--ignore-noqa"]
    asked = [f"--select={rules}", "--output-format=json", *map(str, paths)]
    done = subprocess.run([*command, *asked], capture_output=True, text=True, check=False)
    assert done.returncode in {0, 1}, done.stderr
    return [
        f"{_name(path)}:{row}: {path.read_text(encoding='utf-8').splitlines()[row - 1 : row]}"
        for found in json.loads(done.stdout)
        for path, row in [(Path(found["filename"]), found["location"]["row"])]
    ]


def test_public_things_say_what_they_are():
    """Every module, public class and public function has a docstring."""
    packages = sorted({path.relative_to(ROOT).parts[0] for path in MODULES})
    assert _without_docstring("D100,D101,D103,D104", [ROOT / name for name in packages]) == []


def test_each_test_states_its_rule():
    """Every test has a docstring, whose first sentence is the rule it guards."""
    silent = _without_docstring("D102,D103", [ROOT / "tests"])
    assert silent  # a fixture whose name says it all
    assert [place for place in silent if re.search(r"def test_", place)] == []


def test_input_is_not_checked_by_assert():
    """Nothing outside the tests relies on ``assert``, which ``python -O`` takes away."""
    asserts = [
        f"{_name(path)}:{node.lineno}"
        for path in _with("assert")
        for node in ast.walk(_tree(path))
        if isinstance(node, ast.Assert)
    ]
    assert asserts == []


def test_our_own_processes_take_no_module_from_the_folder_they_are_begun_in():
    """With ``-m`` and ``-c`` Python looks for modules there first: a folder of captures that holds
    an ``analysis`` of its own would be run in place of ours.
    """
    begun, exposed = 0, []
    for path in _with("executable"):
        if path.is_relative_to(ROOT / "benchmarks"):
            continue
        for node in ast.walk(_tree(path)):
            if not isinstance(node, (ast.Call, ast.List, ast.Tuple)):
                continue
            words = {part.value for part in ast.walk(node) if isinstance(part, ast.Constant)}
            first = getattr(node, "elts", None) or getattr(node, "args", None) or [node]
            if not (words & {"-m", "-c", "-P"} and ast.unparse(first[0]) == "sys.executable"):
                continue
            begun += 1
            if "-P" not in words:
                exposed.append(f"{_name(path)}:{node.lineno}")
    assert exposed == []
    assert begun >= 5


def test_functions_stay_simple():
    """No function has a cyclomatic complexity above 11 without a reason beside it.

    The linter counts (``make check``); here it is seen to be told to, and to be excused with words.
    """
    lint = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["ruff"][
        "lint"
    ]
    assert "C90" in lint["select"]
    assert lint["mccabe"]["max-complexity"] <= 11
    ignored = [
        *lint["ignore"],
        *(rule for rules in lint["per-file-ignores"].values() for rule in rules),
    ]
    assert [rule for rule in ignored if rule.startswith("C")] == []
    excused = [
        f"{_name(path)}:{number}: {line.strip()}"
        for path in MODULES
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if "C901" in line and not re.search(r"# noqa: C901 - \w+", line)
    ]
    assert excused == []


def test_a_function_that_is_too_complex_is_found(tmp_path):
    """The linter refuses a function with twelve branches, by the settings of this tree."""
    pytest.importorskip("ruff")
    branches = "".join(f"    if n == {n}:\n        return {n}\n" for n in range(12))
    planted = tmp_path / "planted.py"
    planted.write_text(f"def planted(n):\n{branches}    return n\n", encoding="utf-8")
    command = [sys.executable, "-m", "ruff", "check", "--no-cache", "--output-format=concise"]
    settings = ["--config", str(ROOT / "pyproject.toml")]
    done = subprocess.run(
        [*command, *settings, str(planted)], capture_output=True, text=True, check=False
    )
    assert "C901 `planted` is too complex (13 > 11)" in done.stdout


@pytest.mark.parametrize("name", ["__main__.py", "__init__.py", "preflight.py", "cli/__init__.py"])
def test_what_runs_before_installation_needs_nothing(name):
    """The modules that say what is missing import only the standard library at the top."""
    tree = ast.parse((ROOT / "live" / name).read_text(encoding="utf-8"))
    imported = [
        alias.name if isinstance(node, ast.Import) else node.module
        for node in tree.body
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
    ]
    foreign = {name.split(".")[0] for name in imported if name} - {"__future__", "live"}
    assert set() == foreign - set(sys.stdlib_module_names)


def test_no_cancellation_is_lost():
    """``asyncio.wait_for`` of Python 3.11 goes on when it is cancelled in the turn in which what it
    waits for comes; ``asyncio.timeout`` ends.
    """
    assert _with("asyncio.wait_for(") == []


def test_the_crashing_qt_is_kept_out():
    """PySide6 6.12, which crashes before Python 3.12, is excluded and not installed."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    pins = project["project"]["optional-dependencies"]["window"]
    assert [pin for pin in pins if "PySide6" in pin and pin.endswith("<6.12")] == [
        pin for pin in pins if "PySide6" in pin
    ]
    assert preflight.broken_qt() == ""


def test_the_preflight_knows_every_base_dependency():
    """What is looked for before a start is what the base installation depends on."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    declared = {re.split(r"[<>=;\[ ]", pin)[0] for pin in project["project"]["dependencies"]}
    assert set(preflight.BASE_PACKAGES.values()) == declared


def test_results_do_not_travel_as_untyped_dictionaries():
    """At most 30 lines of the product speak of a dictionary whose values may be read as anything.

    A result has a type (``SessionRecord``), so that a misspelt or missing number is found by the
    type checker and not by a reader.  What is left reads TOML and lines of other processes, where
    the check is the code itself; what is only printed as JSON is a ``dict[str, object]``.
    """
    untyped = [
        f"{_name(path)}:{number}"
        for path in MODULES
        if path.relative_to(ROOT).parts[0] in {"live", "analysis", "replay"}
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if re.search(r"\b(dict|Mapping)\[str, Any\]", line)
    ]
    assert len(untyped) <= 30, untyped
