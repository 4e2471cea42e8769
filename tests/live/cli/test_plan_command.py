"""A command that stands in a plan is shown and asked about before anything runs it."""

from __future__ import annotations

import io
import shlex
import sys
from dataclasses import replace

import pytest

from live.cli import import_dialog, live
from live.cli.main import command_parser
from live.cli.plan_command import may_run
from live.setup.agreed_commands import agreed_path, is_agreed
from live.setup.known_sensors import CONFIG_FOLDER_VARIABLE
from replay.attention import AttentionPlan
from replay.errors import SidebeatError
from replay.plan import format_plan
from tests.standins.session_events import plan_of

COMMAND = (sys.executable, "-c", "print('x y')")
pytestmark = pytest.mark.usefixtures("nothing_agreed")


@pytest.fixture
def nothing_agreed(tmp_path, monkeypatch):
    """A user who has agreed to nothing yet."""
    monkeypatch.setenv(CONFIG_FOLDER_VARIABLE, str(tmp_path / "config"))


def answered(monkeypatch, text):
    monkeypatch.setattr(import_dialog, "can_ask", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO(text))


def test_what_was_agreed_to_is_not_asked_again(monkeypatch, capsys):
    """The command is shown word for word; after a yes it may run, now and in future."""
    answered(monkeypatch, "perhaps\nyes\n")
    assert may_run(COMMAND)
    assert "print('\"'\"'x y" in capsys.readouterr().err
    monkeypatch.setattr(import_dialog, "can_ask", lambda: False)
    assert may_run(COMMAND)
    assert capsys.readouterr().err == ""


def test_another_command_is_another_question(monkeypatch):
    """To agree to one command is to agree to no other, not even with other arguments."""
    answered(monkeypatch, "yes\n")
    assert may_run(COMMAND)
    monkeypatch.setattr(import_dialog, "can_ask", lambda: False)
    assert not may_run((*COMMAND, "more"))
    assert not is_agreed((COMMAND[0], " ".join(COMMAND[1:])))


def test_no_is_no_and_is_asked_again(monkeypatch, capsys):
    """After a no it is not run and nothing is remembered."""
    answered(monkeypatch, "no\n")
    assert not may_run(COMMAND)
    assert not agreed_path().exists()
    capsys.readouterr()


def test_where_nobody_can_be_asked_it_is_not_run_and_said(monkeypatch, capsys):
    """One sentence with the command and what to do."""
    monkeypatch.setattr(import_dialog, "can_ask", lambda: False)
    assert not may_run(COMMAND)
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "nobody has agreed to it yet" in said
    assert "--on-warning" in said


@pytest.mark.parametrize("on_warning", [(), COMMAND])
def test_the_plan_of_a_capture_has_what_may_run(tmp_path, monkeypatch, capsys, on_warning):
    """A command of the plan that nobody agreed to is taken out; one on the command line is not
    asked about.
    """
    monkeypatch.setattr(import_dialog, "can_ask", lambda: False)
    file = tmp_path / "plan.toml"
    plan = replace(plan_of(), attention=AttentionPlan(command=("true",)))
    file.write_text(format_plan(plan), encoding="utf-8")
    options = ["--on-warning", shlex.join(on_warning)] if on_warning else []
    given = command_parser("live").parse_args(["--plan", str(file), *options])
    assert live.planned(given).attention.command == tuple(on_warning)
    capsys.readouterr()


@pytest.mark.parametrize("asked", [True, False])
def test_a_command_cannot_write_the_question(monkeypatch, capsys, asked):
    """A line end, an escape or a sign that turns the line round stands as its escape."""
    answered(monkeypatch, "no\n")
    monkeypatch.setattr(import_dialog, "can_ask", lambda: asked)
    assert not may_run(("sh", "-c", "true\nrm x\x1b[2J\u202e"))
    assert '["sh", "-c", "true\\nrm x\\u001b[2J\\u202e"]' in capsys.readouterr().err


def test_nobody_speaks_of_an_import_where_none_was(monkeypatch, capsys):
    """A terminal that goes before it has answered leaves all as it was."""
    answered(monkeypatch, "")
    with pytest.raises(SidebeatError, match="not answered; nothing was done"):
        may_run(COMMAND)
    capsys.readouterr()
