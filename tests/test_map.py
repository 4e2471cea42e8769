"""DEVELOPERS.md against the tree: its map, its lines to type, its counts of files."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
MAP = DEVELOPERS.split("```")[1]
PRODUCT = sorted(
    path for package in ("analysis", "live", "replay") for path in (ROOT / package).rglob("*.py")
)
NUMBERS = {"Two": 2, "Three": 3, "Four": 4, "Five": 5, "Six": 6}


def _name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@cache
def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def test_every_room_is_on_the_map():
    """Every package of the program, of the tests' stand-ins and of the benchmarks has its place."""
    rooms = [path.parent for path in PRODUCT if path.name == "__init__.py"]
    rooms += [path.parent for path in (ROOT / "benchmarks").rglob("__init__.py")]
    missing = [
        _name(room)
        for room in rooms
        if not re.search(rf"(?:^|[\s/]){room.name}/", MAP, re.MULTILINE)
    ]
    assert missing == []


def test_every_module_on_the_map_is_there():
    """What the map names is found under that name, once or more."""
    named = set(re.findall(r"\b(\w+\.py)\b", MAP))
    assert named
    rooms = ("analysis", "benchmarks", "live", "replay", "tests")
    there = {path.name for room in rooms for path in (ROOT / room).rglob("*.py")}
    assert named - there - {path.name for path in ROOT.glob("*.py")} == set()


def test_paths_in_lines_to_type_are_there():
    """Modules and tests in the lines of the document can be run."""
    (lines,) = re.findall(r"```sh\n(.*?)```", DEVELOPERS, re.DOTALL)
    named = re.findall(r"\b((?:tests|analysis|live|replay)/[\w/]+\.py)\b", lines)
    assert named
    assert [path for path in named if not (ROOT / path).is_file()] == []
    modules = re.findall(r"-m (benchmarks\.\w+)", lines)
    assert modules
    assert [m for m in modules if not [*(ROOT / "benchmarks").glob(m.split(".")[1] + "*")]] == []


@pytest.mark.parametrize(
    ("section", "example", "shows"),
    [
        ("sensor type", r"INDOOR_BIKE|indoor_bike", ()),
        ("warning", r"\bTHINNING\b", ()),
        ("panel", r"\bAgreementPlane\b", ()),
        (
            "statistic",
            r"\bdepartures(_of)?\b",
            ("analysis/report/", "analysis/study/", "live/cli/"),
        ),
        ("command", r"[\"`]ready[\"`]: |sidebeat ready`: ", ()),
        ("publisher", r"class AttentionPlan\b|\bPublisher\b", ()),
    ],
)
def test_so_many_files_are_touched(section, example, shows):
    """As many files of the program speak of the example as the document says.

    ``shows``: where it says that each place that shows it is one more.
    """
    (text,) = re.findall(rf"## How to add a {section}\n(.*?)\n## ", DEVELOPERS, re.DOTALL)
    (said,) = re.findall(r"^(\w+) files of the program", text, re.MULTILINE)
    touched = [_name(path) for path in PRODUCT if re.search(example, _text(path))]
    touched = [name for name in touched if not name.startswith(shows)] if shows else touched
    assert len(touched) == NUMBERS[said], touched
