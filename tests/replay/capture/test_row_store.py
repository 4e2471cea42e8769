"""Rows of a large damaged capture: on the disk, and a disk without room for them."""

from __future__ import annotations

import sys
import tracemalloc
from pathlib import Path

import pytest

from replay.capture.row_store import RowStore
from replay.capture.schema import Row
from replay.errors import DiskError
from replay.event import Stamp

ENDLESS = "WITH RECURSIVE n(x) AS (VALUES(1) UNION ALL SELECT x + 1 FROM n) SELECT "
ROOT = Path(__file__).resolve().parents[3]


def test_rows_of_a_large_capture_are_kept_on_the_disk() -> None:
    """Their number costs no memory, and the first with a number is the one that is kept."""
    made = (Row(n, n, 1, 1, b"\0=", Stamp(n, "node", None)) for n in range(20_000, 0, -1))
    tracemalloc.start()
    store = RowStore(made)
    store.add(Row(7, 0, 1, 1, b""))
    numbers = [row.seq for row in store.in_order() if row.seq % 1000 == 0]
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert numbers == list(range(1000, 20_001, 1000))
    assert (len(store), store.last, list(store.holes())) == (20_000, 20_000, [])
    assert store.get(7) == Row(7, 7, 1, 1, b"\0=", Stamp(7, "node", None))
    assert (store.get(20_001), 7 in store, 0 in store) == (None, True, False)
    assert most < 4_000_000


@pytest.mark.skipif(sys.platform == "win32", reason="needs limits of POSIX")
def test_no_room_for_the_rows_is_no_damage() -> None:
    """It is the disk's fault, and not taken for an error of the capture that is read."""
    import resource

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, before[1]))
    try:
        with pytest.raises(DiskError, match="there is no room for what is whole in the capture"):
            RowStore(Row(n, n, 1, 1, bytes(60_000)) for n in range(1, 1000))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
