"""What two checkouts print of the same captures, and every difference between the two.

Run ``python -m benchmarks.same_numbers OTHER`` from one checkout, with the path of another one (a
git worktree at an older commit, say).  ``analyse``, ``replay``, ``check``, ``report`` and
``export`` are run in both with ``--json`` over the demo captures of the first, and ``import`` over
an activity file made here; each with a cache of its own.  A change that should not move a number
shows no difference here; one that should shows which it moves.  Each command is told as soon as it
has run in both; ``--only`` names some of them, ``--by-key`` says of each key how many of its values
differ and the first of them.  Numbers that agree to nine digits are the same.  The exit status is 1
if any differ.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

from replay.capture import Capture
from replay.demo_files import demo_captures
from replay.event import HEART_RATE, NS_PER_S
from replay.payloads import decode_heart_rate

ROOT: Final = Path(__file__).resolve().parent.parent
ALLOWED: Final = frozenset({"reported_with"})
"""Keys that name the program itself."""


def runs_of(capture: Path, folder: Path) -> dict[str, list[str]]:
    """The commands by name; what they write goes into ``folder``."""
    return {
        "analyse": ["analyse", str(capture), "--json"],
        "replay": ["replay", str(capture), "--json"],
        "check": ["check", str(capture), "--json"],
        "report": ["report", str(capture), "--out", str(folder / "page.html"), "--no-figures",
                   "--json"],
        "export": ["export", str(capture), "--out", str(folder / "tables"), "--format", "json",
                   "--json"],
    }  # fmt: skip


def run(checkout: Path, arguments: list[str], cache: Path) -> object:
    """The JSON that a command of a checkout prints; its error text if it prints none."""
    done = subprocess.run(
        [sys.executable, "-m", "live", *arguments],
        cwd=checkout,
        env=os.environ | {"SIDEBEAT_CACHE_DIR": str(cache)},
        capture_output=True,
        text=True,
        check=False,
    )
    return json.loads(done.stdout) if done.stdout else done.stderr


def differences(one: object, other: object, where: str = "") -> Iterator[str]:
    """Every place at which two JSON values differ."""
    if isinstance(one, dict) and isinstance(other, dict):
        for key in {**one, **other}:
            if key in ALLOWED:
                continue
            place = f"{where}/{key}"
            if key not in one or key not in other:
                yield f"{place}: only in the {'second' if key not in one else 'first'}"
            else:
                yield from differences(one[key], other[key], place)
    elif isinstance(one, list) and isinstance(other, list):
        if len(one) != len(other):
            yield f"{where}: {len(one)} and {len(other)} entries"
        for at, (left, right) in enumerate(zip(one, other, strict=False)):
            yield from differences(left, right, f"{where}/{at}")
    elif isinstance(one, float) and isinstance(other, float):
        if not math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-12):
            yield f"{where}: {one!r} and {other!r}"
    elif one != other or type(one) is not type(other):
        yield f"{where}: {one!r} and {other!r}"


def file_beside(capture: Path) -> str:
    """A table as a watch would have written it: the reference's values 2 s late, once a second."""
    with Capture.open(capture) as opened:
        started = datetime.fromtimestamp(opened.started_utc_ns // NS_PER_S, UTC)
        beats = {
            event.t_ns // NS_PER_S + 2: decode_heart_rate(event.payload).bpm
            for event in opened.events()
            if (event.sensor, event.channel) == (opened.plan.reference, HEART_RATE)
        }
    rows = (
        f"{started + timedelta(seconds=s):%Y-%m-%dT%H:%M:%SZ},{b:.0f}" for s, b in beats.items()
    )
    return "time,bpm\n" + "\n".join(rows) + "\n"


def all_runs(folder: Path) -> Iterator[tuple[str, list[str]]]:
    """Every command with its arguments, by name."""
    for capture in demo_captures():
        for name, arguments in runs_of(capture, folder / "out" / capture.stem).items():
            yield f"{capture.stem[:10]} {name}", arguments
    made = folder / "watch.csv"
    made.write_text(file_beside(demo_captures()[0]), encoding="utf-8")
    yield "import", ["import", str(made), "--into", str(demo_captures()[0]),
                     "--out", str(folder / "into"), "--label", "Clover", "--json"]  # fmt: skip


def outcome(checkout: Path, arguments: list[str], folder: Path, cache: Path) -> dict[str, object]:
    """What a command of a checkout prints, and the JSON that it writes below ``folder``."""
    printed = run(checkout, arguments, cache)
    written = {
        path.relative_to(folder).as_posix(): json.loads(path.read_text(encoding="utf-8"))
        for path in sorted((folder / "out").rglob("*.json"))
    }
    for name in ("out", "into"):  # the same paths for both, so that they are no difference
        shutil.rmtree(folder / name, ignore_errors=True)
    return {"printed": printed, "written": written}


def failures(told: dict[str, object], which: str) -> Iterator[str]:
    """Two commands that fail alike have not been compared."""
    if isinstance(told["printed"], str):
        yield f"/printed: no JSON in the {which}: {told['printed'].strip()}"


def by_key(several: Iterable[str]) -> Iterator[str]:
    """One line for each key: how often it differs, and the first time."""
    found: dict[str, list[str]] = {}
    for difference in several:
        where = difference.split(": ", 1)[0]
        names = [name for name in where.split("/") if name and not name.isdigit()]
        found.setdefault(names[-1] if names else where, []).append(difference)
    for key, same in sorted(found.items()):
        yield f"{key}: {len(same)}, as in {same[0][:200]}"


def main() -> int:
    """Compare, and print what differs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("other", type=Path, help="the other checkout")
    parser.add_argument("--only", default="", help="commands whose name holds this")
    parser.add_argument("--by-key", action="store_true", help="one line for each key")
    arguments = parser.parse_args()
    found = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "run"
        folder.mkdir()
        for what, command in all_runs(folder):
            if arguments.only not in what:
                continue
            one, other = (
                outcome(checkout, command, folder, Path(name) / f"cache{place}")
                for place, checkout in enumerate((arguments.other.resolve(), ROOT))
            )
            several = [
                *failures(one, "first"),
                *failures(other, "second"),
                *differences(one, other),
            ]
            found += len(several)
            print(f"{what}: {len(several) or 'no'} differences", flush=True)
            for line in by_key(several) if arguments.by_key else several:
                print(f"  {line}", flush=True)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
