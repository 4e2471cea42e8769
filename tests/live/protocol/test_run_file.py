"""What a view must know of a capture: read, or refused in a sentence."""

from __future__ import annotations

import os
import sys

import pytest

from live.protocol.run_file import NoCapture, read_run_file


@pytest.mark.parametrize("text", ["", "[]", "{}", "[" * 100_000, '{"port": ' + "9" * 5000 + "}"])
def test_what_is_no_run_file_is_said(tmp_path, text):
    """No error of another kind comes out of a file."""
    path = tmp_path / "1.json"
    path.write_text(text)
    with pytest.raises(NoCapture, match="is not a run file"):
        read_run_file(path)


@pytest.mark.skipif(sys.platform == "win32", reason="needs pipes")
def test_a_pipe_is_not_waited_for(tmp_path):
    """Nor is a folder read."""
    os.mkfifo(tmp_path / "1.json")
    for path in (tmp_path, tmp_path / "1.json"):
        with pytest.raises(NoCapture, match="is not a run file"):
            read_run_file(path)
