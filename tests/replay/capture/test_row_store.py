"""Rows of a large damaged capture: on the disk, and a disk without room for them."""

from __future__ import annotations

import random
import sys
import tracemalloc
from itertools import pairwise

import pytest

from replay.capture.row_packs import RowPacks
from replay.capture.row_store import RowStore
from replay.capture.schema import Row
from replay.errors import DiskError
from replay.event import Stamp


def test_rows_of_a_large_capture_are_kept_on_the_disk(monkeypatch) -> None:
    """Their number costs no memory, and the first with a number is the one that is kept."""
    monkeypatch.setattr("replay.capture.row_store._IN_MEMORY", 800)
    monkeypatch.setattr("replay.capture.row_packs._ROWS", 200)
    rows = (Row(n, n, 1, 1, b"\0=", Stamp(n, "node", None)) for n in range(5000, 0, -1))
    tracemalloc.start()
    store = RowStore(rows)
    store.add(Row(7, 0, 1, 1, b""))
    numbers = [row.seq for row in store.in_order() if row.seq % 1000 == 0]
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert numbers == list(range(1000, 5001, 1000))
    assert (len(store), store.last, list(store.holes())) == (5000, 5000, [])
    assert store.get(7) == Row(7, 7, 1, 1, b"\0=", Stamp(7, "node", None))
    assert (store.get(5001), 7 in store, 0 in store) == (None, True, False)
    assert most < 600_000  # as objects they take 1.1 MB


def made(seq: int, t_ns: int = 0) -> Row:
    return Row(seq, t_ns, 1, 1, bytes(4))


@pytest.mark.parametrize("seed", range(4))
def test_rows_that_come_in_any_order_are_kept_as_in_memory(monkeypatch, seed) -> None:
    """Runs, holes, rows between runs, and rows with numbers that are there: the first is kept."""
    monkeypatch.setattr("replay.capture.row_store._IN_MEMORY", 100)
    monkeypatch.setattr("replay.capture.row_packs._ROWS", 70)
    chance = random.Random(seed)
    store, expected = RowStore(), {}
    for time in range(30):
        begin = chance.choice((0, 1, 150, 151, 400, 1000, 2000, 2**63 - 200))
        numbers = range(begin, begin + chance.choice((1, 63, 64, 65, 150)))
        step = chance.choice((1, 1, 1, 2, 7))
        for seq in chance.sample(numbers[::step], len(numbers[::step])):
            store.add(made(seq, time))
            expected.setdefault(seq, made(seq, time))
        if chance.random() < 0.5:
            asked = chance.choice(list(expected))
            assert store.get(asked) == expected[asked]
    assert list(store.in_order()) == [expected[seq] for seq in sorted(expected)]
    assert (len(store), store.last) == (len(expected), max(expected))
    there = sorted({0, *expected})
    assert list(store.holes()) == [(a + 1, b) for a, b in pairwise(there) if b > a + 1]
    for seq in (0, 1, 70, 149, 150, 220, 300, 1064, 1065, 2**63 - 1):
        assert (seq in store, store.get(seq)) == (seq in expected, expected.get(seq))


def test_before_the_first_run_there_is_nothing() -> None:
    """No number is the last, none is there, and no run begins."""
    packs = RowPacks()
    assert (len(packs), packs.last, list(packs.runs)) == (0, 0, [])
    assert (1 in packs, packs.get(1), packs.rows_from(1)) == (False, None, ())


@pytest.mark.skipif(sys.platform == "win32", reason="needs limits of POSIX")
def test_no_room_for_the_rows_is_no_damage() -> None:
    """It is the disk's fault, and not taken for an error of the capture that is read."""
    import resource

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, before[1]))
    try:
        for step in 1, 2:  # in one run, or none
            with pytest.raises(DiskError, match="there is no room for what is whole in the captu"):
                RowStore(Row(step * n, n, 1, 1, bytes(60_000)) for n in range(1, 1000))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
