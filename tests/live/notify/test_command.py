"""The command for a warning: real programs, what they are told, and how they are kept in bounds."""

from __future__ import annotations

import json
import os
import sys
import time

import pytest

from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from live.notify import command
from live.notify.command import AT_ONCE, LONGEST_S, CommandRunner, check_command
from live.notify.message import facts_for
from live.notify.throttle import Call, CallReason
from replay.errors import PlanError
from tests.standins.feeds import PLAN

WARNING = SensorWarning(
    number=3,
    kind=WarningKind.NO_CONTACT,
    sensor=1,
    severity=Severity.REFERENCE_FAULT,
    since_s=50,
    start_s=54,
    end_s=None,
    cause="Its contact bits say that it is off the skin; “$HOME”.",
    advice="Wet the strap.",
)
START = Call(CallReason.START, WARNING)
FACTS = facts_for(PLAN, 1_772_604_900 * 10**9)
TELL = """
import json, os, sys, pathlib
said = sys.stdin.read()
told = {k: v for k, v in os.environ.items() if k.startswith("SIDEBEAT_")}
pathlib.Path(sys.argv[1] + ".part").write_text(json.dumps([said, told]))
os.replace(sys.argv[1] + ".part", sys.argv[1])
"""


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


@pytest.fixture
def running():
    made = []

    def make(script, *arguments, **more):
        made.append(CommandRunner([sys.executable, "-c", script, *arguments], FACTS, **more))
        return made[-1]

    yield make
    for runner in made:
        runner.close()


def until_none_runs(runner):
    give_up = time.monotonic() + 30
    while runner.running:
        assert time.monotonic() < give_up
        time.sleep(0.01)


def test_it_gets_the_facts_twice(running, tmp_path, monkeypatch):
    """One JSON line on its standard input, and the same as environment variables; no shell reads
    either.
    """
    for name in [name for name in os.environ if name.startswith("SIDEBEAT_")]:
        monkeypatch.delenv(name)  # of the tests' own; what is inherited is not what is told
    out = tmp_path / "told"
    runner = running(TELL, str(out))
    runner.call(START)
    until_none_runs(runner)
    said, told = json.loads(out.read_text())
    facts = json.loads(said)
    assert said.count("\n") == 1
    assert facts == {
        "event": "start",
        "number": 3,
        "kind": "no contact",
        "sensor": "Yarrow",
        "severity": "reference fault",
        "since_s": 50,
        "start_s": 54,
        "end_s": None,
        "cause": "Its contact bits say that it is off the skin; “$HOME”.",
        "advice": "Wet the strap.",
        "cleared": "",
        "acknowledged_s": None,
        "wearer": "W1",
        "activity": "rowing ergometer",
        "started_utc": "2026-03-04T06:15:00.000Z",
        "invented": False,
    }
    assert told["SIDEBEAT_KIND"] == "no contact"
    assert told["SIDEBEAT_SENSOR"] == "Yarrow"
    assert told["SIDEBEAT_END_S"] == ""
    assert told["SIDEBEAT_INVENTED"] == "false"
    assert told["SIDEBEAT_CAUSE"] == facts["cause"]
    assert set(told) == {f"SIDEBEAT_{key.upper()}" for key in facts}
    assert runner.trouble() == ""


def test_it_is_run_for_starts_alone(running, tmp_path):
    """Neither a reminder nor an end runs it."""
    out = tmp_path / "told"
    runner = running(TELL, str(out))
    for reason in (CallReason.REMINDER, CallReason.END):
        runner.call(Call(reason, WARNING))
    assert runner.running == 0
    assert not out.exists()


def test_a_program_that_reads_nothing_is_no_fault(running):
    """The line on its standard input may be left unread."""
    runner = running("import sys; sys.stdin.close()")
    for _ in range(3):
        runner.call(START)
        until_none_runs(runner)
    assert runner.trouble() == ""


def test_a_failure_is_said_once(running):
    """The first failure is one sentence; the next ones are not said again."""
    runner = running("import sys; sys.exit(7)")
    said = []
    for _ in range(3):
        runner.call(START)
        until_none_runs(runner)
        said.append(runner.trouble())
    (sentence,) = filter(None, said)
    assert sentence.endswith("for warnings ended with status 7")


def test_a_program_that_is_not_there_is_said_once():
    """A program that has gone since the start stops nothing."""
    runner = CommandRunner(["/nowhere/notify"], FACTS)
    runner.call(START)
    runner.call(START)
    assert runner.trouble().startswith("the command '/nowhere/notify' for warnings cannot be run")
    assert runner.trouble() == ""


def test_no_more_than_some_at_once(monkeypatch, running):
    """A command that hangs is not started for ever; what is left out is counted and said."""
    monkeypatch.setattr(command, "FAREWELL_S", 0.1)  # none of these ends by itself
    runner = running("import time; time.sleep(60)")
    for _ in range(AT_ONCE + 2):
        runner.call(START)
    assert (runner.running, runner.left_out) == (AT_ONCE, 2)
    assert "was left out" in runner.trouble()


@pytest.mark.skipif(sys.platform == "win32", reason="process groups are POSIX's")
def test_a_command_that_takes_too_long_is_ended_with_its_children(running, tmp_path):
    """After its time it is ended, and so is what it has started."""
    clock = Clock()
    out = tmp_path / "child"
    runner = running(
        "import subprocess, sys, time\n"
        "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)'])\n"
        "open(sys.argv[1], 'w').write(str(child.pid))\n"
        "time.sleep(60)",
        str(out),
        clock=clock,
    )
    runner.call(START)
    give_up = time.monotonic() + 30
    while not (out.exists() and out.read_text()):
        assert time.monotonic() < give_up
        time.sleep(0.01)
    clock.now = LONGEST_S - 0.1
    assert runner.running == 1
    clock.now = LONGEST_S + 0.1
    assert runner.running == 0
    assert "took longer than 30 s and was ended" in runner.trouble()
    while _is_running(int(out.read_text())):
        assert time.monotonic() < give_up
        time.sleep(0.01)


def _is_running(pid):
    import psutil

    try:
        return psutil.Process(pid).status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


def test_a_missing_program_is_found_before_the_session():
    """The plan is refused with the name of the program."""
    check_command([])
    check_command([sys.executable])
    with pytest.raises(PlanError, match="names a program that is not found"):
        check_command(["no-such-program-here"])
