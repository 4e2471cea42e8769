"""Files that commands make: whole or not at all, replaced with a word, never over a recording."""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path

import pytest

from live.cli.main import WRONG, run
from live.cli.out_file import write_out, write_stream
from replay.errors import SidebeatError

DEMO = Path(__file__).parents[3] / "recordings_demo"
ROWING = next(DEMO.glob("*rowing*.sqlite"))


@pytest.mark.parametrize("name", ["table.txt", "facts.json", "page.html"])
def test_a_file_that_is_replaced_is_named(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The first run says nothing of it, the second one names what it replaced."""
    out = tmp_path / "new" / name
    assert run(["analyse", str(ROWING), "--out", str(out)]) == 0
    assert "replaced" not in capsys.readouterr().err
    out.write_text("older", encoding="utf-8")
    assert run(["analyse", str(ROWING), "--out", str(out)]) == 0
    assert f"{out} was there already, and is replaced" in capsys.readouterr().err
    assert "Sorrel" in out.read_text(encoding="utf-8")
    assert [one.name for one in out.parent.iterdir()] == [name]


def test_tables_of_a_study_that_are_replaced_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line for all tables of a folder."""
    command = ["study", str(DEMO), "--csv", str(tmp_path), "--jobs", "1"]
    assert run(command) == 0
    assert "replaced" not in capsys.readouterr().err
    assert run(command) == 0
    told = [line for line in capsys.readouterr().err.splitlines() if "replaced" in line]
    assert len(told) == 1
    assert told[0].endswith(f"in {tmp_path} was there already, and is replaced")


def test_a_recording_is_never_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A slip of the keyboard that names a capture as the output costs nothing, by any name."""
    capture = tmp_path / "session.html"
    shutil.copy(ROWING, capture)
    before = capture.read_bytes()
    assert run(["analyse", str(ROWING), "--out", str(capture)]) == WRONG
    assert "is a recording" in capsys.readouterr().err
    assert capture.read_bytes() == before


def test_what_was_there_stays_until_the_new_file_is_whole(tmp_path: Path) -> None:
    """A write that fails half-way leaves the older file, and nothing beside it."""
    out = tmp_path / "page.html"
    write_out(out, "older")

    def half(stream) -> None:
        stream.write("half of")
        raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(SidebeatError, match=r"page\.html: cannot be written: No space left"):
        write_stream(out, half)
    assert out.read_text(encoding="utf-8") == "older"
    assert list(tmp_path.iterdir()) == [out]


def test_a_link_is_followed_and_stays_a_link(tmp_path: Path) -> None:
    """A page that is published through a link is written where the link leads."""
    target, link = tmp_path / "real.html", tmp_path / "link.html"
    target.write_text("older", encoding="utf-8")
    link.symlink_to(target)
    assert write_out(link, "newer")
    assert link.is_symlink()
    assert target.read_text(encoding="utf-8") == "newer"


def test_output_may_go_to_a_device() -> None:
    """What is no file on a disk is written to, not replaced."""
    assert write_out(Path(os.devnull), "gone") is False
    assert Path(os.devnull).is_char_device()
