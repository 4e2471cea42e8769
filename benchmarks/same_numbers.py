"""What two checkouts print of the same captures, and every difference between the two.

Run ``python -m benchmarks.same_numbers OTHER`` from one checkout, with the path of another one (a
git worktree at an older commit, say).  ``analyse``, ``replay``, ``check``, ``report`` and
``export`` are run in both with ``--json`` over the demo captures of the first, and ``import`` over
an activity file made here; each with a cache of its own.  A change that should not move a number
shows no difference here; one that should shows which it moves.  The exit status is 1 if any differ.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from replay.demo_files import demo_captures

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
    elif one != other or type(one) is not type(other):
        yield f"{where}: {one!r} and {other!r}"


def outputs(checkout: Path, folder: Path) -> Iterator[tuple[str, object]]:
    """What each command prints and writes, by name."""
    for capture in demo_captures():
        # The same paths for both, so that they do not count as differences.
        out = folder / "out"
        for name, arguments in runs_of(capture, out).items():
            yield f"{capture.stem[:10]} {name}", run(checkout, arguments, folder / "cache")
        for path in sorted((out / "tables").glob("*.json")):
            yield f"{capture.stem[:10]} {path.name}", json.loads(path.read_text(encoding="utf-8"))
        out.rename(folder / f"out-{capture.stem[:10]}-{len(list(folder.iterdir()))}")
    made = folder / "watch.csv"
    lines = (
        f"2026-03-04T07:{15 + s // 60:02}:{s % 60:02}Z,{110 + s // 7 % 40}" for s in range(900)
    )
    made.write_text("time,bpm\n" + "\n".join(lines) + "\n", encoding="utf-8")
    told = run(
        checkout,
        ["import", str(made), "--into", str(demo_captures()[0]), "--out", str(folder / "into"),
         "--label", "Clover", "--json"],
        folder / "cache",
    )  # fmt: skip
    yield "import", told


def main() -> int:
    """Compare, and print what differs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("other", type=Path, help="the other checkout")
    arguments = parser.parse_args()
    found = 0
    with tempfile.TemporaryDirectory() as name:
        told = []
        for checkout in (arguments.other.resolve(), ROOT):
            folder = Path(name) / "run"
            folder.mkdir()
            told.append(dict(outputs(checkout, folder)))
            folder.rename(Path(name) / f"done{len(told)}")
    for what in {**told[0], **told[1]}:
        several = list(differences(told[0].get(what), told[1].get(what)))
        found += len(several)
        print(f"{what}: {len(several) or 'no'} differences")
        for one in several:
            print(f"  {one}")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
