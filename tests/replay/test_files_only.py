"""What is read is a file: no pipe is waited for, and nothing is read without an end."""

from __future__ import annotations

import os
import sys

import pytest

from live import __main__ as entry
from live.cli.main import WRONG
from replay.files_only import NOT_A_FILE, open_file

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes and links are POSIX")


def test_a_file_is_opened(tmp_path) -> None:
    """Its bytes are read as they are, through a link too."""
    (tmp_path / "a").write_bytes(b"\x00\r\n")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    for name in "ab":
        with open_file(tmp_path / name) as file:
            assert file.read() == b"\x00\r\n"


def made(kind, path):
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "circle of links":
        path.symlink_to(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to("/dev/zero")
    return path


@pytest.mark.filterwarnings("ignore::ResourceWarning")  # a file that nobody got is closed unasked
def test_an_interrupt_while_a_file_is_opened_stays_one(tmp_path) -> None:
    """Wherever it strikes, no other error takes its place: a study would call the file unreadable,
    and go on.
    """
    path = tmp_path / "a"
    path.write_bytes(b"x")
    struck = 0

    def strike(at):
        def trace(_frame, _event, value):
            nonlocal left
            del value  # or the interrupt's own traceback would keep the file open
            left -= 1
            if left == 0:
                raise KeyboardInterrupt
            return trace

        left = at
        return trace

    before = sys.gettrace()
    for at in range(1, 60):
        sys.settrace(strike(at))
        try:
            open_file(path).close()
        except KeyboardInterrupt:
            struck += 1
        finally:
            sys.settrace(before)
    assert 5 < struck < 59


@pytest.mark.parametrize("kind", ["pipe", "circle of links", "folder", "device"])
@pytest.mark.parametrize(
    "command",
    [
        ["check"],
        ["analyse"],
        ["import", "--wearer", "W1", "--activity", "x"],
        ["live", "--view", "none", "--plan"],
    ],
)
def test_what_is_no_file_is_refused_at_once(kind, command, tmp_path, capsys) -> None:
    """Each command says in one sentence what lies there, and leaves."""
    path = made(kind, tmp_path / "x")
    assert entry.main([*command, str(path)]) == WRONG
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert str(path) in said
    if kind in {"pipe", "device"}:
        assert NOT_A_FILE in said
