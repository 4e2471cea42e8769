"""What a shell completes, asked of real shells."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from live.cli.completion import SHELLS, whole_parser
from live.cli.main import COMMANDS, run
from tests.standins.options import actions_of


def _script(shell: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    assert run(["completion", shell]) == 0
    path = folder / f"sidebeat.{shell}"
    path.write_text(capsys.readouterr().out, encoding="utf-8")
    return path


def _completed_by_bash(script: Path, *words: str) -> list[str]:
    """What bash would offer for the last of these words."""
    asked = (
        'source "$0"; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); '
        '$(complete -p sidebeat | grep -o -- "-F [^ ]*" | cut -c4-); '
        'printf "%s\\n" "${COMPREPLY[@]}"'
    )
    ended = subprocess.run(
        ["bash", "-c", asked, str(script), *words], capture_output=True, text=True, check=True
    )
    return ended.stdout.split()


def test_bash_completes_commands_options_and_choices(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The words that bash offers are those of the program."""
    script = _script("bash", tmp_path, capsys)
    assert _completed_by_bash(script, "sidebeat", "ana") == ["analyse"]
    assert _completed_by_bash(script, "sidebeat", "live", "--vi") == ["--view"]
    offered = _completed_by_bash(script, "sidebeat", "live", "--view", "")
    assert offered == ["window", "terminal", "none"]


@pytest.mark.parametrize(
    ("shell", "option"), [("bash", "-n"), ("zsh", "-n"), ("fish", "--no-execute")]
)
def test_a_shell_reads_its_script(
    shell: str, option: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The shell itself finds no fault in what it is given."""
    if shutil.which(shell) is None:
        pytest.skip(f"{shell} is not installed")
    script = _script(shell, tmp_path, capsys)
    ended = subprocess.run(
        [shell, option, str(script)], capture_output=True, text=True, check=False
    )
    assert (ended.returncode, ended.stderr) == (0, "")


@pytest.mark.parametrize("shell", SHELLS)
def test_every_command_is_in_every_script(
    shell: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No command is left out for any shell."""
    text = _script(shell, tmp_path, capsys).read_text(encoding="utf-8")
    assert [name for name in COMMANDS if name not in text] == []


def test_a_path_is_completed_as_a_file_or_a_folder() -> None:
    """Options that take a path are marked as such, folders where only a folder will do."""
    whole = whole_parser()
    commands = next(action for action in actions_of(whole) if action.choices)
    live = commands.choices["live"]  # type: ignore[index, call-overload]
    marks = {
        action.dest: action.complete["bash"]
        for action in actions_of(live)
        if hasattr(action, "complete")
    }
    assert "dir" in marks["out"]
    assert "file" in marks["plan"]
