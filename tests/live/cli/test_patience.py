"""What is said of a file whose reading takes long, and where it is ended from the keyboard."""

from __future__ import annotations

import importlib
import threading

import pytest

from live.cli import main as command_line
from live.cli import patience
from live.cli.main import INTERRUPTED
from live.cli.patience import patiently


@pytest.mark.parametrize(("watched", "tell"), [(True, True), (True, False), (False, True)])
def test_where_somebody_watches_a_long_reading_is_told(
    tmp_path, monkeypatch, capsys, watched, tell
):
    """Once, with the size; a script is told nothing, nor is who is shown how far it is."""
    path = tmp_path / "c.sqlite"
    path.write_bytes(bytes(2_600_000))
    monkeypatch.setattr(patience, "AFTER_S", 0.0)
    monkeypatch.setattr("sys.stderr.isatty", lambda: watched)
    with patiently(path, tell=tell):
        for thread in threading.enumerate():
            if isinstance(thread, threading.Timer):
                thread.join()
    said = f"sidebeat: {path} has 3 MB and is still being read; Ctrl-C ends it\n"
    assert capsys.readouterr().err == (said if watched and tell else "")


def test_what_is_read_soon_needs_no_word(tmp_path, monkeypatch, capsys):
    """Nor does a file that is not there."""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    with patiently(tmp_path / "none"):
        pass
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("name", ["analyse", "check", "export", "report"])
def test_an_interrupt_is_a_sentence_and_a_status(monkeypatch, capsys, name):
    """And the file is as it was."""

    def interrupted(_arguments):
        raise KeyboardInterrupt

    monkeypatch.setattr(importlib.import_module(f"live.cli.{name}"), "run", interrupted)
    options = ["--out", "x"] if name == "export" else []
    assert command_line.run([name, "x.sqlite", *options]) == INTERRUPTED
    told = capsys.readouterr()
    assert told.err == "sidebeat: ended before all of x.sqlite was read; it is as it was\n"
