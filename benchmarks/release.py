"""What is handed to users: the wheel, what it was tried with, and a list of its parts.

Run ``make wheel``.  Beside the wheel in ``dist/`` stand ``constraints.txt`` (the exact versions
of everything that ``sidebeat[all]`` brings here, for ``pip install -c``) and ``sbom.json`` (the
same as a CycloneDX 1.5 bill of materials, with licences).  Neither names a host.  With ``--try``
the wheel is installed into a new environment with these versions, and the demo is played in an
empty folder, without this tree.
"""

from __future__ import annotations

import argparse
import importlib.metadata
import json
import re
import subprocess
import sys
import tempfile
import venv
from collections.abc import Iterable
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parent.parent
OURS = "sidebeat"


def plain(name: str) -> str:
    """A distribution's name as indexes compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def parts(extras: Iterable[str] = ("all",)) -> dict[str, importlib.metadata.Distribution]:
    """All that this program and these extras need here, by name; without the program itself."""
    found: dict[str, importlib.metadata.Distribution] = {}
    waiting = [(OURS, frozenset(extras))]
    seen = set()
    while waiting:
        name, wanted = waiting.pop()
        if (name, wanted) in seen:
            continue
        seen.add((name, wanted))
        one = importlib.metadata.distribution(name)
        if name != OURS:
            found[name] = one
        for line in one.requires or ():
            needed = Requirement(line)
            marker = needed.marker
            if marker is None or any(marker.evaluate({"extra": e}) for e in ("", *wanted)):
                waiting.append((plain(needed.name), frozenset(needed.extras)))
    found.pop(OURS, None)
    return dict(sorted(found.items()))


def constraints(found: dict[str, importlib.metadata.Distribution]) -> str:
    """One line for each part: its name and exact version."""
    return "".join(f"{name}=={one.version}\n" for name, one in found.items())


def bill(found: dict[str, importlib.metadata.Distribution]) -> dict[str, object]:
    """The parts as CycloneDX 1.5."""
    version = importlib.metadata.version(OURS)
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "version": 1,
        "metadata": {
            "component": {
                "type": "application",
                "name": OURS,
                "version": version,
                "bom-ref": f"pkg:pypi/{OURS}@{version}",
            }
        },
        "components": [
            {
                "type": "library",
                "name": name,
                "version": one.version,
                "purl": f"pkg:pypi/{name}@{one.version}",
                "bom-ref": f"pkg:pypi/{name}@{one.version}",
                "licenses": [{"license": {"name": _licence(one)}}],
            }
            for name, one in found.items()
        ],
    }


def _licence(one: importlib.metadata.Distribution) -> str:
    """In the words of the part itself, as short as it has them."""
    told = one.metadata
    if expression := told.get("License-Expression"):
        return str(expression)
    classified = [
        line.rsplit("::", 1)[-1].strip()
        for line in told.get_all("Classifier") or ()
        if line.startswith("License ::")
    ]
    if classified:
        return " and ".join(classified)
    lines = (told.get("License") or "").strip().splitlines()
    return lines[0] if lines else "not stated"


def build(folder: Path) -> Path:
    """Build the wheel and write the two lists beside it; returns the wheel's path."""
    for old in folder.glob(f"{OURS}-*.whl"):
        old.unlink()
    _run(sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(folder), str(ROOT))
    (wheel,) = folder.glob(f"{OURS}-*.whl")
    found = parts()
    (folder / "constraints.txt").write_text(constraints(found), encoding="utf-8")
    (folder / "sbom.json").write_text(json.dumps(bill(found), indent=2) + "\n", encoding="utf-8")
    return wheel


def tried(wheel: Path) -> str:
    """Install the wheel into a new environment and play the demo elsewhere; its last lines."""
    with tempfile.TemporaryDirectory(prefix="sidebeat-") as name:
        folder = Path(name)
        venv.create(folder / "env", with_pip=True)
        scripts = folder / "env" / ("Scripts" if sys.platform == "win32" else "bin")
        limits = wheel.with_name("constraints.txt")
        _run(str(scripts / "python"), "-m", "pip", "install", "-q", "-c", str(limits), str(wheel))
        work = folder / "empty"
        work.mkdir()
        command = [str(scripts / OURS), "demo", "--view", "none", "--speed", "max"]
        done = subprocess.run(command, cwd=work, check=True, capture_output=True, text=True)
        return "\n".join(done.stdout.splitlines()[-8:])


def _run(*command: str) -> None:
    subprocess.run(command, check=True)


def main() -> int:
    """Build, list, and try if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=ROOT / "dist")
    parser.add_argument("--try", dest="is_tried", action="store_true", help="install and play it")
    arguments = parser.parse_args()
    arguments.out.mkdir(exist_ok=True)
    wheel = build(arguments.out)
    print(f"{wheel}\n{wheel.with_name('constraints.txt')}\n{wheel.with_name('sbom.json')}")
    if arguments.is_tried:
        print(tried(wheel))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
