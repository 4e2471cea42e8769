"""What holds for every test: no screen, no leftovers."""

from __future__ import annotations

import gc
import importlib
import os
import signal
import sys
import tempfile
import time
import unicodedata
from contextlib import suppress
from itertools import islice, pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings, strategies

from live.__main__ import BLAS_THREADS
from tests import in_memory
from tests.lacking import module_or_skip
from tests.leftovers import (  # noqa: F401 - fixtures, found here by their names
    no_leftovers,
    no_lower_priority,
    no_windows,
)
from tests.standins.shared import FOLDER_VARIABLE

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

if (_PLACE := in_memory.place()) is not None:  # and for all processes that are begun from here
    os.environ["TMPDIR"], tempfile.tempdir = _PLACE.name, None

# As the program does for itself, before numpy is loaded: a second thread for small matrices would
# only wait busily, and all cores have work.
os.environ.setdefault(BLAS_THREADS, "1")

_CACHE = tempfile.TemporaryDirectory(prefix="sidebeat-test-cache-")
os.environ["SIDEBEAT_CONFIG_DIR"] = str(Path(_CACHE.name) / "config")  # never the user's own
os.environ["SIDEBEAT_LOG_DIR"] = str(Path(_CACHE.name) / "log")
# Here the processes of one run leave each other what is dear to make: of the one that begins it.
os.environ.setdefault(FOLDER_VARIABLE, _CACHE.name)
# So with records of captures: as users' processes share one cache, and as quick to find them there.
os.environ["SIDEBEAT_CACHE_DIR"] = os.environ[FOLDER_VARIABLE]

# Whoever forbids it pays for it hundreds of times: each process that a test starts would compile
# all that it imports, and each worker rewrite every assertion.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # What a shell runs in the background ignores interrupts, and its children would with it.
    signal.signal(signal.SIGINT, signal.default_int_handler)

if "PYTEST_XDIST_WORKER" in os.environ:
    # What Hypothesis finds in our modules, and its tables of Unicode, which take 2 s, are common to
    # all workers, with what earlier runs found.  Two that make a table at once would find each
    # other's half of it: see pytest_collection_finish.
    _OWN = Path(_CACHE.name) / "hypothesis"
    _OWN.mkdir()
    _KEPT = Path(__file__).resolve().parent.parent / ".hypothesis"
    with suppress(OSError):
        for name in ("constants", "unicode_data", "tmp"):
            (_KEPT / name).mkdir(parents=True, exist_ok=True)
            (_OWN / name).symlink_to(_KEPT / name, target_is_directory=True)
    os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = str(_OWN)

# Until the tests are found nothing is looked for, and then not after each 700 objects that are new
# but after each ten thousand: modules and tests are half a million objects that stay, and all
# searches for cycles among them would take more than a tenth of the processor time of the suite.
gc.disable()
gc.set_threshold(10_000, 10, 10)

# A deadline per example would judge how busy the machine is; the timeout of a test stays.  The
# suite draws the same examples each time, half as many as is usual: where `make mutants` was run
# with both, three small faults needed the other half, and have more examples or a test of their own
# now.  New ones: pytest --hypothesis-profile=explore
settings.register_profile("suite", deadline=None, derandomize=True, database=None, max_examples=50)
settings.register_profile("explore", deadline=None, max_examples=2_000)
settings.load_profile("suite")


_COLLECTED = Path(os.environ[FOLDER_VARIABLE]) / "collected"
"""Written once the first worker has read all tests."""
READ_WITHIN_S = 300.0


_HERE = Path(__file__).resolve().parent


def _is_rewritten(path: Path) -> bool:
    """Whether a test module is kept as an earlier run, or another worker, has rewritten it."""
    return any((path.parent / "__pycache__").glob(f"{path.stem}.*-pytest-*.pyc"))


def _read_from_the_end(paths: list[Path]) -> None:
    """Meet halfway who reads test modules from the first one on."""
    for path in reversed(paths):
        if _is_rewritten(path):
            return
        name = ".".join(path.relative_to(_HERE.parent).with_suffix("").parts)
        # What is wrong with a module is told once it is collected.
        with suppress(Exception, pytest.skip.Exception):
            importlib.import_module(name)


@pytest.hookimpl(tryfirst=True)
def pytest_collection() -> None:
    """In a tree in which no tests were run before, let two workers read them, one from each end.

    It takes twice as long to rewrite the assertions of all modules as to read them rewritten, and
    workers that begin together would each do it.
    """
    worker = os.environ.get("PYTEST_XDIST_WORKER", "gw0")
    paths = sorted(_HERE.rglob("test_*.py"))
    if worker == "gw0" or sum(map(_is_rewritten, paths)) > len(paths) / 2:
        return
    if worker == "gw1":
        _read_from_the_end(paths)
        return
    give_up = time.monotonic() + READ_WITHIN_S
    while not _COLLECTED.exists() and time.monotonic() < give_up:
        time.sleep(0.1)


def pytest_pycollect_makemodule(
    module_path: Path, parent: pytest.Collector
) -> pytest.Module | None:
    """Skip a test module, by name and with the reason, whose packages are not installed."""
    return module_or_skip(module_path, parent)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_finish() -> None:
    """Look for cycles only among what is made from here on: what was imported and found stays.

    The first worker makes Hypothesis's tables before that, if nobody has: no test is begun before
    all workers have found them.
    """
    if os.environ.get("PYTEST_XDIST_WORKER") == "gw0":
        _COLLECTED.touch()
        tables = _KEPT / "unicode_data" / unicodedata.unidata_version
        if len(list(tables.glob("*.gz"))) < 2:
            settings(max_examples=1, database=None)(given(strategies.text())(lambda _: None))()
    gc.freeze()
    gc.enable()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the modules of which a test may take longer than is usual: those wait.

    Of processes that share the list, each with an equal part to begin with, every second one has
    them in front: the others use the processors meanwhile, and nobody is waited for at the end.
    """
    by_module: dict[Path, list[pytest.Item]] = {}
    for one in items:
        by_module.setdefault(one.path, []).append(one)
    waits = {
        path
        for path, tests in by_module.items()
        if any(one.get_closest_marker("timeout") for one in tests)
    }
    parts = int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1"))
    # Neighbours stay together: they often ask for what only one process makes.
    waiting = iter(_shares([path for path in by_module if path in waits], (parts + 1) // 2))
    rest = iter([one for path, tests in by_module.items() if path not in waits for one in tests])
    ordered: list[pytest.Item] = []
    for part in range(parts):
        share = next(waiting) if part % 2 == 0 else []
        ordered += [one for path in share for one in by_module[path]]
        ordered += islice(rest, max((part + 1) * len(items) // parts - len(ordered), 0))
    items[:] = [*ordered, *rest]


def _shares(paths: list[Path], count: int) -> list[list[Path]]:
    """So many runs of neighbours, as equal as may be."""
    ends = [len(paths) * part // count for part in range(count + 1)]
    return [paths[begin:end] for begin, end in pairwise(ends)]
