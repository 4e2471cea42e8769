"""What holds for every test: no screen, no leftovers."""

from __future__ import annotations

import logging
import os
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from tests.lacking import module_or_skip

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

_CACHE = tempfile.TemporaryDirectory(prefix="sidebeat-test-cache-")
os.environ["SIDEBEAT_CACHE_DIR"] = _CACHE.name  # never the user's own; processes inherit it

# A deadline per example would judge how busy the machine is; the timeout of a test stays.
settings.register_profile("suite", deadline=None)
settings.load_profile("suite")


def pytest_pycollect_makemodule(
    module_path: Path, parent: pytest.Collector
) -> pytest.Module | None:
    """Skip a test module, by name and with the reason, whose packages are not installed."""
    return module_or_skip(module_path, parent)


class _Complaints(logging.Handler):
    """Keeps what asyncio says of tasks that were lost or failed unseen."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.said.append(record.getMessage())


@pytest.fixture(autouse=True)
def no_leftovers() -> Iterator[None]:
    """Fail a test that leaves a thread running, a task pending or its exception unseen."""
    before = set(threading.enumerate())
    complaints = _Complaints()
    logger = logging.getLogger("asyncio")
    logger.addHandler(complaints)
    yield
    logger.removeHandler(complaints)
    left = [
        thread
        for thread in threading.enumerate()
        if thread not in before and not thread.daemon and thread.is_alive()
    ]
    for thread in left:  # one that is just ending may do so
        thread.join(timeout=5)
    assert [thread.name for thread in left if thread.is_alive()] == []
    assert complaints.said == []
