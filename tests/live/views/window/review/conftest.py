"""One replay for the tests of a module that only look at it."""

from __future__ import annotations

import pytest

# What opens windows is read when a test asks: this file is read, unlike the tests beside it, also
# where no window can be.


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """A capture that is only looked at."""
    from tests.standins.feeds import written
    from tests.standins.replayed import LENGTH_S, events

    return written(tmp_path_factory.mktemp("x") / "c.sqlite", events(), end_s=LENGTH_S)


@pytest.fixture(scope="module")
def common(path):
    """A window that each test finds as if it had been opened for it alone."""
    from tests.leftovers import kept
    from tests.standins.replayed import replayed

    with replayed(path) as window, kept(window):
        yield window
