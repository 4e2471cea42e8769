"""The proof over nodes: it finds what is missing, and a short run of it is whole."""

from __future__ import annotations

import asyncio
from contextlib import closing
from dataclasses import replace

import pytest

from benchmarks import nodes
from benchmarks.nodes import compared, plan_at, proof
from live.sources.node.wire import clock_name
from replay.capture import Capture
from replay.event import HEART_RATE, NS_PER_S, Event, Stamp
from tests.standins.feeds import written


def two_ends(folder, heard, offset_ns=7):
    """A node's own capture of ten seconds, and one here that holds the seconds ``heard`` of it."""
    plan = plan_at(1883, ("attic",), 1)
    own = [Event(s * NS_PER_S, 1, HEART_RATE, bytes([0, 60 + s])) for s in range(10)]
    theirs = written(
        folder / "attic.sqlite", own, end_s=10,
        plan=replace(plan, sensors=(replace(plan.sensors[0], label="x"),)),
    )  # fmt: skip
    with closing(Capture.open(theirs)) as capture:
        clock = clock_name("attic", capture.uuid.replace("-", "")[:16])
    events = [
        Event(
            own[s].t_ns + 1000, 2, HEART_RATE, own[s].payload, Stamp(own[s].t_ns, clock, offset_ns)
        )
        for s in heard
    ]
    here = written(folder / "here.sqlite", events, plan=plan, end_s=10)
    (found,) = compared(here, {"attic": theirs})
    return found


def test_both_ends_are_equal_from_the_first_to_the_last(tmp_path):
    """What was heard before the recording and after its last is not counted against it."""
    found = two_ends(tmp_path, range(2, 9))
    assert found.is_whole
    assert (found.here.count, found.late) == (7, 0)


@pytest.mark.parametrize(
    "heard", [(2, 3, 5, 6), (2, 3, 3, 4), (), range(10, 10)], ids=["lost", "doubled", "none", "no"]
)
def test_what_is_lost_or_doubled_is_found(heard, tmp_path):
    """One less or one more, and nothing at all, is not whole."""
    assert not two_ends(tmp_path, heard).is_whole


def test_what_stopped_long_before_the_end_is_found(tmp_path, monkeypatch):
    """A node that was equal up to a moment, and then was heard no more."""
    monkeypatch.setattr(nodes, "QUIET_S", 3.0)
    assert not two_ends(tmp_path, range(2, 6)).is_whole


@pytest.mark.timeout(200)
def test_a_short_run_is_whole(tmp_path, monkeypatch):
    """Two nodes with two sensors each as real programs, ways that are cut, a broker restart."""
    monkeypatch.setattr(nodes, "LONGEST_CUT_S", 2.0)
    monkeypatch.setattr(nodes, "QUIET_S", 5.0)
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        found, done, facts = runner.run(proof(tmp_path, 0.18, 3, ("attic", "hall"), 2))
    assert done["broker restarts"] == 1
    assert done["cuts"] >= 1
    assert [one.name for one in found] == ["attic", "hall"]
    assert all(one.is_whole for one in found), found
    assert len(facts["clocks"]) == 2
