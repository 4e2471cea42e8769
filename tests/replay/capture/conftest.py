"""A capture that tests spoil copies of."""

from __future__ import annotations

import pytest

from tests.standins.captures import session_events, write_capture


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A closed capture of some seconds."""
    path = tmp_path_factory.mktemp("sound") / "c.sqlite"
    write_capture(path, session_events(20))
    return path.read_bytes()
