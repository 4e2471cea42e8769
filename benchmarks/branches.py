"""How many branches of the core its own tests take: lines and both ways of each condition.

``python -m benchmarks.branches`` (``make branches``) runs the tests of each room of the core under
coverage.py, also what they start in other processes, prints a row for each module with what is
left out, and fails below ``--floor`` (95 %) for the core, or where a test fails.  Names of rooms
(``replay analysis/board``) run these only; the others count with what was measured of them last,
which is kept in ``build/branches``.  Screens, commands and set-up are no part of the core.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from pathlib import Path

from coverage import Coverage

ROOT = Path(__file__).resolve().parents[1]
CORE = ("replay", "analysis", "live/capture", "live/protocol", "live/sources")
ROOMS = (
    "replay",
    "analysis/board",
    "analysis/report",
    "analysis/session",
    "analysis/statistics",
    "analysis/study",
    "live/capture",
    "live/protocol",
    "live/sources",
)
"""Folders of tests, each measured by itself."""

KEPT = ROOT / "build" / "branches"
LONGEST_S = 300
"""For a test: being measured makes it several times slower."""
NOT_COUNTED = (
    "if TYPE_CHECKING:",
    "raise NotImplementedError",
    r"assert_never\(",
    r"^\s*\.\.\.$",
    'sys.platform == "win32"',
)
"""Lines that no test on POSIX can reach, or that are there for the type checker."""


def configured(data: Path) -> Coverage:
    """Coverage of the core as it is measured here, into this file."""
    measured = Coverage(
        data_file=str(data),
        config_file=str(_settings(data)),
    )
    measured.exclude(rf"({'|'.join(NOT_COUNTED)})")
    return measured


def _settings(data: Path) -> Path:
    """A file for this room: other processes that its tests start read it as well."""
    path = data.with_suffix(".ini")
    sources = "\n    ".join(str(ROOT / folder) for folder in CORE)
    path.write_text(
        "[run]\n"
        "branch = true\n"
        "parallel = true\n"
        "relative_files = true\n"
        "patch = subprocess\n"
        "concurrency = thread,multiprocessing\n"
        "disable_warnings = no-data-collected,module-not-measured,couldnt-parse\n"
        f"data_file = {data}\n"
        f"source =\n    {sources}\n",
        encoding="utf-8",
    )
    return path


def measure(room: str, options: list[str]) -> int:
    """Run the tests of a room; the status of pytest.  What is measured replaces what was."""
    data = _data_of(room)
    for old in data.parent.glob(f"{data.name}*"):
        old.unlink()
    settings = _settings(data)
    command = [
        sys.executable, "-m", "coverage", "run", f"--rcfile={settings}",
        "-m", "pytest", "-q", "-p", "no:cacheprovider", "--timeout", str(LONGEST_S),
        *options, f"tests/{room}",
    ]  # fmt: skip
    status = subprocess.run(command, cwd=ROOT, check=False).returncode
    parts = [str(path) for path in data.parent.glob(f"{data.name}.*") if path.suffix != ".ini"]
    if parts:
        configured(data).combine(parts)
    return status


def _data_of(room: str) -> Path:
    return KEPT / room.replace("/", "-")


def main() -> int:
    """Measure the rooms, print the table; status 1 below the floor or where a test fails."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("rooms", nargs="*", metavar="ROOM", help=", ".join(ROOMS))
    parser.add_argument("--floor", type=float, default=95.0, help="%% of the core")
    parser.add_argument("--table", action="store_true", help="of what was measured last, at once")
    parser.add_argument("--pytest", default="", help="options for pytest, such as '-n 2'")
    arguments = parser.parse_args()
    unknown = set(arguments.rooms) - set(ROOMS)
    if unknown:
        parser.error(f"there is no room {', '.join(sorted(unknown))}")
    KEPT.mkdir(parents=True, exist_ok=True)
    os.chdir(ROOT)
    chosen = () if arguments.table else arguments.rooms or ROOMS
    failed = [room for room in chosen if measure(room, arguments.pytest.split()) != 0]
    whole = configured(KEPT / "all")
    known = [_data_of(room) for room in ROOMS if _data_of(room).exists()]
    whole.combine([str(path) for path in known], keep=True, strict=True)
    percent = whole.report(show_missing=True, skip_covered=True, sort="cover")
    missing = [room for room in ROOMS if _data_of(room) not in known]
    if missing:
        print("not measured so far:", ", ".join(missing))
    if failed:
        print("tests failed in:", ", ".join(failed))
    if percent < arguments.floor:
        print(f"{percent:.1f} % of the core, less than {arguments.floor:g} %")
    return 1 if failed or missing or percent < arguments.floor else 0


if __name__ == "__main__":
    sys.exit(main())
