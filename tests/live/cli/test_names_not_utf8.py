"""A folder whose name is not UTF-8 serves as any other, from the recording to the study's page."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from live import __main__ as entry
from live.protocol.view_model import ViewModel
from replay.capture import Capture
from tests.standins.feeds import two_sensors, written
from tests.standins.recordings import PLAN, lively, recording, until
from tests.standins.running import ROOT, running_capture

pytestmark = pytest.mark.timeout(120)


@pytest.fixture(name="folder")
def folder_fixture(tmp_path: Path) -> Path:
    """``café`` in Latin-1: valid on Linux, and half a character wherever it is decoded."""
    folder = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9"))
    try:
        folder.mkdir()
    except OSError:
        pytest.skip("this file system takes names in UTF-8 only")
    return folder


def carried_out(*arguments: str) -> str:
    """What a command said, when all went well."""
    command = [sys.executable, "-m", "live", *arguments]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    done.stdout.decode("utf-8")
    return done.stdout.decode("utf-8")


def carried_out_here(capsys: pytest.CaptureFixture[str], *arguments: str) -> None:
    """The same in this process, which takes what it is given as a started one takes it."""
    status = entry.main([*arguments])
    said = capsys.readouterr()
    assert status == 0, said.err
    said.out.encode("utf-8")


@pytest.mark.skipif(sys.platform == "win32", reason="names are not bytes there")
def test_a_session_is_recorded_shown_and_studied_there(folder, capsys):
    """Recording with a view, check, export and study; what is printed and written is UTF-8."""
    with running_capture(folder, PLAN, "--view", "none", before=lively(), cold=True) as running:
        feed = running.attach()
        model = ViewModel(feed)
        recording(model)
        assert Path(model.status.path) == running.file()
        feed.send("stop")
        until(model, lambda: model.ended is not None)
        feed.close()
        assert running.wait() == 0
        path = running.file()
    with Capture.open(path) as capture:
        assert capture.clean
    assert '"whole": true' in carried_out("check", str(path), "--json")
    tables, page = folder / "tables", folder / "study.html"
    carried_out_here(capsys, "export", str(path), "--out", str(tables))
    carried_out_here(capsys, "study", str(folder), "--out", str(page))
    written = [page, *tables.iterdir()]
    assert len(written) > 3
    for file in written:
        file.read_text(encoding="utf-8")


@pytest.mark.skipif(sys.platform == "win32", reason="names are not bytes there")
def test_a_capture_of_such_a_name_is_exported(folder, capsys):
    """Its name stands in what is written, which is UTF-8 all the same."""
    path = folder / os.fsdecode(b"\xe9.sqlite")
    path.write_bytes(written(folder / "a.sqlite", two_sensors(60), end_s=60).read_bytes())
    tables = folder / "tables"
    carried_out_here(capsys, "export", str(path), "--out", str(tables), "--what", "efforts")
    assert "udce9.sqlite" in (tables / "session.json").read_text(encoding="utf-8")
