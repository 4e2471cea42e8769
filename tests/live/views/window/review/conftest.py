"""One replay for the tests of a module that only look at it."""

from __future__ import annotations

import pytest

from tests.leftovers import kept
from tests.standins.feeds import written
from tests.standins.replayed import LENGTH_S, events, replayed


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """A capture that is only looked at."""
    return written(tmp_path_factory.mktemp("x") / "c.sqlite", events(), end_s=LENGTH_S)


@pytest.fixture(scope="module")
def common(path):
    """A window that each test finds as if it had been opened for it alone."""
    with replayed(path) as window, kept(window):
        yield window
