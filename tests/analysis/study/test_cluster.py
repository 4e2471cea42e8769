"""The work of a study on a Dask cluster: the same rows, and workers that die."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import sys
from contextlib import closing

import pytest

from analysis.session.provenance import computation_version
from analysis.study import cluster as module
from analysis.study import read_study
from analysis.study.folders import find_captures
from analysis.study.reading import read_rows
from replay.errors import SidebeatError
from tests.analysis.study.test_reading import session_events
from tests.standins.captures import write_capture
from tests.standins.dask_cluster import dask_cluster

NEEDS = ("distributed",)  # imported where it is used
pytestmark = pytest.mark.timeout(180)
SESSIONS = 5


@pytest.fixture(scope="module")
def captures(tmp_path_factory):
    """Short sessions, one of them with a damaged row and one cut in half."""
    folder = tmp_path_factory.mktemp("captures")
    for number in range(SESSIONS):
        write_capture(folder / f"{number}.sqlite", session_events(130))
    whole = (folder / "1.sqlite").read_bytes()
    (folder / "half.sqlite").write_bytes(whole[: len(whole) // 2])
    shutil.copyfile(folder / "1.sqlite", folder / "damaged.sqlite")
    with closing(sqlite3.connect(folder / "damaged.sqlite")) as other:
        for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
            other.execute(f"DROP TRIGGER {name}")
        other.execute("UPDATE event SET t_ns = t_ns + 1 WHERE seq = 100")
        other.commit()
    return folder


@pytest.fixture(scope="module")
def here(captures, tmp_path_factory):
    """What this machine alone reads of them."""
    with pytest.MonkeyPatch.context() as patch:
        fresh_cache(patch, tmp_path_factory.mktemp("cache"))
        return read_rows(find_captures([captures]).files, workers=1)


@pytest.fixture(scope="module")
def running():
    """A cluster of two worker processes."""
    with dask_cluster(2) as cluster:
        yield cluster


def fresh_cache(monkeypatch, folder):
    monkeypatch.setenv("SIDEBEAT_CACHE_DIR", str(folder))


def test_a_cluster_gives_the_same_rows_and_keeps_the_records(
    captures, here, running, tmp_path, monkeypatch
):
    """To the last digit, in the same order, with the same words about bad files; and the records
    lie in the cache of this machine.
    """
    files = find_captures([captures]).files
    fresh_cache(monkeypatch, tmp_path)
    heard = []
    there = read_rows(
        files, scheduler=running.address, told=lambda done, of: heard.append((done, of))
    )
    assert there == here
    assert len(there.rows) == SESSIONS
    assert {one.path for one in there.left_out} == {
        str(captures / name) for name in ("damaged.sqlite", "half.sqlite")
    }
    assert heard == [(n, len(files)) for n in range(1, len(files) + 1)]
    monkeypatch.setattr("distributed.Client", None)  # all is kept: nobody is asked
    assert read_rows(files[:SESSIONS], scheduler=running.address).rows == here.rows


def test_workers_that_would_compute_otherwise_are_refused(captures, running, tmp_path, monkeypatch):
    """A cluster with another version of the computation gives no numbers at all."""
    fresh_cache(monkeypatch, tmp_path)
    assert computation_version() != "another"
    monkeypatch.setattr("analysis.session.provenance.computation_version", lambda: "another")
    with pytest.raises(SidebeatError, match="2 of its 2 workers compute with another version"):
        read_study(captures, scheduler=running.address)
    from distributed import Client

    with Client(running.address, set_as_default=False) as client:
        assert len(client.scheduler_info()["workers"]) == 2


def test_where_no_scheduler_is_a_sentence_says_so(captures, tmp_path, monkeypatch):
    """A wrong address, and a missing package, are each one sentence."""
    fresh_cache(monkeypatch, tmp_path)
    monkeypatch.setattr(module, "CONNECT_S", 0.5)
    with pytest.raises(SidebeatError, match=r"tcp://127\.0\.0\.1:1: no Dask scheduler answers"):
        read_study(captures, scheduler="tcp://127.0.0.1:1")
    with pytest.raises(SidebeatError, match="nonsense: no Dask scheduler answers there"):
        read_study(captures, scheduler="nonsense")
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(SidebeatError, match="needs the package distributed"):
        read_study(captures, scheduler="tcp://127.0.0.1:1")


@pytest.mark.skipif(sys.platform == "win32", reason="processes are killed otherwise there")
def test_a_killed_worker_costs_no_session(captures, here, running, tmp_path, monkeypatch):
    """What the dead worker had is computed by the other one, and nothing is counted twice."""
    files = find_captures([captures]).files
    fresh_cache(monkeypatch, tmp_path)
    killed = []

    def told(done, of):
        if not killed and done > 1:
            killed.append(running.workers[0])
            os.kill(running.workers[0], signal.SIGKILL)

    there = read_rows(files, scheduler=running.address, told=told)
    assert killed
    assert there == here
