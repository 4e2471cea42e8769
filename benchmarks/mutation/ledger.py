"""What is known of faults: who survived and why, kept in the tree; who was run, kept beside it.

``benchmarks/survivors.toml`` has a section for each module that faults are put into: which tests
are run besides the module's own, and each drawn fault that none of them notices, with the reason
why that is right.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Any

from benchmarks.mutation.faults import ROOT
from benchmarks.mutation.forks import Measurements

SURVIVORS = ROOT / "benchmarks" / "survivors.toml"
RUNS = ROOT / "build" / "mutants.jsonl"


@dataclass(frozen=True)
class Section:
    """One module: its path, its tests (``file`` or ``file::text that the test's name holds``), and
    by the name of a fault why no test notices it.  ``is_held``: whether every survivor has to have
    its reason already; others are run where they are asked for.
    """

    path: str
    tests: tuple[str, ...]
    survivors: dict[str, str]
    is_held: bool = True

    @property
    def files(self) -> list[str]:
        """The files of its tests, each once."""
        return list(dict.fromkeys(test.partition("::")[0] for test in self.tests))

    @property
    def digest(self) -> str:
        """Of its tests, and of what stands in for the world around them."""
        return digest([*self.files, *standins()])

    def measurements(self, modules: list[str], longest_s: float) -> Measurements:
        """What its tests are known to take, with marks in these modules."""
        around = digest([*modules, *standins()])
        name = self.path.removesuffix(".py").replace("/", "-")
        return Measurements(
            RUNS.with_name(f"measured-{name}"), lambda file: around + digest([file]), longest_s
        )

    def first(self, nodeids: Iterable[str]) -> frozenset[str]:
        """Those of these tests that the section names by a text of theirs."""
        named = [test.partition("::") for test in self.tests if "::" in test]
        return frozenset(
            one
            for one in nodeids
            if any(one.startswith(file) and text in one for file, _, text in named)
        )

    def holds(self, nodeid: str) -> bool:
        """Whether this test is one of the module's."""
        return any(
            nodeid.startswith(f"{name}::") and text in nodeid
            for name, _, text in (test.partition("::") for test in self.tests)
        )


def sections() -> list[Section]:
    """Those of the file, in its order; a folder is that of :mod:`benchmarks.moved_thresholds`."""
    read: dict[str, Any] = tomllib.loads(SURVIVORS.read_text(encoding="utf-8"))
    return [
        Section(
            path,
            tuple(dict.fromkeys([*_own(path), *section.get("tests", ())])),
            {one["fault"]: one["why"] for one in section.get("survivor", ())},
            section.get("held", True),
        )
        for path, section in read.items()
    ]


def _own(path: str) -> list[str]:
    """The test files that mirror a module."""
    module = Path(path)
    room = Path("tests") / Path(*[part for part in module.parent.parts if part != "rules"])
    names = (f"test_{module.stem}.py", f"test_rule_{module.stem}.py")
    return [(room / name).as_posix() for name in names if (ROOT / room / name).is_file()]


def told(path: str, name: str) -> str:
    """A fault as the file has it, with the reason left open."""
    quoted = json.dumps(name, ensure_ascii=False)
    return f'[["{path}".survivor]]\nfault = {quoted}\nwhy = ""\n'


@dataclass(frozen=True)
class Run:
    """A fault was put to tests: ``by`` the one that noticed it, or nobody.

    ``module``, ``tests``: digests of what was run.
    """

    path: str
    name: str
    by: str
    module: str
    tests: str


class Runs:
    """The runs so far, each written down when it ends, so that they go on where they stopped."""

    def __init__(self, *, afresh: bool) -> None:
        RUNS.parent.mkdir(exist_ok=True)
        if afresh:
            RUNS.unlink(missing_ok=True)
        self._last: dict[tuple[str, str], Run] = {}
        self.read()

    def read(self) -> None:
        """Read what was written, by whichever process."""
        lines = RUNS.read_text(encoding="utf-8").splitlines() if RUNS.exists() else []
        for run in (Run(**json.loads(line)) for line in lines):
            self._last[run.path, run.name] = run

    def known(self, path: str, name: str, module: str, tests: str) -> Run | None:
        """The last run of a fault, if the module is the same and, where nobody noticed, the tests.

        A test that has noticed a fault is believed to go on doing so, until ``--afresh``.
        """
        run = self._last.get((path, name))
        if run is None or run.module != module or not (run.by or run.tests == tests):
            return None
        return run

    def note(self, run: Run) -> None:
        """Keep a run."""
        self._last[run.path, run.name] = run
        with RUNS.open("a", encoding="utf-8") as file:
            file.write(json.dumps(asdict(run), ensure_ascii=False) + "\n")


def standins() -> list[str]:
    """The modules that stand in for sensors, buses and sessions in tests."""
    found = sorted((ROOT / "tests" / "standins").rglob("*.py"))
    return [path.relative_to(ROOT).as_posix() for path in found]


@cache
def digest_of(path: str) -> str:
    """Of the contents of a file of the tree, as it is when it is asked for first."""
    return hashlib.sha256((ROOT / path).read_bytes()).hexdigest()


def digest(paths: list[str]) -> str:
    """Of the contents of files of the tree."""
    return hashlib.sha256("".join(digest_of(path) for path in paths).encode()).hexdigest()[:16]


def compared(section: Section, done: dict[str, Run | None]) -> tuple[str, list[str]]:
    """One line of figures, and lines of what is wrong with what the section says of survivors.

    ``done``: the run of each fault, by its name.
    """
    survivors = {name for name, run in done.items() if run is not None and not run.by}
    unknown = survivors - section.survivors.keys()
    wrong = [told(section.path, name) for name in done if name in unknown]
    for name in section.survivors:
        if name not in survivors:
            run = done.get(name)
            why = f"noticed by {run.by}" if run is not None else "it is not drawn"
            wrong.append(f"{section.path}: not to be explained any more, {why}: {name}")
    noticed = len(done) - len(survivors)
    figures = f"{len(survivors) - len(unknown)} explained, {len(unknown)} open"
    return f"{section.path}: {noticed} of {len(done)} noticed, {figures}", wrong
