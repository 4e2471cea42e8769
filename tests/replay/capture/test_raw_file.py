"""Raw bytes of files of gigabytes: holes cost nothing, and nothing else is left out."""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest

from replay.capture.raw_file import BLOCK, LONGEST_FILE, blocks, copy_file, held_raw

SPARSE = 60 * BLOCK


def with_holes(path: Path) -> dict[int, bytes]:
    """A file with bytes at few places: where, and which."""
    chance = random.Random(5)
    places = {at: chance.randbytes(5) for at in (0, 40 * BLOCK - 7, 41 * BLOCK + 3, SPARSE - 5)}
    with path.open("wb") as file:
        for at, some in places.items():
            file.seek(at)
            file.write(some)
    return places


def test_a_copy_is_the_same_and_takes_as_little_place(tmp_path: Path) -> None:
    """Where there are holes, the copy has them too."""
    source, target = tmp_path / "a", tmp_path / "b"
    with_holes(source)
    copy_file(source, target)
    assert target.read_bytes() == source.read_bytes()
    assert target.stat().st_blocks <= source.stat().st_blocks + 8


@pytest.mark.parametrize("tells", [True, False])
def test_blocks_hold_all_that_is_no_zero(tmp_path, monkeypatch, tells) -> None:
    """Also where the system does not tell where the holes are."""
    if not tells:
        monkeypatch.delattr(os, "SEEK_DATA", raising=False)
    places = with_holes(tmp_path / "a")
    with held_raw(tmp_path / "a") as data:
        found = list(blocks(data))
    assert all(any(first <= at and at + 5 <= after for first, after in found) for at in places)
    assert sum(after - first for first, after in found) <= 8 * BLOCK


def test_bytes_in_memory_are_looked_through_as_a_file_is(tmp_path: Path) -> None:
    """The same blocks, in order, without a gap between those that are no zeros."""
    data = random.Random(6).randbytes(2 * BLOCK + 17)
    (tmp_path / "a").write_bytes(data)
    with held_raw(tmp_path / "a") as raw:
        assert list(blocks(raw)) == list(blocks(data))
    assert b"".join(data[first:after] for first, after in blocks(data)) == data


def test_what_is_empty_or_missing_has_no_bytes(tmp_path: Path) -> None:
    """There is nothing to be mapped."""
    (tmp_path / "a").touch()
    for path in (None, tmp_path / "a"):
        with held_raw(path) as data:
            assert list(blocks(data)) == []


def test_what_no_capture_is_is_not_copied(tmp_path: Path) -> None:
    """A folder, a pipe, a device, and a file that is too long."""
    os.mkfifo(tmp_path / "pipe")
    with (tmp_path / "long").open("wb") as file:
        file.truncate(LONGEST_FILE + 1)
    for source in (tmp_path, tmp_path / "pipe", Path("/dev/zero"), tmp_path / "long"):
        with pytest.raises(OSError, match=r"no file|more than 2 GB"):
            copy_file(source, tmp_path / "target")
