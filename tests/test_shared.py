"""What the processes of a run leave each other is made once, and whole or not at all."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest

from tests.standins.shared import FOLDER_VARIABLE, made_once


@pytest.fixture(autouse=True)
def _own_folder(monkeypatch, tmp_path):
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    monkeypatch.setenv("PYTEST_XDIST_WORKER", "gw0")


def test_many_who_ask_at_once_get_what_one_made():
    """Whoever asks first makes it, and the others wait for it."""
    made, begun = [], Barrier(4)

    def make() -> bytes:
        made.append(1)
        return b"whole"

    def ask(_: int) -> bytes:
        begun.wait(10)
        return made_once("test-shared", make)

    with ThreadPoolExecutor(4) as asking:
        assert list(asking.map(ask, range(4))) == [b"whole"] * 4
    assert len(made) == 1


def test_what_was_not_finished_is_made_again():
    """Who fails while making leaves nothing that another would take for it."""

    def fail() -> bytes:
        raise ValueError("half made")

    with pytest.raises(ValueError, match="half made"):
        made_once("test-shared", fail)
    assert made_once("test-shared", lambda: b"whole") == b"whole"


def test_alone_each_makes_its_own(monkeypatch):
    """Without other processes nothing is kept: a fork may have a fault put into its code."""
    monkeypatch.delenv("PYTEST_XDIST_WORKER")
    assert [made_once("test-shared", lambda n=n: n) for n in (b"1", b"2")] == [b"1", b"2"]
