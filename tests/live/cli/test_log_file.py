"""The last line of defence: what nobody foresaw is one sentence, and a trace in the log."""

from __future__ import annotations

import importlib
import logging
import os
import shlex
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from live.cli import main as command_line
from live.cli.log_file import LOG_FOLDER_VARIABLE, kept_log, log_path
from live.cli.main import UNFORESEEN, WRONG
from live.cli.terminal_log import TerminalLog
from replay.files_only import user_home
from tests.standins.feeds import two_sensors, written

ROOT = Path(__file__).resolve().parents[3]
pytestmark = pytest.mark.usefixtures("log_folder")


@pytest.fixture
def log_folder(tmp_path, monkeypatch):
    """A log of this test alone."""
    folder = tmp_path / "log"
    monkeypatch.setenv(LOG_FOLDER_VARIABLE, str(folder))
    return folder


@pytest.fixture
def capture(tmp_path):
    """A minute of two sensors."""
    return written(tmp_path / "a.sqlite", two_sensors(60), end_s=60)


def _failing(monkeypatch, error):
    def run(_arguments):
        raise error

    monkeypatch.setattr(importlib.import_module("live.cli.check"), "run", run)


def test_what_nobody_foresaw_is_one_sentence_and_a_trace_in_the_log(monkeypatch, capsys):
    """An error of the program ends with status 70 and names the log, which holds its trace."""
    _failing(monkeypatch, ZeroDivisionError("a bug"))
    status = command_line.run(["check", "x.sqlite"])
    said = capsys.readouterr()
    assert (status, said.out) == (UNFORESEEN, "")
    assert said.err == (
        "sidebeat: an error that nobody foresaw: ZeroDivisionError: a bug; "
        f"{log_path()} tells where\n"
    )
    kept = log_path().read_text()
    assert "Traceback (most recent call last)" in kept
    assert "test_log_file.py" in kept


def test_without_a_folder_for_the_log_the_sentence_stands_alone(monkeypatch, capsys, tmp_path):
    """A log that cannot be written is not named, and is no second complaint."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv(LOG_FOLDER_VARIABLE, str(tmp_path / "file" / "folder"))
    _failing(monkeypatch, RuntimeError("a bug"))
    assert command_line.run(["check", "x.sqlite"]) == UNFORESEEN
    assert capsys.readouterr().err == (
        "sidebeat: an error that nobody foresaw: RuntimeError: a bug\n"
    )


def test_errors_of_threads_and_callbacks_are_sentences_too(capsys):
    """What a thread or a toolkit's callback raises is printed without a trace, and logged."""
    with kept_log(verbose=False) as log:
        thread = threading.Thread(target=lambda: 1 // 0)
        thread.start()
        thread.join()
        error = ValueError("in a callback")
        sys.excepthook(ValueError, error, None)
    assert capsys.readouterr().err == (
        "sidebeat: an unexpected error: ZeroDivisionError: integer division or modulo by zero\n"
        "sidebeat: an unexpected error: ValueError: in a callback\n"
    )
    assert log.path.read_text().count("ERROR live.cli.log_file") == 2
    assert "1 // 0" in log.path.read_text()


def test_a_log_leaves_nothing_behind():
    """Handlers, level and hooks are as they were, and a nested log prints nothing twice."""
    root = logging.getLogger()
    before = root.handlers[:], root.level, sys.excepthook, threading.excepthook
    with kept_log(verbose=True):
        assert root.level == logging.INFO
    assert (root.handlers, root.level, sys.excepthook, threading.excepthook) == before


@pytest.mark.parametrize(("verbose", "told"), [(False, ""), (True, "sidebeat: worth knowing\n")])
def test_verbose_prints_what_is_merely_worth_knowing(capsys, verbose, told):
    """``--verbose`` takes records of the level INFO to stderr and to the log."""
    with kept_log(verbose=verbose) as log:
        logging.getLogger("x").info("worth knowing")
    assert capsys.readouterr().err == told
    assert ("worth knowing" in log.path.read_text()) is verbose


def test_while_a_capture_holds_lines_back_the_log_goes_on(capsys):
    """The lines of a capture replace those of the screen, not those of the log."""
    with kept_log(verbose=False) as log:
        lines = TerminalLog(aside=True)
        logging.getLogger("x").warning("once")
        lines.flush()
        lines.close()
        logging.getLogger("x").warning("twice")
    assert capsys.readouterr().err == "sidebeat: once\nsidebeat: twice\n"
    assert log.path.read_text().count("WARNING x: ") == 2


def test_a_label_cannot_write_lines_of_the_log():
    """Signs that would begin a line or steer a terminal are made visible in the log."""
    with kept_log(verbose=False) as log:
        logging.getLogger("x").warning("a label %s", "\x1b[2J\u202e")
    assert "\x1b" not in log.path.read_text()
    assert "\u202e" not in log.path.read_text()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
@pytest.mark.parametrize("options", [["analyse"], ["check", "--json"], ["check", "--help"]])
def test_an_output_that_is_full_is_one_sentence(options, capture):
    """A disk that is full under the output is a sentence and status 2, never a trace."""
    files = [str(capture)] if "--help" not in options else []
    with Path("/dev/full").open("w") as full:
        ended = subprocess.run(
            [sys.executable, "-m", "live", *options, *files],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},  # it fails where it is printed
            check=False,
            timeout=50,
        )
    assert ended.returncode == WRONG
    assert ended.stderr == "sidebeat: what this command prints: No space left on device\n"


@pytest.mark.skipif(os.name == "nt", reason="file modes are POSIX")
def test_what_is_written_is_for_this_user_alone(tmp_path, capsys, capture):
    """Files that a command makes have mode 0600 and folders 0700, whatever the umask was."""
    pytest.importorskip("jinja2", reason="the page needs the extra report")
    from tests.standins.small_pictures import without_figures

    before = os.umask(0)
    try:
        out = tmp_path / "new" / "pages" / "page.html"
        with without_figures():
            asked = ["report", str(capture), "--out", str(out), "--no-figures"]
            assert command_line.run(asked) == 0
        folder = tmp_path / "tables"
        assert command_line.run(["export", str(capture), "--out", str(folder)]) == 0
        umask = os.umask(0)
    finally:
        os.umask(before)
    assert umask == 0
    made = [out, out.parent, out.parent.parent, folder, *folder.rglob("*"), log_path()]
    assert len(made) > 6
    for path in made:
        mode = stat.S_IMODE(path.stat().st_mode)
        assert mode == (0o700 if path.is_dir() else 0o600), path
    capsys.readouterr()


@pytest.mark.skipif(os.name == "nt", reason="streams are closed by a shell of POSIX")
@pytest.mark.parametrize(
    ("closed", "there", "status"),
    [
        (">&-", True, 0),
        ("<&- >&- 2>&-", True, 0),
        ("2>/dev/full", False, WRONG),
        ("2>&-", False, WRONG),
    ],
)
def test_streams_that_are_missing_or_full_cost_no_status(closed, there, status, capture):
    """What cannot be said is not said, and no file gets the number of a stream."""
    file = capture if there else "/nope"
    line = f"exec {shlex.quote(sys.executable)} -m live check {shlex.quote(str(file))} {closed}"
    ended = subprocess.run(
        ["sh", "-c", line],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=50,
    )  # fmt: skip
    assert (ended.returncode, ended.stderr) == (status, "")


def test_an_error_before_any_command_is_one_sentence_too(monkeypatch, capsys):
    """Nothing that is done around a command is left out."""
    monkeypatch.setattr(command_line, "overview", lambda: 1 / 0)
    assert command_line.run(["--help"]) == UNFORESEEN
    assert capsys.readouterr().err == (
        "sidebeat: an error that nobody foresaw: ZeroDivisionError: division by zero; "
        f"{log_path()} tells where\n"
    )


@pytest.mark.parametrize(
    "error",
    [
        MemoryError(),
        ImportError("Importing failed.\n\nlibx.so: failed to map segment from shared object"),
        RuntimeError("can't start new thread"),
    ],
    ids=["memory", "library", "thread"],
)
def test_a_lack_of_memory_is_named_whatever_it_is_raised_as(monkeypatch, capsys, error):
    """It is nobody's fault, so the status is that of what could not be carried out."""

    def run(_arguments):
        raise error

    monkeypatch.setattr("live.cli.ready.run", run)
    assert command_line.run(["ready"]) == WRONG
    assert capsys.readouterr().err == (
        f"sidebeat: there is not enough memory for this, or a limit is set; {log_path()} tells "
        "where\n"
    )


def test_a_page_of_advice_of_a_library_is_told_on_one_line(monkeypatch, capsys):
    """Begin and end of it; the log has all of it."""

    def run(_arguments):
        raise ImportError("PLEASE READ\n" + "this\n\n  advice " * 1000 + "libx is missing")

    monkeypatch.setattr("live.cli.ready.run", run)
    assert command_line.run(["ready"]) == UNFORESEEN
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "ImportError: PLEASE READ this advice" in told
    assert f"libx is missing; {log_path()} tells where\n" in told
    assert len(told) < 2000


@pytest.mark.skipif(os.name == "nt", reason="users have a folder there")
def test_a_user_without_a_folder_goes_without_what_is_kept(monkeypatch, capsys, capture):
    """A container may run a program as a number that nobody is."""
    for name in ("HOME", LOG_FOLDER_VARIABLE, "SIDEBEAT_CONFIG_DIR", "SIDEBEAT_CACHE_DIR"):
        monkeypatch.delenv(name, raising=False)
    for name in ("STATE", "CONFIG", "CACHE"):
        monkeypatch.delenv(f"XDG_{name}_HOME", raising=False)
    monkeypatch.setattr(os.path, "expanduser", lambda name: name)
    assert user_home() == Path("/nonexistent")
    monkeypatch.setattr("live.cli.log_file.user_home", lambda: Path("/dev/null"))
    monkeypatch.setattr("live.setup.known_sensors.user_home", lambda: Path("/nonexistent"))
    assert command_line.run(["check", str(capture)]) == 0
    capsys.readouterr()


@pytest.mark.skipif(os.name == "nt", reason="needs pipes")
def test_a_log_that_is_a_pipe_is_not_waited_for(log_folder, monkeypatch, capsys):
    """Nor is it named."""
    log_folder.mkdir()
    os.mkfifo(log_path())
    _failing(monkeypatch, RuntimeError("a bug"))
    assert command_line.run(["check", "x.sqlite"]) == UNFORESEEN
    assert capsys.readouterr().err == (
        "sidebeat: an error that nobody foresaw: RuntimeError: a bug\n"
    )
