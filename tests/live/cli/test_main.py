"""The command line as a whole: help, errors in one sentence, exit statuses."""

from __future__ import annotations

import importlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

from live import __main__ as entry
from live import preflight
from live.cli import main as command_line
from live.cli.main import COMMANDS, INTERRUPTED, WRONG
from replay.errors import SidebeatError
from replay.plan import format_plan
from tests.standins.captures import PLAN
from tests.standins.feeds import two_sensors, written

ROOT = Path(__file__).resolve().parents[3]


def python(*arguments, **settings):
    return subprocess.run(
        [sys.executable, *arguments],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
        timeout=50,
        **settings,
    )


def test_the_overview_names_every_command(capsys):
    """``sidebeat --help`` lists all commands with what they do."""
    assert entry.main(["--help"]) == 0
    told = capsys.readouterr().out
    for name, what in COMMANDS.items():
        assert f"{name} " in told
        assert what in told


def test_without_a_command_the_overview_is_an_error(capsys):
    """``sidebeat`` alone shows the overview and exits as something that could not be done."""
    assert entry.main([]) == WRONG
    assert "commands:" in capsys.readouterr().out


def test_version(capsys):
    """``--version`` prints the program's name and version."""
    assert entry.main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("sidebeat ")


def test_an_unknown_command_is_one_sentence(capsys):
    """A misspelt command is answered with those that exist."""
    assert entry.main(["recrod"]) == WRONG
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "'recrod'" in said.err


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example(name, capsys):
    """``sidebeat COMMAND --help`` says what it does and shows a line to type."""
    assert entry.main([name, "--help"]) == 0
    told = capsys.readouterr().out
    assert f"usage: sidebeat {name}" in told
    assert f"example:\n  sidebeat {name}" in told


@pytest.mark.parametrize("name", COMMANDS)
def test_an_unknown_option_is_refused(name, capsys):
    """An option that does not exist is named on stderr, with status 2."""
    assert entry.main([name, "--no-such-option"]) == WRONG
    assert capsys.readouterr().out == ""


def _raising(error):
    def run(_arguments):
        raise error

    return run


@pytest.mark.parametrize(
    ("error", "expected"),
    [
        (SidebeatError("the strap is not here"), (WRONG, "sidebeat: the strap is not here\n")),
        (KeyboardInterrupt(), (INTERRUPTED, "")),
    ],
)
def test_what_goes_wrong_becomes_a_sentence_and_a_status(monkeypatch, capsys, error, expected):
    """Errors on purpose are one sentence and status 2; Ctrl-C is 130 without a word."""
    ready = importlib.import_module("live.cli.ready")
    monkeypatch.setattr(ready, "run", _raising(error))
    status = command_line.run(["ready"])
    said = capsys.readouterr()
    assert ((status, said.err), said.out) == (expected, "")


@pytest.mark.skipif(sys.platform == "win32", reason="pipes close differently")
def test_a_reader_that_leaves_is_no_error():
    """When the reader of the output has gone, the command ends without a complaint."""
    script = (
        "import sys, os\n"
        "from live.cli import main, check\n"
        "def run(_):\n"
        "    for n in range(100_000): print(n)\n"
        "check.run = run\n"
        "sys.exit(main.run(['check', 'x']))\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", script],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    process.stdout.readline()
    process.stdout.close()
    complaint = process.stderr.read()
    process.stderr.close()
    assert (process.wait(timeout=30), complaint) == (141, "")


@pytest.mark.skipif(sys.platform == "win32", reason="pipes close differently")
@pytest.mark.parametrize("command", ["analyse", "check", "replay"])
def test_tables_for_a_reader_that_has_gone_end_the_same_way(command, tmp_path):
    """What is printed as a table ends as what is printed line by line: status 141, no complaint."""
    session = written(tmp_path / "a.sqlite", two_sensors(60), end_s=60)
    options = ["--view", "none"] if command == "replay" else []
    reader, writer = os.pipe()
    os.close(reader)
    try:
        ended = subprocess.run(
            [sys.executable, "-m", "live", command, str(session), *options],
            cwd=ROOT, stdout=writer, stderr=subprocess.PIPE, text=True, check=False, timeout=50,
        )  # fmt: skip
    finally:
        os.close(writer)
    assert (ended.returncode, ended.stderr) == (141, "")


def test_before_installation_the_line_to_install_is_printed():
    """``python -m live`` without packages names them and the line that installs them."""
    bare = python("-S", "-m", "live", "demo")
    assert bare.returncode == WRONG
    assert bare.stdout == ""
    assert f"Not installed yet: {', '.join(preflight.BASE_PACKAGES.values())}" in bare.stderr
    assert 'pip install -e ".[window]"' in bare.stderr


def test_the_overview_needs_no_heavy_package():
    """``sidebeat --help`` loads neither numpy nor Qt nor a radio."""
    told = python(
        "-c",
        "import sys; from live.__main__ import main; main(['--help']); "
        "print(*sorted({'numpy', 'scipy', 'PySide6', 'bleak', 'rich'} & set(sys.modules)))",
    )
    assert told.stdout.splitlines()[-1] == ""


def test_the_capture_loads_neither_board_nor_numpy():
    """What records loads nothing that only looks at a recording: it starts the sooner."""
    told = python(
        "-c",
        "import sys, live.cli.live, live.capture.process; "
        "print(*sorted({'numpy', 'scipy', 'rich', 'analysis.board'} & set(sys.modules)))",
    )
    assert (told.returncode, told.stdout.split()) == (0, [])


def test_an_old_python_is_named(monkeypatch):
    """On a Python that is too old, the sentence says which one is needed and which was found."""
    monkeypatch.setattr(preflight.sys, "version_info", (3, 9, 2))
    assert not preflight.ready()
    assert preflight.report().startswith("Sidebeat needs Python 3.11 or newer; this is Python 3.9")


@pytest.mark.parametrize(
    ("installed", "python_version", "is_broken"),
    [
        ("6.12.0", (3, 11), True),
        ("6.11.3", (3, 11), False),
        ("6.12.0", (3, 12), False),
        ("6.13.1", (3, 11), True),
    ],
)
def test_the_qt_that_crashes_is_known(monkeypatch, installed, python_version, is_broken):
    """PySide6 6.12 and later is refused on a Python older than 3.12, and only there."""
    monkeypatch.setattr(preflight.sys, "version_info", (*python_version, 0))
    monkeypatch.setattr(preflight.importlib.metadata, "version", lambda _: installed)
    assert bool(preflight.broken_qt()) == is_broken


def test_missing_libraries_are_named_by_package(monkeypatch):
    """A shared library that cannot be loaded is named by the package that brings it."""
    monkeypatch.setattr(preflight.sys, "platform", "linux")
    lacking = preflight.missing_libraries({"libnever-was.so.9": "libnever9"})
    assert "libnever9" in lacking
    assert "apt-get install" in preflight.apt_line(lacking)


def test_without_a_screen_the_terminal_is_taken_and_said(monkeypatch, capsys):
    """Where no window can open, the terminal view is chosen and the reason is on stderr."""
    from live.cli.views import chosen_view

    monkeypatch.setattr(preflight, "no_window", lambda: "There is no screen here.")
    assert chosen_view(None) == "terminal"
    assert chosen_view("window") == "terminal"
    assert capsys.readouterr().err.count("There is no screen here.  The terminal view") == 2
    assert chosen_view("none") == "none"
    assert capsys.readouterr().err == ""


def test_no_screen_is_known_by_its_variables(monkeypatch):
    """On Linux a screen is there if DISPLAY or WAYLAND_DISPLAY is set."""
    monkeypatch.setattr(preflight.sys, "platform", "linux")
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    assert "no screen" in preflight.no_screen()
    monkeypatch.setenv("WAYLAND_DISPLAY", "wayland-0")
    assert preflight.no_screen() == ""


def test_a_capture_of_sensors_loads_neither_board_nor_numpy(tmp_path):
    """What has no part in recording is not waited for, and takes no memory beside it."""
    plan_file = tmp_path / "plan.toml"
    plan_file.write_text(format_plan(PLAN), encoding="utf-8")
    code = (
        "import sys; from live.cli.live import planned; from live.cli.main import command_parser; "
        f"planned(command_parser('live').parse_args(['--plan', {str(plan_file)!r}])); "
        "import live.capture.process; "
        "print([name for name in ('numpy', 'scipy', 'analysis.board') if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
