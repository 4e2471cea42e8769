"""The guards of the imports have no holes: each is shown a breach, in a copy of the tree."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("live", "analysis", "replay")
WINDOW = "live.views.window"


def rooms() -> list[str]:
    """Every package and module right below the three, but for the window those of the views."""
    found = ["live.views.terminal"]
    for package in PACKAGES:
        for path in sorted((ROOT / package).iterdir()):
            is_room = path.suffix == ".py" or (path / "__init__.py").exists()
            name = f"{package}.{path.stem}"
            if is_room and path.stem != "__init__" and name != "live.views":
                found.append(name)
    return found


def planted(folder: Path, name: str) -> str:
    """Where in the copy an import is planted; the name of the module that then has it."""
    path = folder / Path(*name.split("."))
    if path.is_dir():
        name, path = f"{name}.planted", path / "planted"
    path = path.with_suffix(".py")
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    path.write_text(f"{text}\nimport PySide6.QtCore\n", encoding="utf-8")
    return name


SHEDS = (
    "live/shed", "live/views/shed", "live/views/window/shed", "replay/shed",
    "replay/capture/shed", "analysis/shed", "analysis/board/shed", "analysis/board/rules/shed",
)  # fmt: skip


def copied(folder: Path) -> Path:
    """The packages and their contracts, to be spoilt."""
    for package in PACKAGES:
        shutil.copytree(
            ROOT / package, folder / package, ignore=shutil.ignore_patterns("__pycache__")
        )
    shutil.copy(ROOT / "pyproject.toml", folder)
    return folder


def complaints(folder: Path) -> str:
    """What the checker says of a tree; empty if it is content."""
    checked = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()",
         "--no-cache"],
        cwd=folder, capture_output=True, encoding="utf-8", check=False,
        env={"PYTHONPATH": str(folder), "PYTHONUTF8": "1"},
    )  # fmt: skip
    return checked.stdout + checked.stderr if checked.returncode else ""


@pytest.fixture(scope="module")
def of_the_spoilt(tmp_path_factory) -> tuple[list[str], str]:
    """Modules with an import of Qt that is none of theirs, and what is said of a tree with them,
    and with rooms that no layer names.
    """
    copy = copied(tmp_path_factory.mktemp("spoilt"))
    names = [planted(copy, name) for name in rooms()]
    for name in SHEDS:
        (copy / name).mkdir()
        (copy / name / "__init__.py").write_text('"""New."""\n', encoding="utf-8")
    return names, complaints(copy)


def test_qt_is_seen_wherever_it_does_not_belong(of_the_spoilt):
    """An import of Qt in any room but the window is a breach of a contract."""
    names, said = of_the_spoilt
    unseen = [n for n in names if not re.search(rf"{re.escape(n)} -> PySide6", said)]
    assert unseen == []


def test_a_new_room_must_take_its_place(of_the_spoilt):
    """A package that no layer names is a breach, wherever layers stand."""
    _, said = of_the_spoilt
    unseen = [name for name in SHEDS if f"- {name.replace('/', '.')}\n" not in said]
    assert unseen == [], said


def test_the_tree_as_it_is_breaks_nothing(tmp_path):
    """The copy by itself is found sound, so that what is found above was planted."""
    assert complaints(copied(tmp_path)) == ""


def test_no_two_modules_import_each_other():
    """The modules can be put in one order, also counting the imports for types alone."""
    graph = grimp.build_graph(*PACKAGES, cache_dir=None)
    needs = {m: graph.find_modules_directly_imported_by(m) for m in graph.modules}
    assert len(list(TopologicalSorter(needs).static_order())) == len(graph.modules)
