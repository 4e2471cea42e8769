"""A folder that cannot hold a running capture is refused before anything is recorded."""

from __future__ import annotations

import mmap
from pathlib import Path

import pytest

from live.capture.capture_file import no_shared_maps
from live.capture.process import run_capture
from live.setup.folder import look_at
from replay.errors import CaptureError
from tests.standins.captures import PLAN


def test_a_local_folder_is_taken(tmp_path: Path) -> None:
    """An ordinary folder passes, and nothing is left behind in it."""
    assert no_shared_maps(tmp_path) == ""
    assert list(tmp_path.iterdir()) == []


def test_a_folder_without_shared_maps_is_refused_before_the_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file system says ENODEV: one sentence names the way out, and no file is begun."""

    def no_map(*_: object, **__: object) -> mmap.mmap:
        raise OSError(19, "No such device")

    monkeypatch.setattr(mmap, "mmap", no_map)
    with pytest.raises(CaptureError, match="choose a local folder"):
        run_capture(PLAN, tmp_path, [])
    assert list(tmp_path.iterdir()) == []
    assert "choose a local folder" in look_at(tmp_path).problem
