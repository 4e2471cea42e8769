"""What holds for every test: no screen, no leftovers."""

from __future__ import annotations

import gc
import os
import signal
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings

from tests.lacking import module_or_skip
from tests.leftovers import (  # noqa: F401 - fixtures, found here by their names
    no_leftovers,
    no_lower_priority,
    no_windows,
)

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

_CACHE = tempfile.TemporaryDirectory(prefix="sidebeat-test-cache-")
os.environ["SIDEBEAT_CACHE_DIR"] = _CACHE.name  # never the user's own; processes inherit it
os.environ["SIDEBEAT_CONFIG_DIR"] = str(Path(_CACHE.name) / "config")
os.environ["SIDEBEAT_LOG_DIR"] = str(Path(_CACHE.name) / "log")

# Whoever forbids it pays for it hundreds of times: each process that a test starts would compile
# all that it imports, and each worker rewrite every assertion.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # What a shell runs in the background ignores interrupts, and its children would with it.
    signal.signal(signal.SIGINT, signal.default_int_handler)

if "PYTEST_XDIST_WORKER" in os.environ:
    # Two workers that make the table of Unicode's categories at once find each other's half of it.
    os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = str(Path(_CACHE.name) / "hypothesis")

# Look for cycles after each ten thousand objects that are new, not after each 700.  All searches in
# the end go through the half million objects of modules and tests: as often as is usual, they take
# a tenth of the processor time of the suite, and a sixth of the time in which tests are found.
gc.set_threshold(10_000, 10, 10)

# A deadline per example would judge how busy the machine is; the timeout of a test stays.  The
# suite draws the same examples each time; new ones: pytest --hypothesis-profile=explore
settings.register_profile("suite", deadline=None, derandomize=True, database=None)
settings.register_profile("explore", deadline=None, max_examples=2_000)
settings.load_profile("suite")


def pytest_pycollect_makemodule(
    module_path: Path, parent: pytest.Collector
) -> pytest.Module | None:
    """Skip a test module, by name and with the reason, whose packages are not installed."""
    return module_or_skip(module_path, parent)
