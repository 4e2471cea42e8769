"""The set-up script: what it installs, what it prints, and that the second run is idle."""

from __future__ import annotations

import contextlib
import subprocess
from pathlib import Path
from types import SimpleNamespace

import pytest

import set_up
from live import preflight

POPEN = subprocess.Popen
PIP_LINES = [
    "Collecting numpy\n",
    "  Downloading numpy-2.5.1-cp311-manylinux_x86_64.whl (16.0 MB)\n",
    "  Using cached scipy-1.18.1-cp311-manylinux_x86_64.whl (40.0 MB)\n",
    "  Downloading rich-14.0-py3-none-any.whl (900 kB)\n",
    "Installing collected packages: numpy, scipy, rich\n",
]


class Machine:
    """Stands in for the machine: notes each program that would run, and what it answers."""

    def __init__(self, monkeypatch, folder, *, root=True, lacking=(), failing=()):
        self.ran: list[list[str]] = []
        self._failing = failing
        self._venv = folder / ".venv"
        monkeypatch.setattr(set_up, "VENV", self._venv)
        monkeypatch.setattr(set_up, "SERVICE_POLICY", folder / "policy-rc.d")
        monkeypatch.setattr(set_up, "STAMP", self._venv / "stamp.txt")
        monkeypatch.setattr(set_up, "REAL_FILES", self._venv / "share" / "files")
        monkeypatch.setattr(set_up.sys, "platform", "linux")
        monkeypatch.setattr(set_up.subprocess, "run", self.run)
        monkeypatch.setattr(set_up.subprocess, "Popen", self.open)
        monkeypatch.setattr(set_up.shutil, "which", lambda name: f"/usr/bin/{name}")
        monkeypatch.setattr(set_up.os, "geteuid", lambda: 0 if root else 1000, raising=False)
        monkeypatch.setattr(preflight, "missing_libraries", lambda *_: list(lacking))
        monkeypatch.setattr(preflight, "missing_programs", list)

    def run(self, command, **_):
        command = [str(word) for word in command]
        if "-c" in command:  # asking the environment's Python for its version
            here = " ".join(map(str, set_up.sys.version_info[:2]))
            return subprocess.CompletedProcess(command, 0, here + "\n", "")
        self.ran.append(command)
        if "venv" in command:
            python = self._venv / "bin" / "python"
            python.parent.mkdir(parents=True)
            python.touch()
        if "--target" in command:
            Path(command[command.index("--target") + 1]).mkdir(parents=True)
        fails = any(word in " ".join(command) for word in self._failing)
        return subprocess.CompletedProcess(command, 1 if fails else 0, "", "")

    def open(self, command, **options):
        """A program whose lines are read while it runs; what a test starts itself is real."""
        return self._pip(command) if "pip" in command else POPEN(command, **options)

    @contextlib.contextmanager
    def _pip(self, command):
        status = self.run(command).returncode
        yield SimpleNamespace(stdout=iter(PIP_LINES), returncode=status)

    def words(self):
        return [" ".join(command) for command in self.ran]


def test_a_bare_machine_gets_everything(monkeypatch, tmp_path):
    """As root: system packages, then the environment, then Sidebeat with its extras."""
    machine = Machine(monkeypatch, tmp_path, lacking=["libegl1"])
    assert set_up.main(["test"]) == 0
    update, install, venv, pip, files = machine.words()
    assert update.startswith("apt-get")
    assert install.endswith("install --no-install-recommends -y libegl1")
    assert "-m venv" in venv
    assert pip.endswith("[window,test]")
    assert files.endswith(set_up.REAL_FILES_FROM)


def test_no_service_begins_while_packages_are_installed(monkeypatch, tmp_path):
    """While apt runs the policy says "not allowed"; afterwards it is gone."""
    policy = tmp_path / "policy-rc.d"
    answers = []
    machine = Machine(monkeypatch, tmp_path, lacking=["mosquitto"])

    def run(command, **options):
        if "install" in command and "mosquitto" in command:
            answers.append(call([policy]))
        return machine.run(command, **options)

    call = subprocess.call
    monkeypatch.setattr(set_up.subprocess, "run", run)
    assert set_up.main(["test"]) == 0
    assert answers == [101]
    assert not policy.exists()


def test_a_policy_of_the_machine_is_left_alone(monkeypatch, tmp_path):
    """Where the machine has a policy about services already, it stays as it is."""
    policy = tmp_path / "policy-rc.d"
    policy.write_text("the machine's own")
    Machine(monkeypatch, tmp_path, lacking=["mosquitto"])
    assert set_up.main(["test"]) == 0
    assert policy.read_text() == "the machine's own"


def test_the_second_run_does_nothing(monkeypatch, tmp_path):
    """What is there already is left alone; `run` needs no more than `test` brought."""
    machine = Machine(monkeypatch, tmp_path)
    set_up.main(["test"])
    machine.ran.clear()
    assert (set_up.main(["test"]), set_up.main([]), machine.ran) == (0, 0, [])


def test_a_folder_set_up_for_use_is_completed_for_tests(monkeypatch, tmp_path):
    """After `run`, `test` installs what the tests need on top."""
    machine = Machine(monkeypatch, tmp_path)
    set_up.main(["run"])
    machine.ran.clear()
    set_up.main(["test"])
    assert machine.words()[0].endswith("[window,test]")


def test_without_root_the_command_is_printed(monkeypatch, tmp_path, capsys):
    """Not root: no system package is installed; the one command is printed, the rest goes on."""
    machine = Machine(monkeypatch, tmp_path, root=False, lacking=["libegl1"])
    assert set_up.main(["run"]) == 0
    assert "sudo apt-get install --no-install-recommends libegl1" in capsys.readouterr().out
    assert not any("apt-get" in words for words in machine.words())


def test_it_is_told_how_much_there_is_to_do_and_how_far_it_is(monkeypatch, tmp_path, capsys):
    """The size on the disk first, then what was fetched, then how many packages are unpacked."""
    Machine(monkeypatch, tmp_path)
    set_up.main(["run"])
    told = capsys.readouterr().out
    assert set_up.SIZES["run"] in told
    assert "    56 MB fetched\n    3 packages are being unpacked\n" in told


def test_without_an_environment_one_line_installs_what_is_lacking(monkeypatch, tmp_path, capsys):
    """Not root and no way to make an environment: one sentence, one line, and nothing is tried."""
    machine = Machine(monkeypatch, tmp_path, root=False, lacking=["libegl1"])
    monkeypatch.setattr(set_up.importlib.util, "find_spec", lambda _: None)
    assert set_up.main(["run"]) == 1
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.endswith("install --no-install-recommends libegl1 python3-venv\n")
    assert machine.ran == []


def test_parts_of_make_do_not_set_up_again(monkeypatch, tmp_path):
    """What make has set up for a purpose is not looked at again by its parts."""
    machine = Machine(monkeypatch, tmp_path)
    monkeypatch.setenv(set_up.DONE, "test")
    assert (set_up.main(["test"]), machine.ran) == (0, [])
    assert set_up.main(["run"]) == 0
    assert machine.ran != []


def test_without_the_window_s_packages_the_rest_is_installed(monkeypatch, tmp_path, capsys):
    """If the window cannot be had, the base is installed, said, and tried again next time."""
    machine = Machine(monkeypatch, tmp_path, failing=["[window"])
    assert set_up.main(["run"]) == 0
    assert "trying without" in capsys.readouterr().out
    assert not machine.words()[-1].endswith("]")
    machine.ran.clear()
    set_up.main(["run"])
    assert machine.ran != []


@pytest.mark.parametrize(
    ("failing", "sentence"), [("-m venv", "python3-venv"), ("-m pip", "pip's messages")]
)
def test_what_cannot_be_set_up_is_said(monkeypatch, tmp_path, capsys, failing, sentence):
    """If the environment or the base cannot be had, one sentence says so, status 1."""
    Machine(monkeypatch, tmp_path, failing=[failing])
    assert set_up.main(["run"]) == 1
    assert sentence in capsys.readouterr().err


def test_without_real_files_the_rest_is_ready(monkeypatch, tmp_path, capsys):
    """If the real activity files cannot be fetched, it is said, and tried again next time."""
    machine = Machine(monkeypatch, tmp_path, failing=["--target"])
    assert set_up.main(["test"]) == 0
    assert "could not be fetched" in capsys.readouterr().out
    machine.ran.clear()
    set_up.main(["test"])
    assert [set_up.REAL_FILES_FROM in words for words in machine.words()] == [True]


def test_an_old_python_is_refused(monkeypatch, tmp_path, capsys):
    """On a Python that is too old nothing is touched, and the way out is named."""
    machine = Machine(monkeypatch, tmp_path)
    monkeypatch.setattr(preflight, "old_python", lambda: "Too old.")
    assert (set_up.main(["run"]), machine.ran) == (1, [])
    assert "make PYTHON=" in capsys.readouterr().err


def test_a_wrong_word_is_refused(capsys):
    """Anything but `run` and `test` is refused."""
    assert set_up.main(["everything"]) == 1
    assert "set_up.py test" in capsys.readouterr().err


def test_the_root_is_this_tree():
    """The script sets up the folder it lies in."""
    assert Path(__file__).resolve().parent.parent == set_up.ROOT
